"""The needle of a harvest: its size, its depth below the cortex, advance, turns and retraction."""

from __future__ import annotations

from decimal import Decimal

from pipeline import counted_things, cues, phases
from pipeline import turned as turned_by
from pipeline.conversion import convert
from pipeline.extractors import _amount_lists, _beside_amount, base
from pipeline.extractors import _amount_words as words
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Scale, Sentence

KINDS = ("harvest_needle", "harvest_depth", "needle_advance", "needle_turns", "needle_retraction")

_MOVES = {"depth": "harvest_depth", "advance": "needle_advance", "retraction": "needle_retraction"}
_REACH = 40


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence, parts in zip(reading.sentences, phases.of(reading, grammar), strict=True):
        if not cues.numbers(sentence):
            continue
        moved = _is_moved(sentence, grammar)
        for index, quantity in base.quantities(sentence):
            here = parts[index] == "harvest" or (moved and not parts[index]) or _goes_on(sentence, grammar, index)
            if not here or quantity.form not in ("number", "range", "fraction", "size"):
                continue
            facts += _number(reading, sentence, grammar, index)
    return facts


def _is_moved(sentence: Sentence, grammar: Grammar) -> bool:
    """Whether a needle is moved in two of three ways ("advanced two centimetres, two turns back"): a harvest needle,
    though nothing else says so."""
    if any(True for _ in base.mentions(sentence, "drugs")) and not cues.has(sentence, grammar, "marrow", "draw-noun"):
        return False  # "needle into the joint, forty of triamcinolone went in, rotation twenty degrees"
    turned = cues.has(sentence, grammar, "turns") or any(True for _ in base.quantities(sentence, "turns"))
    inward = cues.has(sentence, grammar, "advance", "depth")
    ways = (turned, inward, cues.has(sentence, grammar, "retraction"))
    return sum(ways) > 1 and cues.has(sentence, grammar, "needle")


