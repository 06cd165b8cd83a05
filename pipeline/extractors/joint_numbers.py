"""Numbers of an arthroscopy that are said bare or beside words of their own: how far a joint or a brace moves ("nought
to ninety"), the pressure of the pump, how wide and long a tunnel or a graft is, how heavy the traction was. A unit that
was not said stays unsaid, and the fact says so."""

from __future__ import annotations

from decimal import Decimal

from pipeline import cues, laterality
from pipeline.clauses import word_set as _words
from pipeline.extractors import _care_words, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Quantity, Reading, Sentence

KINDS = ("measurement", "pressure", "aftercare")

_NO_UNIT = "its unit was not said"
_MOVES = _words("range rom motion arc eua stable moves moved movement mobility")
_WORN = _words("brace orthosis cpm passive hinged hinge unlocked locked splint flexion")
_LEADS = _words("of was is at to from set in for : , - ( the about then with between up")
_WHEN = _words("before after pre post preop postop preoperative postoperative preoperatively postoperatively now "
               "afterwards initially final finally")  # fmt: skip
_HELD = frozenset({"brace", "orthosis", "splint", "weeks"})
_ARCS, _STIFF = _words("range rom motion arc movement"), Decimal(90)
_REACH = 5  # tokens
_LEAST, _MOST = Decimal(15), Decimal(160)  # degrees in which an arc begins and ends; common practice, no source
_COST = 6
_PUMP_LOW, _PUMP_HIGH = Decimal(20), Decimal(150)  # mmHg of an arthroscopy pump; common practice, no source
_RAISED = _words("up to then and raised increased turned reduced lowered down -> later")
_BORED = _words("tunnel tunnels graft diameter")
_ENDS = _words("fem femoral tib tibial the is was of on : , - at to measured measuring sized size drilled and by x "
               "reamed quadrupled")  # fmt: skip
_WIDE, _LONG = Decimal(4), Decimal(130)  # mm of tunnels and grafts; common practice, no source
_PULLS = _words("traction distraction tower trap traps")
_PULL_REACH = 9
_PULLED = _words("of lateral longitudinal balanced axial skin skeletal gentle noninvasive arm the")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if not cues.numbers(sentence):
            continue
        facts += _arcs(reading, sentence)
        facts += _held_to(reading, sentence)
        facts += _pump(reading, sentence, grammar)
        facts += _bores(reading, sentence)
        facts += _pull(reading, sentence)
        facts += _turned(reading, sentence)
        facts += _beside_finding(reading, sentence, grammar)
    return facts


