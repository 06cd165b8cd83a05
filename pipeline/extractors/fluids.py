"""Fluids in (intravenous, blood products) and out (urine, ascites, effusion, pus, old blood)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from pipeline import clauses, cues, phases, sidewise
from pipeline.extractors import _direction, _washes, base
from pipeline.extractors._beside_amount import LOOKS
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("fluid_in", "fluid_out", "draw")

_OUT_CUES = ("effusion", "pus", "haematoma", "ascites", "urine", "lipoaspirate", "bile", "bowel-content",
             "cyst-fluid")  # fmt: skip
_EVACUATED = 30
_CLOT_AS_GRAFT = frozenset({"own", "autologous", "exogenous", "fibrin"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    fluids = grammar.table("fluids", Concept)
    facts: list[Fact] = []
    spun = any(m.id in _SPUN_OF for sentence in reading.sentences for m in sentence.mentions)
    for sentence in reading.sentences:
        facts += _refused(reading, sentence, fluids)
        facts += _below_threshold(reading, sentence)
        numbers = list(base.quantities(sentence, "volume", "count", ""))
        if numbers:
            for index, quantity in numbers:
                if spun and quantity.form == "number" and _of_a_vein(sentence, index):
                    facts.append(_vein(reading, sentence, index))
                elif quantity.unit == "L" and cues.has(sentence, grammar, "pump") and not cues.has(
                    sentence, grammar, "intravenous-fluid"
                ):
                    continue  # "pump at forty five, twelve litres of saline": it ran through the joint
                elif quantity.form in ("number", "range", "fraction"):
                    facts += _number(reading, sentence, grammar, fluids, index, quantity.dimension)
    return [_drawn(fact) if spun and fact.name == "whole-blood" else fact for fact in facts]


def _below_threshold(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "If hb under seventy, two units": of blood, which was not said."""
    tokens = sentence.tokens
    return [
        base.claim("fluid_in", reading, sentence, index, index, index, _THRESHOLD_COST, text="blood", unit="{unit}",
                   doubts=("what the units are of was not said",))
        for index, _ in base.quantities(sentence, "amount")
        if index > 2 and tokens[index].norm.startswith("#") and any(
            token.norm in ("hb", "hgb", "haemoglobin", "hemoglobin") for token in tokens[max(0, index - 5) : index]
        ) and any(token.norm in ("under", "below", "<") for token in tokens[max(0, index - 3) : index])
    ]  # fmt: skip


_THRESHOLD_COST = -8


def _refused(reading: Reading, sentence: Sentence, fluids: Mapping[str, Concept]) -> list[Fact]:
    """ "No red cells, no FFP": a blood product right behind a "no", that was not given."""
    return [
        base.make("fluid_in", reading, sentence, mention.first, mention.last, name=mention.id, certainty="negated")
        for mention in base.mentions(sentence, "fluids")
        if fluids[mention.id].group == "blood" and mention.first
        and sentence.tokens[mention.first - 1].norm in ("no", "without", "nor")
        and base.scope_at(sentence, "status", mention.first, "performed") == "performed"
    ]  # fmt: skip


def _drawn(fact: Fact) -> Fact:
    """ "Whole blood 54 mL" where platelets were spun: drawn from the patient, and not given."""
    return replace(fact, kind="draw", name=None, text="whole blood")


_LIFTED = frozenset({"lifted", "lift", "raised", "submucosal"})
_SPUN_OF = frozenset({"platelet-rich-plasma", "platelet-poor-plasma", "platelet-rich-plasma-injection"})
_FROM_VEIN = frozenset("took taken drew drawn draw collected withdrew withdrawn take from arm vein".split())
_BLOOD_AHEAD, _VEIN_COST = 10, -6


def _of_a_vein(sentence: Sentence, index: int) -> bool:
    """ "Fifty two mils of blood from the right arm", "four of PRP from sixty of blood": drawn to be spun."""
    tokens = sentence.tokens
    after = [token.norm for token in tokens[index + 1 : index + 4]]
    if after[:1] != ["of"] or "blood" not in after[1:] or {"units", "lost", "loss"} & set(after):
        return False
    told = {token.norm for token in tokens[max(0, index - _BLOOD_AHEAD) : index + _BLOOD_AHEAD]}
    return bool(told & _FROM_VEIN) and not told & {"lost", "loss", "ebl", "bleeding", "bled"}