def _goes_on(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "First draw ... then advanced 2 cm more ... injected into the hip": a move right before the number, and the
    harvest was spoken of last."""
    if not any(
        hit.last < index <= hit.last + _RIGHT_BEHIND for hit in cues.hits(sentence, grammar, "advance", "retraction")
    ):
        return False
    before = [hit for hit in cues.hits(sentence, grammar, "harvest", "marrow", "injection-phase")
              if hit.last < index]  # fmt: skip
    return bool(before) and max(before, key=lambda hit: hit.first).id != "injection-phase"


_RIGHT_BEHIND = 2  # tokens


def _number(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    quantity = sentence.tokens[index].quantity
    assert quantity is not None
    facts: list[Fact] = []
    if _is_pitch(sentence, index):
        turn = sentence.tokens[index + 1].quantity if index + 1 < len(sentence.tokens) else None
        last = index + 1 if turn is not None and turn.dimension == "turns" else index
        return [base.claim("measurement", reading, sentence, index, index, last, _TOLD, name="needle-pitch",
                           unit=quantity.unit)]  # fmt: skip
    if index and _is_pitch(sentence, index - 1):
        return []
    if not quantity.dimension and index in (by_depth := _amount_lists.by_depth(sentence)).values():
        unit = next(one.unit for at in by_depth.values() if (one := sentence.tokens[at].quantity) and one.unit)
        lent = f"the unit of {sentence.tokens[index].text} was not said; taken as that of the other depths"
        return [base.claim("harvest_depth", reading, sentence, index, index - 1, index, _TOLD, unit=unit,
                           doubts=(lent,))]  # fmt: skip
    if quantity.dimension == "length" and (gauge := _beside_gauge(sentence, index)) is not None:
        return [_of_needle(reading, sentence, index, gauge, quantity)]
    if quantity.dimension == "length" and index and sentence.tokens[index - 1].norm in words.CRESTS and (
        _beside_amount.stops(sentence, index + 1)
    ):
        return [base.claim("harvest_depth", reading, sentence, index, index - 1, index, _TOLD, unit=quantity.unit,
                           doubts=("what was so long was not said; taken as how deep it went",))]  # fmt: skip
    if quantity.dimension == "length" and (move := _moved_by(sentence, index)) is not None:
        kind, at, scale = move
        return [base.claim(kind, reading, sentence, index, at, index, _TOLD, unit=quantity.unit, scale=scale)]
    if quantity.dimension in ("", "length") and (deep := _at_depth(sentence, index)) is not None:
        return [base.claim("harvest_depth", reading, sentence, index, *deep, _TOLD, unit=quantity.unit)]
    if quantity.dimension == "length" and (tip := _tip_at(sentence, grammar, index)) is not None:
        return [base.claim("harvest_depth", reading, sentence, index, *tip, _TOLD, unit=quantity.unit)]
    if quantity.dimension == "length" and _is_left(sentence, index):
        return [base.claim("measurement", reading, sentence, index, index, index, _TOLD, name="needle-way-left",
                           unit=quantity.unit)]  # fmt: skip
    turned = cues.has(sentence, grammar, "turns") or any(True for _ in base.quantities(sentence, "turns"))
    if quantity.dimension == "length" and turned and cues.scale(sentence, index) == "total":
        return [base.claim("needle_retraction", reading, sentence, index, index, index, _TOLD, scale="total")]
    if quantity.dimension == "length" and _for_each_draw(sentence, index):
        return [base.claim("needle_retraction", reading, sentence, index, index, index, _TOLD, scale="each")]
    if quantity.dimension == "gauge" and (quantity.value or 0) >= _THIN:
        return []  # it injects, and draws no marrow
    needle = cues.nearest(sentence, grammar, index, "needle")
    if quantity.dimension == "gauge" and (needle is None or needle[0] > _GAUGE_REACH):
        return [base.claim("harvest_needle", reading, sentence, index, index, index, _BARE_GAUGE)]
    if quantity.dimension == "length" and needle is not None and _is_in(sentence, needle[1].last, index):
        return [base.claim("harvest_depth", reading, sentence, index, needle[1].last, index, 0)]
    if quantity.dimension in ("gauge", "length"):
        if needle is not None and _is_spinal(sentence, needle[1]):
            needle = None
        if needle is not None and needle[0] <= (_GAUGE_REACH if quantity.dimension == "gauge" else 4):
            price, hit = needle
            facts.append(base.claim("harvest_needle", reading, sentence, index, hit.first, hit.last, price))
    if quantity.dimension == "length" and quantity.unit not in _FINE:
        for cue, kind in _MOVES.items():
            near = cues.nearest(sentence, grammar, index, cue)
            if near is not None and _length_between(sentence, index, near[1]):
                continue  # "depth four centimetres and half a centimetre back"
            lesion = cue == "depth" and _beside_amount.of_a_lesion(sentence, index)
            if near is not None and near[0] <= _REACH and not lesion:
                price, hit = near
                facts.append(
                    base.claim(kind, reading, sentence, index, hit.first, hit.last, price,
                               scale=_scale(sentence, index) if cue == "retraction" else cues.scale(sentence, index))
                )  # fmt: skip
    elif _is_told_to_turn(sentence, index):
        return facts
    elif quantity.dimension in ("turns", "angle", ""):
        near = cues.nearest(sentence, grammar, index, "turns")
        if quantity.dimension == "turns" and not _is_by_angle(sentence, index):
            facts.append(
                base.claim("needle_turns", reading, sentence, index, index, index, 0, scale=_scale(sentence, index))
            )
        elif _beside_amount.turned_by(sentence, index) and not _is_by_angle(sentence, index):
            facts.append(base.claim("needle_turns", reading, sentence, index, index, index, 0, unit="{turn}",
                                    scale=_scale(sentence, index)))  # fmt: skip
        elif quantity.dimension == "angle" and (
            turned_by.is_led([token.norm for token in sentence.tokens], index) or _of_a_turn(sentence, index)
        ):
            facts.append(base.claim("needle_turns", reading, sentence, index, index - 1, index, _TOLD))
        elif near is not None and near[0] <= 8 and not _parted(sentence, index, near[1]) and (
            near[1].first > index or quantity.dimension == "angle"
        ):
            price, hit = near
            facts.append(base.claim("needle_turns", reading, sentence, index, hit.first, hit.last, price))
    return facts


def _of_a_turn(sentence: Sentence, index: int) -> bool:
    """Whether "a turn of" stands right before an angle."""
    before = sentence.tokens[max(0, index - 2) : index]
    return len(before) > 1 and before[1].norm in ("of", "by", "through") and (
        before[0].norm in ("turn", "turns", "rotation")
        or before[0].quantity is not None and before[0].quantity.dimension == "turns"
    )


def _is_by_angle(sentence: Sentence, index: int) -> bool:
    """ "A turn of ninety degrees": a quarter of a whole one, and no whole one."""
    tokens = sentence.tokens[index + 1 : index + 4]
    return any(token.quantity is not None and token.quantity.dimension == "angle" for token in tokens) and any(
        token.norm in ("of", "by", "through") for token in tokens[:2]
    )


_NEARLY = frozenset({",", "about", "roughly", "around", "just", "to", "approximately", "maybe"})


def _is_in(sentence: Sentence, needle: int, index: int) -> bool:
    """ "Needle in two and a half centimetres", "jamshidi eleven gauge in about three centimetres": how far it went."""
    at = index - 1
    while at > needle and sentence.tokens[at].norm in _NEARLY:
        at -= 1
    between = sentence.tokens[needle + 1 : at]
    gauge = all(token.punctuation or (token.quantity is not None and token.quantity.dimension == "gauge")
                for token in between)  # fmt: skip
    return at > needle and sentence.tokens[at].norm == "in" and gauge


def _of_needle(reading: Reading, sentence: Sentence, index: int, gauge: int, quantity: Quantity) -> Fact:
    """The length of a needle; a range, and what is too short for one, is how deep it went."""
    given = convert(quantity.value, quantity.unit, "cm") if quantity.value is not None and quantity.unit else None
    named = {"long", "length"} & {token.norm for token in sentence.tokens[gauge : index + 2]}
    if quantity.form == "range" or (given is not None and given < _SHORTEST and not named):
        return base.claim("harvest_depth", reading, sentence, index, gauge, index, _TOLD, unit=quantity.unit)
    return base.claim("harvest_needle", reading, sentence, index, gauge, index, _TOLD, unit=quantity.unit)


_THIN = 18  # gauge; common practice, no source: needles that draw marrow have 8 to 16
_SHORTEST = Decimal(4)  # cm, of needles that draw marrow; common practice, no source


def _is_told_to_turn(sentence: Sentence, index: int) -> bool:
    """ "Third eight, turn it ninety", "four turn the needle": the verb of what comes next, and no count of turns."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 5] if token.norm not in ("more", "mils")]
    behind = behind[1:] if behind[:2] == [".", "turn"] else behind
    return behind[:1] == ["turn"] and (behind[1:2] == ["back"] or counted_things.goes_on_after_turn(behind, 1))


def _beside_gauge(sentence: Sentence, index: int) -> int | None:
    """ "Trocar 8 gauge, length 11 cm", "11 gauge, 4 inches", "Jamshidi, 10 centimeters": the gauge or the name of the
    needle that a length stands right behind, so that it is the needle's own."""
    tokens = sentence.tokens
    if index + 1 < len(tokens) and tokens[index + 1].norm in _BELOW | _NOT_OWN:
        return None
    for at in range(index - 1, max(-1, index - _OWN_REACH), -1):
        quantity = tokens[at].quantity
        if quantity is not None:
            return at if quantity.dimension == "gauge" and (quantity.value or 0) < _THIN else None
        if tokens[at].norm in _NAMES and not _is_spinal(sentence, cues.Hit("needle", at, at)):
            return at
        if tokens[at].norm not in _OF_NEEDLE:
            return None
    return None


_GAUGE_REACH = 20
_BARE_GAUGE = 30  # "marrow out of the left crest, 11 gauge, 60 mL"
_OWN_REACH = 6
_OF_NEEDLE = frozenset(", needle trocar cannula jamshidi length long and x by of a with it is / - shaft ( the".split())
_NAMES = frozenset({"jamshidi", "needle", "trocar"})
_NOT_OWN = frozenset({"deeper", "further", "more", "back", "in", "from", "of", "advance", "retraction"})


def _is_spinal(sentence: Sentence, needle: cues.Hit) -> bool:
    """A spinal needle injects, and draws no marrow."""
    return any(token.norm == "spinal" for token in sentence.tokens[max(0, needle.first - 1) : needle.last + 1])


def _moved_by(sentence: Sentence, index: int) -> tuple[str, int, Scale | None] | None:
    """(kind, token, scale) of "back 5 mm", "5 mm further each time", "every 2 cm down to 9 cm", "we came to 6 cm"."""
    tokens = sentence.tokens
    before = [token.norm for token in tokens[max(0, index - 4) : index]]
    after = [token.norm for token in tokens[index + 1 : index + 5]]
    if before[-1:] == ["back"] or before[-2:] in (["back", "by"], ["back", "about"]):
        return "needle_retraction", index - 1, _scale(sentence, index)
    if after[:1] == ["back"] and after[1:2] in (["each"], ["every"], ["after"], ["for"], ["between"]):
        return "needle_retraction", index, _scale(sentence, index)  # "half a centimetre back each time"
    if after[:1] in (["further"], ["deeper"]) and after[1:2] not in (["lateral"], ["medial"], ["away"], ["apart"]):
        return "needle_advance", index, "each" if {"each", "every"} & set(after[1:3]) else _scale(sentence, index)
    if before[-1:] in (["every"], ["each"]) and not {"out", "back"} & {token.norm for token in tokens[: index + 8]}:
        return "needle_advance", index - 1, "each"
    if before[-2:] in (["down", "to"], ["came", "to"], ["up", "to"], ["got", "to"]) and (
        any(token.norm in _BELOW | {"every", "each", "advanced", "depth", "deep"} for token in tokens[:index])
    ):
        return "harvest_depth", index - 1, None
    return None


def _length_between(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    between = (token.quantity for token in sentence.tokens[index + 1 : hit.first])
    return any(one is not None and one.dimension == "length" for one in between)


def _parted(sentence: Sentence, index: int, turns: cues.Hit) -> bool:
    """ "Draw two is ten mils, turn it": another number stands between."""
    return any(token.quantity is not None for token in sentence.tokens[index + 1 : turns.first])


# A move that was made again and again: "half a centimetre per draw", "after each draw it was drawn back 1 cm".
_REPEATED = ("per draw", "each draw", "every draw", "each aspirate", "every aspirate", "each pull", "per pull",
             "between draws", "after each", "after every", "each time", "every time", "a draw")  # fmt: skip
_AROUND = 9  # tokens


def _scale(sentence: Sentence, index: int) -> Scale | None:
    """`cues.scale`, and "each" for a move that goes with every draw, within the same part of the sentence."""
    said = cues.scale(sentence, index)
    if said is not None:
        return said
    tokens = sentence.tokens
    first, last = max(0, index - _AROUND), min(len(tokens), index + _AROUND)
    first = max((at + 1 for at in range(first, index) if tokens[at].norm in (".", ";")), default=first)
    last = min((at for at in range(index + 1, last) if tokens[at].norm in (".", ";")), default=last)
    first = max((at + 1 for at in range(first, index) if tokens[at].quantity is not None), default=first)
    pitch = index + 2 if index + 2 < len(tokens) and _is_pitch(sentence, index + 2) else index  # "of 0.5 cm after each"
    last = min((at for at in range(pitch + 1, last) if tokens[at].quantity is not None), default=last)
    near = " ".join(token.norm for token in tokens[first:last])
    return "each" if any(f" {phrase} " in f" {near} " for phrase in _REPEATED) else None


def _is_pitch(sentence: Sentence, index: int) -> bool:
    """ "Half a centimetre a turn": how far one turn moves the needle, no way and no turn of its own."""
    here = sentence.tokens[index].quantity
    if here is not None and here.dimension == _PER_TURN:
        return True
    led = sentence.tokens[index - 2].quantity if index > 1 and sentence.tokens[index - 1].norm in ("of", "at") else None
    if here is not None and here.dimension == "length" and led is not None and led.dimension == "turns":
        return True  # "three turns of half a centimetre"
    if index + 1 >= len(sentence.tokens):
        return False
    after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    after = after[1:] if after[0] in ("with", "for", "at", "on") else after
    if here is not None and here.dimension == "length" and after[:1] and after[0] in _PER and after[1:2] == ["turn"]:
        return True  # "half a centimetre each turn"
    way, turn = sentence.tokens[index].quantity, sentence.tokens[index + 1].quantity
    if way is None or turn is None or way.dimension != "length" or turn.dimension != "turns":
        return False
    return sentence.tokens[index + 1].text.lower().startswith(("a ", "per ", "each ", "every "))


_PER_TURN = "length_per_turn"
_PER = ("per", "each", "every")
_LAST, _DRAWS = 6, frozenset("draw draws aspirate pull sample".split())
_NEXT = frozenset("first second third fourth fifth sixth seventh eighth ninth tenth last next".split())
_TIP = frozenset("needle cannula trocar jamshidi tip".split())


def _tip_at(sentence: Sentence, grammar: Grammar, index: int) -> tuple[int, int] | None:
    """Tokens of what tells where the needle was: "first draw at 1 cm", "third at 3 cm", "needle to 4 cm", "the cannula
    sat at 3 cm". Where it comes to lie on its way out is no depth that it went to."""
    tokens = sentence.tokens
    if not index or tokens[index - 1].norm not in ("at", "to"):
        return None
    words = [token.norm for token in tokens[max(0, index - _LAST) : index - 1]]
    stop = next((at + 1 for at in range(len(words) - 1, -1, -1) if words[at] in (".", ",", ";", "and", "then")), 0)
    words = words[stop:]
    at = tokens[index - 1].norm == "at"
    if at and words[-1:] == ["in"]:
        return index - 2, index  # "we are in at two centimetres"
    drawn = bool(_DRAWS & set(words)) or (at and bool(words) and words[-1] in _NEXT and _told_draws(sentence, index))
    tip = bool(_TIP & set(words)) and not {"now", "back", "out", "withdrawn", "advanced"} & set(words)
    return (index - 1, index) if (drawn and at) or tip else None


def _told_draws(sentence: Sentence, index: int) -> bool:
    return any(token.norm in _DRAWS for token in sentence.tokens[:index])


def _is_left(sentence: Sentence, index: int) -> bool:
    """ "Remaining excursion 2 cm", "2 cm left", "tip now at 3 cm": how far it still lies in."""
    tokens = sentence.tokens
    low = max(0, index - 5)
    low = max((at + 1 for at in range(low, index) if tokens[at].quantity is not None or tokens[at].norm in ".,;"),
              default=low)  # fmt: skip
    before = [token.norm for token in tokens[low:index]]
    after = [token.norm for token in tokens[index + 1 : index + 3]]
    now = "now" in before and bool(_TIP & set(before))
    return bool({"remaining", "excursion", "remains"} & set(before)) or now or (
        after[:1] in (["left"], ["remaining"]) and after[1:2] not in (["knee"], ["hip"], ["iliac"], ["crest"], ["side"])
    )


def _for_each_draw(sentence: Sentence, index: int) -> bool:
    """ "A draw every 1 cm on the way out"."""
    before = [token.norm for token in sentence.tokens[max(0, index - 3) : index]]
    return before[-1:] == ["every"] and bool(_DRAWS & set(before))


def _at_depth(sentence: Sentence, index: int) -> tuple[int, int] | None:
    """Tokens of what tells a depth for certain: "two centimetres deep to the cortex", "five millilitres at two
    centimetres", and a bare number in that place."""
    tokens = sentence.tokens
    after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
    length = (here := tokens[index].quantity) is not None and here.dimension == "length"
    onward = any(token.norm in ("draw", "first", "last") for token in tokens[index + 2 : index + 5])
    where = {token.norm for token in tokens[index + 2 : index + 6]}
    in_joint = bool(where & _JOINT) and not where & _SURFACES
    ends = _beside_amount.stops(sentence, index + 2) or tokens[index + 2].quantity is not None
    into = (after == "in" and ends) or (
        after == "into" and bool(where & _SURFACES)
    )
    led = tokens[index - 1].norm if index else ","
    if length and into and (after == "into" or led in _LEADS_DEPTH or "#gauge" in {
        token.norm for token in tokens[max(0, index - 3) : index]
    }):  # fmt: skip
        return index, index + 1  # "eleven gauge, two centimetres into the bone"
    opens = led == "at" and (index < 2 or tokens[index - 2].punctuation or tokens[index - 2].norm in ("then", "and"))
    if length and opens and after in ("#volume", "#number", ",") and sentence.tokens[-1] is not tokens[index]:
        return index - 1, index  # "at two centimetres ten mils"
    if length and after in _BELOW and not (onward or in_joint or _beside_amount.of_a_lesion(sentence, index)):
        return index, index + 1
    before = tokens[index - 2].quantity if index >= 2 and tokens[index - 1].norm == "at" else None
    volume = before is not None and (before.dimension == "volume" or (length and before.form == "number"))
    ends = index + 1 >= len(tokens) or tokens[index + 1].punctuation or after in ("and", "then")
    return (index - 1, index) if volume and ends else None


_LEADS_DEPTH = frozenset({"gauge", ",", "needle", "trocar", "long", "jamshidi"})
_BELOW = frozenset({"deep", "below", "beneath", "past", "beyond", "under"})
_SURFACES = frozenset("cortex cortical skin periosteum surface bone crest".split())
_JOINT = frozenset("subchondral articular plate joint cartilage".split())  # where a track ends, and no harvest
_TOLD = -5  # before any other claim: the words right beside the number say what it is
_FINE = ("um", "nm")  # the mesh of a filter, no way of a needle