def _arcs(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Range zero to one forty", "stable 0-140": a measure; "brace nought to ninety": how far it is let move."""
    facts: list[Fact] = []
    moved = False  # whether how far it moves was told before in the sentence
    for index, quantity in base.quantities(sentence, "", "angle"):
        if quantity.form != "range" or quantity.low is None or quantity.high is None:
            continue
        before = {token.norm for token in sentence.tokens[max(0, index - _REACH - 1) : index]}
        stiff = moved or bool(before & _ARCS)
        lowest = _STIFF if stiff else _LEAST
        if abs(quantity.low) > lowest or not _LEAST < quantity.high <= _MOST or quantity.comparator:
            continue
        at = index - 1
        while at >= 0 and index - at <= _REACH and sentence.tokens[at].norm in _LEADS | _WHEN:
            at -= 1
        if moved and {token.norm for token in sentence.tokens[max(0, index - 3) : index]} & _WHEN:
            facts.append(base.claim("measurement", reading, sentence, index, index - 1, index, _COST,
                                    name="range-of-motion"))  # fmt: skip
            continue  # "range of motion before 10 to 95, after 0 to 125"
        told = sentence.tokens[at].norm if at >= 0 and index - at <= _REACH else ""
        if sentence.tokens[index - 1].norm in ("then", "to", ",", "and") and told not in _MOVES | _WORN:
            worn = [back for back in range(index) if sentence.tokens[back].norm in ("brace", "orthosis")]
            at, told = (worn[-1], "brace") if worn else (at, told)  # "in full extension for two weeks, then 0-60"
        passive = told == "motion" and at > 0 and sentence.tokens[at - 1].norm == "passive"
        if told in _WORN or passive or (told in _MOVES and sentence.section == "aftercare"):
            facts.append(base.claim("aftercare", reading, sentence, index, at, index, _COST, status="planned",
                                    certainty="affirmed", **_of_what(told, passive)))  # fmt: skip
        elif told in _MOVES:
            allowed = {"status": "planned"} if _care_words.allowed(sentence, index) else {}
            facts.append(base.claim("measurement", reading, sentence, index, at, index, _COST, name="range-of-motion",
                                    **allowed))  # fmt: skip
            moved = not sentence.says(_HELD)
    return facts


def _held_to(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Brace for six weeks, flexion up to 90 degrees": how far the brace lets it bend; nothing was measured."""
    worn = next((at for at, token in enumerate(sentence.tokens) if token.norm in ("brace", "orthosis")), None)
    if worn is None:
        return []
    return [
        base.claim("aftercare", reading, sentence, index, at, index, _FIRST, name="brace", status="planned",
                   certainty="affirmed")
        for index, quantity in base.quantities(sentence, "", "angle")
        if index > worn and (at := (_bend if quantity.comparator else _opens)(sentence, index)) is not None
    ]  # fmt: skip


_FIRST = -1  # before what is measured


def _opens(sentence: Sentence, index: int) -> int | None:
    """ "Locked for two weeks, then unlock thirty degrees a week": how much further a brace is let bend."""
    at = index - 1
    while at > 0 and sentence.tokens[at].norm in ("by", "to", "it", "the", "brace"):
        at -= 1
    return at if sentence.tokens[at].norm in _LETS else None


_LETS = _words("unlock unlocked unlocking open opened opening increase increased increasing")


def _bend(sentence: Sentence, index: int) -> int | None:
    """The "flexion" right before a number, words of a limit between."""
    at = index - 1
    while at > 0 and sentence.tokens[at].norm in ("of", "limited", "restricted", "allowed", "only", "up", "to", "max"):
        at -= 1
    return at if sentence.tokens[at].norm in ("flexion", "flex", "bending") else None


def _of_what(told: str, passive: bool) -> dict[str, str]:
    if passive or told in ("cpm", "passive"):
        return {"name": "continuous-passive-motion"}
    return {"name": "brace"} if told in ("brace", "orthosis", "hinged", "hinge") else {"text": told}


def _pump(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Pump at sixty", "pump thirty five up to fifty"."""
    facts: list[Fact] = []
    hits = [hit for hit in cues.hits(sentence, grammar, "pump") if not _is_other_pump(sentence, hit.first)]
    last = max((hit.last for hit in hits), default=None)
    for index, quantity in base.quantities(sentence, ""):
        if last is None or index <= last or not _is_plain(quantity, _PUMP_LOW, _PUMP_HIGH):
            continue
        between = [token.norm for token in sentence.tokens[last + 1 : index] if token.quantity is None]
        held = [token for token in sentence.tokens[last + 1 : index] if token.quantity is not None]
        if not all(norm in _LEADS | _RAISED | {"pressure"} for norm in between) or any(
            token.quantity is not None and token.quantity.dimension for token in held
        ):
            break
        facts.append(base.claim("pressure", reading, sentence, index, last, last, _COST, name="pump-pressure",
                                comparator=None))  # fmt: skip
    return facts


_OTHERS = _words("infusion syringe insulin calf foot heart roller balloon pain intrathecal baclofen bypass bed breast")


def _is_other_pump(sentence: Sentence, first: int) -> bool:
    return bool(first) and sentence.tokens[first - 1].norm in _OTHERS


def _is_plain(quantity: Quantity, low: Decimal, high: Decimal) -> bool:
    return quantity.form == "number" and quantity.value is not None and low <= quantity.value <= high


def _bores(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Femoral tunnel eight by twenty five", "diameter eight on the femur, eight and a half on the tibia"."""
    facts: list[Fact] = []
    tokens = sentence.tokens
    if not sentence.says(_BORED):
        return facts
    for index, quantity in base.quantities(sentence, ""):
        if not _is_plain(quantity, _WIDE, _LONG) or sentence.section in ("aftercare", "follow-up"):
            continue
        at = index - 1
        while at >= 0 and (tokens[at].norm in _ENDS or _is_bore(sentence, at)):
            at -= 1
        if at < 0 or tokens[at].norm not in _BORED or tokens[index - 1].norm in ("at", "to"):
            continue
        after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
        beside = at == index - 1 and not after.endswith("s")  # "tibial tunnel nine button on the femur"
        if after[:1].isalpha() and after not in _ENDS and not beside:
            continue  # "graft, eight sutures"
        first = at - (at > 0 and tokens[at - 1].norm in ("femoral", "tibial", "graft", "tunnel"))
        text = cues.words(sentence, first, at)
        bone = _bone(sentence, at, index)
        if bone is not None:  # "femoral tunnel 8 x 30, tibial 8.5"
            first, at, text = bone, bone, f"{tokens[bone].text} {tokens[at].norm.removesuffix('s')}"
        facts.append(base.claim("measurement", reading, sentence, index, first, at, _BESIDE if beside else _COST,
                                doubts=(_NO_UNIT,), text=text))  # fmt: skip
    return facts


_BESIDE = -2  # nothing else is nearer to a number than the tunnel right before it


def _bone(sentence: Sentence, at: int, index: int) -> int | None:
    """The bone that is said anew between a tunnel and a further number, and so is that of the number."""
    tokens = sentence.tokens
    return next((place for place in range(index - 1, at, -1)
                 if tokens[place].norm in _BONES and tokens[place - 1].norm not in _BEFORE_BONE), None)  # fmt: skip


_BONES = _words("femoral fem tibial tib femur tibia")
_BEFORE_BONE = _words("on at the of in for")


def _is_bore(sentence: Sentence, at: int) -> bool:
    """A number between a tunnel and a further one, or the bone that it was of."""
    quantity = sentence.tokens[at].quantity
    if quantity is None:
        return sentence.tokens[at].norm in ("femur", "tibia")
    return quantity.form == "number" and quantity.dimension in ("", "length")


def _pull(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Traction with a finger trap, five kilos", "tower traction ten pounds", "distraction at about forty kilos"."""
    if not sentence.says(_PULLS):
        return []
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "mass"):
        if quantity.unit not in ("kg", "[lb_av]"):
            continue
        at = next((at for at in range(index + 1, min(len(sentence.tokens), index + 4))
                   if sentence.tokens[at].norm in _PULLS), None)  # "ten pounds of lateral traction"
        between = [token.norm for token in sentence.tokens[index + 1 : at]]
        if at is None or not all(norm in _PULLED for norm in between):
            at = next((at for at in range(index - 1, max(-1, index - 1 - _PULL_REACH), -1)
                       if sentence.tokens[at].norm in _PULLS), None)  # fmt: skip
            if at is None or any(token.norm in (".", ";") or token.norm.startswith("weigh")
                                 for token in sentence.tokens[at:index]):  # fmt: skip
                continue
        facts.append(base.claim("measurement", reading, sentence, index, at, at, _COST, text="traction"))
    return facts


_LIFTS = {"elevation": "flexion", "elevates": "flexion"}  # of an arm, beside its degrees
_SHORT = {"ER": "external-rotation", "IR": "internal-rotation", "FF": "flexion", "FE": "flexion", "ext": "extension",
          "Ext": "extension", "EXT": "extension", "abd": "abduction", "Abd": "abduction", "ABD": "abduction",
          "flex": "flexion"}  # fmt: skip
_FULL = Decimal(180)  # degrees
_SIDES: dict[str, Laterality] = {"L": "left", "R": "right"}


def _turned(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "ER 90 L and 95 R", "ext -5, flex 130": a movement in short with its degrees; a letter behind is its side."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for at, token in enumerate(tokens):
        name = _SHORT.get(token.text) or (_LIFTS.get(token.norm) if sentence.section != "aftercare" else None)
        index = at + 1
        while name is not None and index < len(tokens):
            quantity = tokens[index].quantity
            if quantity is None:
                if tokens[index].norm not in ("and", "to", ":", "of", "/", "->", "l", "r", "at"):
                    break
                index += 1
                continue
            if quantity.form not in ("number", "range") or quantity.dimension not in ("", "angle") or any(
                abs(end) > _FULL for end in (quantity.value, quantity.low, quantity.high) if end is not None
            ):
                break
            side = _SIDES.get(tokens[index + 1].text) if index + 1 < len(tokens) else None
            ahead = {"status": "planned"} if _care_words.allowed(sentence, index) else {}
            facts.append(base.claim("measurement", reading, sentence, index, at, at, _COST, name=name, laterality=side,
                                    **ahead))  # fmt: skip
            index += 1
    return facts


_SEEN = ("findings", "diagnoses", "grades")
_TO_SIZE = 14  # tokens
_NOT_HERE = frozenset({"aftercare", "imaging"})
_APART = 44  # a measure with a word of its own comes first
_BY = frozenset({"x", "by", "×"})


def _beside_finding(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Ramp lesion confirmed, 15 mm", "ICRS 2, 6 x 8 mm", "grade four over a third, four by four millimetres": a
    length that stands by itself between marks is that of what was seen right before it."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "length"):
        if quantity.form != "number" or quantity.unit not in ("mm", "cm") or sentence.section in _NOT_HERE:
            continue
        first = last = index
        while first >= 2 and tokens[first - 1].norm in _BY and _is_bore(sentence, first - 2):
            first -= 2
        while last + 2 < len(tokens) and tokens[last + 1].norm in _BY and _is_bore(sentence, last + 2):
            last += 2
        pair = first < last
        if not _is_apart(sentence, first, last, pair):
            continue
        seen = [m for m in base.mentions(sentence, *_SEEN) if m.last < first and first - m.last <= _TO_SIZE]
        if not seen or any(
            token.quantity is not None and token.quantity.dimension or token.norm in (".", ";")
            for token in tokens[seen[-1].last + 1 : first]
        ) or any(m.table in _NOT_SEEN and seen[-1].last < m.first < first for m in sentence.mentions) or any(
            token.norm in _WORKED for token in tokens[seen[-1].last + 1 : first]
        ):
            continue  # "synovitis shaved (3.5 mm)": of the shaver
        what = seen[-1]
        if any(token.norm in ("to", "into", "through") for token in tokens[max(0, what.first - 2) : what.first]):
            continue  # "guide wire to the necrotic zone, three point two millimetres"
        said = {side.value for side in laterality.sides(sentence, grammar) if what.first <= side.first < first} - {None}
        facts.append(base.claim("measurement", reading, sentence, index, what.first, what.last, _APART, name="size",
                                text=cues.words(sentence, what.first, what.last),
                                laterality=said.pop() if len(said) == 1 else None))  # fmt: skip
    return facts


_WORKED = _words("shaved burred drilled resected curetted debrided removed with using trimmed excised out")
_NOT_SEEN = frozenset({"devices", "sutures", "drugs", "drains", "approaches", "acts", "procedures"})


def _is_apart(sentence: Sentence, first: int, last: int, pair: bool) -> bool:
    """Whether marks stand on both sides; behind a pair of numbers no mark is needed."""
    tokens = sentence.tokens
    before = tokens[first - 1] if first else None
    ahead = before is not None and (before.norm in (",", "(", ":") or (pair and before.quantity is not None))
    behind = last + 1 >= len(tokens) or tokens[last + 1].punctuation or pair
    return ahead and behind