def _vein(reading: Reading, sentence: Sentence, index: int) -> Fact:
    """Its side is that of the arm, and none of the operation."""
    sides = [token.norm for token in sentence.tokens[index + 1 : index + _BLOOD_AHEAD] if token.norm in _ARM_SIDES]
    side: Laterality | None = None if len(set(sides)) != 1 else "left" if sides[0] == "left" else "right"
    return base.claim("draw", reading, sentence, index, index, min(index + 2, len(sentence.tokens) - 1), _VEIN_COST,
                      text="whole blood", laterality=side)  # fmt: skip


_ARM_SIDES = frozenset({"left", "right"})
_TAPPED = frozenset({"aspirated", "drained", "evacuated", "tapped"})
_TAPPED_COST = 24


def _tapped(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    """ "Two hundred millilitres were aspirated from the knee": no harvest, no drug, and no name of what it was."""
    tokens = sentence.tokens
    if (at := _direction.out_of_joint(sentence, index)) is not None:
        looks = index + 1 < len(tokens) and tokens[index + 1].norm in LOOKS and not cues.has(
            sentence, grammar, *_OUT_CUES
        )
        earlier = {"before", "previously", "earlier"} & {token.norm for token in tokens[at + 1 : at + 2]}
        when = {"status": "historical"} if earlier else {}  # "thirty drained before, today ten"
        return [base.claim("fluid_out", reading, sentence, index, at, at, 0 if looks else _TAPPED_COST,
                           text=tokens[at].norm, **when)]  # fmt: skip
    at = index + 1
    while at < len(tokens) and at - index <= 2 and tokens[at].norm in ("was", "were", "of", "fluid"):
        at += 1
    taken = _TAPPED | ({"off", "out", "removed", "withdrawn"} if tokens[at - 1].norm == "fluid" else frozenset())
    if at >= len(tokens) or tokens[at].norm not in taken or phases.of(reading, grammar)[sentence.index][index] or (
        any(True for _ in base.mentions(sentence, "drugs", "injectates"))
    ):  # fmt: skip
        return []
    return [base.claim("fluid_out", reading, sentence, index, index, at, _TAPPED_COST, text=tokens[at].norm)]


def _catheter(reading: Reading, sentence: Sentence, index: int, dimension: str) -> list[Fact]:
    """ "Foley: 300 cc": what came out of it, unless it fills the balloon."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    if dimension != "volume" or {"balloon", "water", "saline"} & set(after):
        return []
    for mention in base.mentions(sentence, "drains"):
        if mention.id == "urinary-catheter" and mention.last < index:
            price = cues.cost(sentence, index, mention.first, mention.last)
            if price <= 3:
                return [
                    base.claim("fluid_out", reading, sentence, index, mention.first, mention.last, price, name="urine")
                ]
    return []


def _transfused(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    """ "Two units of blood were given", "he was transfused one unit": which product it was, was not said."""
    tokens = sentence.tokens
    low, high = clauses.bounds(sentence, index)
    norms = {token.norm for token in tokens[low:high]}
    of_blood = [token.norm for token in tokens[index + 1 : index + 3]] == ["of", "blood"]
    given = bool(norms & _TRANSFUSED) or (of_blood and bool(norms & _GOT))
    quantity = tokens[index].quantity
    if not given or norms & _NOT_BLOOD or quantity is None or quantity.unit != "{unit}":
        return []
    if cues.around(sentence, grammar, index, index, "reserved"):
        return []
    before = [token.norm for at, token in enumerate(tokens) if token.norm in _TRANSFUSED and at < index
              and tokens[at - 1].norm in ("no", "without", "not")]  # fmt: skip
    if before:
        return []  # "no transfusion, two units stood by"
    last = index + 2 if of_blood else index
    at = next((at for at in range(low, high) if tokens[at].norm in _TRANSFUSED | _GOT), index)
    return [base.claim("fluid_in", reading, sentence, index, min(at, index), max(at, last), _UNNAMED, text="blood")]


_TRANSFUSED = frozenset({"transfused", "transfusion", "transfuse"})
_GOT = frozenset({"given", "received", "infused", "got", "administered", "hung"})
_NOT_BLOOD = frozenset({"lost", "insulin", "heparin", "botox", "botulinum", "oxytocin", "vasopressin"})
_UNNAMED = 12

_COUNTED = {"count": "blood", "": "output"}  # units of blood; "urine output 180"
_VEIN = ("intravenous-fluid", "given")


def _is_intravenous(sentence: Sentence, grammar: Grammar, mention: Mention, washed: bool) -> bool:
    """Saline rinses and is injected too; it is an infusion where the words around it say so."""
    if sentence.section == "fluids":
        return True
    if _washes.in_joint(sentence, mention.first, mention.last):
        return False
    if not washed and "urine" in cues.around(sentence, grammar, mention.first, mention.last, "urine"):
        return True
    if washed or cues.has(sentence, grammar, "injected", "discarded", "mixture"):
        veins = [hit for hit in cues.hits(sentence, grammar, "intravenous-fluid")
                 if cues.words(sentence, hit.first, hit.last).lower() != "fluid"]  # fmt: skip
        return any(cues.apart(sentence, hit, mention.first, mention.last) <= 16 for hit in veins)
    if mention.id != "saline":
        return True
    near = [hit for hit in cues.hits(sentence, grammar, *_VEIN) if not _is_used(sentence, hit)]
    return any(cues.apart(sentence, hit, mention.first, mention.last) <= 30 for hit in near)


def _is_used(sentence: Sentence, hit: cues.Hit) -> bool:
    """ "Six bags of saline were used": for what was not said, and most rinse."""
    return hit.id == "given" and sentence.tokens[hit.last].norm in ("used", "use", "using")


def _is_given(sentence: Sentence, last: int) -> bool:
    """ "Two units of blood were given, one was in the room": a word of giving right behind."""
    after = [token.norm for token in sentence.tokens[last + 1 : last + 4]]
    return bool({"given", "transfused", "infused"} & set(after)) and not {"not", "none", "never"} & set(after)


def _of_next(sentence: Sentence, grammar: Grammar, index: int, mention: Mention) -> bool:
    """ "EBL 150 cc crystalloid 1800 urine 350": the number stands right behind a name of its own, and the fluid after
    it is followed by its number."""
    between = [token.norm for token in sentence.tokens[index + 1 : mention.first]]
    summed = bool(between) and set(between) <= _SUMMED  # "so seven hundred millilitres in all urine two hundred"
    if not (mention.first == index + 1 or summed) or mention.last + 1 >= len(sentence.tokens):
        return False
    if sentence.tokens[mention.last + 1].quantity is None:
        return False
    if summed:
        return True
    names = [hit.last for hit in cues.hits(sentence, grammar, "blood-loss", "urine")]
    names += [other.last for other in base.mentions(sentence, "fluids")]
    return index - 1 in names


_SUMMED = frozenset({"in", "all", "total", "altogether", "together", "overall", "so", "far"})


def _is_bare_amount(sentence: Sentence, index: int, group: str, mention: Mention) -> bool:
    """ "Crystalloid 1500", "1500 of crystalloid": an amount of it, whose unit was not said."""
    quantity = sentence.tokens[index].quantity
    saved = mention.id == "cell-saver-blood"
    if not saved and group not in ("crystalloid", "colloid") or quantity is None or quantity.form != "number":
        return False
    if quantity.value is None or quantity.value < (_LEAST_SAVED if saved else _LEAST_BARE):
        return False
    if index < mention.first:
        return [token.norm for token in sentence.tokens[index + 1 : mention.first]] == ["of"]
    between = sentence.tokens[mention.last + 1 : index]
    words = {":", "-", "in", "was", "of"} | ({"gave", "back", "returned"} if saved else set())
    return all(token.norm in words for token in between)


_LEAST_SAVED = 20  # mL of washed cells that are said without a unit; common practice, no source


def _are_bags(sentence: Sentence, index: int, mention: Mention) -> bool:
    """ "Eight red cells, six FFP and two platelets": they are counted by the bag."""
    quantity = sentence.tokens[index].quantity
    value = quantity.value if quantity is not None else None
    pooled = [token.norm for token in sentence.tokens[index + 1 : mention.first]]
    beside = index < mention.first and (not pooled or pooled in (["of"], ["pooled"], ["pools", "of"], ["pool", "of"]))
    return beside and value is not None and value == int(value) and 0 < value <= _MOST_BAGS


_LEAST_BARE, _MOST_BAGS = 50, 60
_TUMESCENT = frozenset({"tumescent", "tumescence", "infiltrate"})


def _of_several(sentence: Sentence, fluids: Mapping[str, Concept], index: int, mention: Mention) -> bool:
    """ "1 L crystalloid, 500 mL albumin, 2 L in total": of all that was told before it, and not of the last."""
    told = {m.id for m in base.mentions(sentence, "fluids") if m.last < index and fluids[m.id].group != "output"}
    return mention.last < index and len(told) > 1 and "intravenous-fluids" in fluids


_INJECTED = frozenset({"injected", "instilled", "infiltrated", "given", "delivered", "deposited"})


def _is_injected(sentence: Sentence, index: int) -> bool:
    """Whether a deed of giving follows a number, before any mark or further number."""
    for token in sentence.tokens[index + 1 : index + 6]:
        if token.punctuation or token.quantity is not None:
            return False
        if token.norm in _INJECTED:
            return True
    return False


def _has_its_own(sentence: Sentence, fluid: cues.Hit, index: int) -> bool:
    """Whether a fluid that stands before a number has one right before itself, and a mark or "then" parts the two."""
    tokens = sentence.tokens
    between = {token.norm for token in tokens[fluid.last + 1 : index]}
    own = any(token.norm == "#volume" for token in tokens[max(0, fluid.first - 3) : fluid.first])
    sides = {"left", "right"} & {*between, *(token.norm for token in tokens[index + 1 : index + 5])}
    return fluid.last < index and own and bool(between & {",", "then", ";"}) and not sides


def _number(
    reading: Reading, sentence: Sentence, grammar: Grammar, fluids: Mapping[str, Concept], index: int, dimension: str
) -> list[Fact]:
    facts: list[Fact] = []
    if index and sentence.tokens[index - 1].norm in ("loss", "ebl"):
        return []  # "loss seventy mils urine three fifty"
    if any(token.norm in _LIFTED for token in sentence.tokens[max(0, index - 3) : index]):
        return []  # "lifted with fifteen mils of gelofusine"
    if any(token.norm in _TUMESCENT for token in sentence.tokens[index + 1 : index + 4]):
        return []  # "lipoaspirate after 250 mL tumescent": what was put in before
    injected = _is_injected(sentence, index)
    limit = {"volume": 60, "count": 12, "": 8}[dimension]
    here = (index, index)
    washed = bool(cues.around(sentence, grammar, *here, "irrigation"))
    for mention in base.mentions(sentence, "fluids"):
        row = fluids[mention.id]
        if row.group == "crystalloid" and not _is_intravenous(sentence, grammar, mention, washed):
            continue
        if row.group == "blood" and not _is_given(sentence, max(index, mention.last)) and (
            cues.around(sentence, grammar, index, mention.last, "reserved")
        ):
            continue  # cross-matched is not given
        price = cues.cost(sentence, index, mention.first, mention.last)
        if _of_next(sentence, grammar, index, mention):
            continue
        if mention.id in ("crystalloid", "intravenous-fluids") and any(
            other.first == index + 1 and other != mention and fluids[other.id].group == "crystalloid"
            for other in base.mentions(sentence, "fluids")
        ):
            price += 1  # "IV fluids 2 L Hartmann's"
        bare = dimension == "" and _is_bare_amount(sentence, index, row.group, mention)
        if dimension == "" and row.group == "blood" and _are_bags(sentence, index, mention):
            facts.append(base.claim("fluid_in", reading, sentence, index, index, mention.last, price, name=mention.id,
                                    unit="{unit}"))  # fmt: skip
            continue
        if price > limit or (dimension != "volume" and row.group != _COUNTED.get(dimension) and not bare):
            continue
        if dimension == "" and index < mention.first and not bare and any(
            token.norm not in ("of", "ml") for token in sentence.tokens[index + 1 : mention.first]
        ):
            continue  # "two drains urine six hundred"
        if dimension == "" and any((one := token.quantity) is not None and one.dimension == "volume"
                                   for token in sentence.tokens[mention.last + 1 : index]):
            continue  # "urine five hundred mils one drain": it has its own
        kind = "fluid_out" if row.group == "output" else "fluid_in"
        if kind == "fluid_out" and index < mention.first and _is_not_told(sentence, mention.last):
            continue
        if kind == "fluid_out" and injected and mention.last < index:
            continue  # "aspirated clear synovial fluid then five mils of concentrate injected"
        scale = cues.scale(sentence, index)
        name = "intravenous-fluids" if kind == "fluid_in" and scale == "total" and _of_several(
            sentence, fluids, index, mention) else mention.id  # fmt: skip
        facts.append(
            base.claim(kind, reading, sentence, index, mention.first, mention.last, price, name=name, scale=scale)
        )
    facts += _catheter(reading, sentence, index, dimension)
    if dimension == "count" and not facts:
        facts += _transfused(reading, sentence, grammar, index)
    near = cues.nearest(sentence, grammar, index, "intravenous-fluid")
    if near is not None and sentence.tokens[near[1].last].norm == "fluid" and near[1].first == near[1].last:
        near = None  # "purulent fluid" is no infusion, "fluids" are
    if near is not None and not dimension and sentence.tokens[near[1].last].norm in ("iv", "v"):
        near = None  # "one IV and one topical": the way in which a drug was given
    if near is not None and near[0] <= (limit if dimension == "volume" else 2) and not washed and dimension != "count":
        facts.append(
            base.claim("fluid_in", reading, sentence, index, near[1].first, near[1].last, near[0] + 1,
                       name="intravenous-fluids" if "intravenous-fluids" in fluids else None,
                       scale=cues.scale(sentence, index))
        )  # fmt: skip
    if dimension != "volume":
        return facts
    facts += _tapped(reading, sentence, grammar, index)
    near = cues.nearest(sentence, grammar, index, *_OUT_CUES)
    clotted = near is not None and near[1].id == "haematoma" and sentence.tokens[near[1].first].norm == "clot"
    if clotted and (sentence.says(_CLOT_AS_GRAFT) or phases.of(reading, grammar)[sentence.index][index] == "harvest"):
        near = None  # "12 mL of the patient's own clot injected into the repair"
    if near is not None and base.scope_at(sentence, "certainty", near[1].first, "affirmed") == "negated":
        near = None  # "no effusion all four mils in": none came out
    if near is not None and injected and near[1].last < index:
        near = None
    if near is not None and index < near[1].first and _is_not_told(sentence, near[1].last):
        near = None
    if near is not None and _has_its_own(sentence, near[1], index):
        near = None  # "3 mL yellow fluid out, 1 mL of steroid in"
    side = sidewise.side_of(sentence, index, grammar)
    if near is not None and near[0] <= _EVACUATED + 40 * (side is not None):
        facts.append(
            base.claim("fluid_out", reading, sentence, index, near[1].first, near[1].last, near[0] + 1,
                       name=near[1].id, laterality=side)
        )  # fmt: skip
    return facts


def _is_not_told(sentence: Sentence, last: int) -> bool:
    """ "Crystalloid fifteen hundred mils urine not measured": the number before it is not of the urine."""
    return bool(_NOT_TOLD & {token.norm for token in sentence.tokens[last + 1 : last + 3]})


_NOT_TOLD = frozenset({"not", "unmeasured", "unrecorded", "nil", "none"})
