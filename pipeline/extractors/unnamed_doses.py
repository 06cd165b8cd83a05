"""Doses where no drug is named: "eighty milligrams through each needle", "block with thirty mils", "20 cc of local".
Kept without a name, and asked about. And the other way round: drugs with a number whose unit was left out."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import _direction, _drug_told, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Drug

KINDS = ("medication_dose", "medication_concentration", "medication_volume", "injection_volume")

_DOSES = {
    "mass": "medication_dose", "amount": "medication_dose", "catalytic": "medication_dose",
    "molar": "medication_dose", "concentration": "medication_concentration",
    "mass_concentration": "medication_concentration",
}  # fmt: skip
# Units in which drugs are given; a weight in kg or a haemoglobin in g/dL is none.
_UNITS = ("g", "mg", "ug", "[USP'U]", "[iU]", "U", "mg/mL", "ug/mL", "[USP'U]/mL", "[iU]/mL", "mmol", "meq")
_LATER = ("aftercare", "follow-up")
_REACH, _AHEAD = 40, 10
_TISSUE = 40
_COST = 88  # any other claim on the number is better


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if sentence.section in _LATER or not cues.numbers(sentence):
            continue
        facts += _blocks(reading, sentence, grammar)
        facts += _bare(reading, sentence, grammar)
        things = [mention.first for mention in base.mentions(sentence, "devices", "fluids")]
        drugs = [mention.first for mention in base.mentions(sentence, "drugs")]
        for index, quantity in base.quantities(sentence, *_DOSES):
            if quantity.unit not in _UNITS or quantity.form not in ("number", "range", "fraction"):
                continue
            if quantity.unit == "g" and (quantity.value or quantity.low or 0) >= _TISSUE:
                continue  # no drug is given by the quarter pound; specimens and babies weigh so much
            if (worked := _worked(reading, sentence, grammar, index, quantity)) is not None:
                facts.append(worked)
                continue
            near = cues.nearest(sentence, grammar, index, "given", "injected", "each")
            if any(0 < at - index <= _AHEAD // 2 for at in things):
                continue  # "40 g cement with gentamicin"
            if drugs and 0 < min(drugs, key=lambda at: abs(at - index)) - index <= _AHEAD:
                first = last = index  # "steroid eighty milligrams with four mils of marcaine"
            elif drugs or near is None or near[0] > _REACH:
                continue
            else:
                first, last = near[1].first, near[1].last
            facts.append(
                base.claim(_DOSES[quantity.dimension], reading, sentence, index, first, last, _COST,
                           scale=cues.scale(sentence, index), doubts=("which drug was not said",))
            )  # fmt: skip
    return facts


def _worked(
    reading: Reading, sentence: Sentence, grammar: Grammar, index: int, quantity: Quantity
) -> Fact | None:
    """ "Twelve mils of one percent lidocaine, eight at the wrist and four at the thumb, so one hundred and twenty
    milligrams": the one local anaesthetic of the sentence, whose volume times its strength is that dose."""
    rows = grammar.table("drugs", Drug)
    drugs = [m for m in base.mentions(sentence, "drugs")
             if m.last < index and "local_anaesthetic" in rows[m.id].classes]  # fmt: skip
    if len(drugs) != 1 or quantity.unit != "mg" or quantity.value is None:
        return None
    before = [token.quantity for token in sentence.tokens[:index] if token.quantity is not None]
    shares = [one.value for one in before if one.dimension == "fraction" and one.unit == "%" and one.value is not None]
    volumes = [one.value for one in before if one.unit == "mL" and one.value is not None]
    if len(shares) != 1 or not any(volume * shares[0] * _PER_CENT == quantity.value for volume in volumes):
        return None
    drug = drugs[0]
    return base.claim("medication_dose", reading, sentence, index, drug.first, drug.last, _COST, name=drug.id,
                      unit=quantity.unit, group=f"m{base.group_of(sentence, drug.first)}",
                      role="local_anaesthetic")  # fmt: skip


_PER_CENT = 10  # mg/mL


def _bare(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Forty of triamcinolone and four of lidocaine": a drug that is dosed by its mass, or one that is measured by
    its volume, and no unit was said."""
    rows = grammar.table("drugs", Drug)
    led = {m.first: m for m in base.mentions(sentence, "drugs")}
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "", "volume"):
        if quantity.form == "number" and _of_what_was_mixed(sentence, index):
            facts.append(base.claim("injection_volume", reading, sentence, index, index, index + 2, _COST,
                                    unit=quantity.unit, scale=cues.scale(sentence, index)))  # fmt: skip
        if quantity.dimension:
            continue
        drug = led.get(_past_strength(sentence, index + 2))
        if quantity.form != "number" or drug is None or sentence.tokens[index + 1].norm != "of":
            continue
        by_volume = bool(_BY_VOLUME & set(rows[drug.id].classes)) or "mL" in rows[drug.id].dose_units
        if by_volume or set(rows[drug.id].dose_units) & {"mg", "ug"}:
            facts.append(
                base.claim("medication_volume" if by_volume else "medication_dose", reading, sentence, index, index,
                           drug.last, 4, name=drug.id, unit=None, scale=cues.scale(sentence, index),
                           **_as_the_drug(sentence, grammar, drug),
                           group=f"m{base.group_of(sentence, drug.first)}")
            )  # fmt: skip
    return facts


def _of_what_was_mixed(sentence: Sentence, index: int) -> bool:
    """ "Fifteen of the mixture went in": so much of what was mixed."""
    norms = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    if _direction.thrown(sentence, index) or _is_left(sentence, index):
        return False
    return norms[:1] == ["of"] and norms[1:2] in (["the"], ["this"], ["that"]) and norms[2:3] in (
        ["mixture"], ["mix"], ["cocktail"], ["solution"]
    )  # fmt: skip


def _as_the_drug(sentence: Sentence, grammar: Grammar, drug: Mention) -> dict[str, str]:
    """What is denied or only meant of a drug is so of its number: "forty of depo medrol drawn up, never given"."""
    ids = cues.around(sentence, grammar, drug.first, drug.last)
    scope = base.scope_at(sentence, "certainty", drug.first, "affirmed")
    if _is_thrown(sentence, drug.last) or scope == "negated" or _drug_told.was_denied(sentence, grammar, drug, ids):
        return {"certainty": "negated"}
    return {"status": "planned"} if _drug_told.was_meant(sentence, drug) else {}


def _is_left(sentence: Sentence, index: int) -> bool:
    """ "Six mils of the local were left over": nobody got it."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 8]]
    return any(norm in ("left", "discarded", "remained", "wasted", "binned", "unused") and behind[at - 1] in _WERE
               for at, norm in enumerate(behind) if at)  # fmt: skip


_WERE = frozenset({"was", "were", "is", "are", "remained", "local"})


def _is_thrown(sentence: Sentence, last: int) -> bool:
    """ "Another ten of bupivacaine which was thrown away"."""
    behind = [token.norm for token in sentence.tokens[last + 1 : last + 4] if token.norm not in ("which", "that", ",")]
    return behind[:1] in (["was"], ["were"]) and behind[1:2] in (["thrown"], ["discarded"], ["wasted"], ["binned"])


def _past_strength(sentence: Sentence, at: int) -> int:
    """ "Four of half percent bupivacaine": past the strength that stands before the drug."""
    strength = sentence.tokens[at].quantity if at < len(sentence.tokens) else None
    return at + 1 if strength is not None and strength.dimension in ("fraction", "mass_concentration") else at


_BY_VOLUME = frozenset({"local_anaesthetic", "diluent", "contrast", "viscosupplement"})
_BLOCK_REACH = 20
_WORDS = frozenset({"local", "la", "anaesthetic", "anesthetic"})
def _of_tissue(sentence: Sentence, at: int) -> bool:
    """ "Local bone 8 mL"."""
    return at + 1 < len(sentence.tokens) and sentence.tokens[at + 1].norm in _GRAFTS


_GRAFTS = frozenset({"bone", "graft", "autograft", "tissue", "flap", "skin", "fat"})
_WASHES = frozenset({"saline", "irrigation", "wash", "washed", "blood", "urine"})


def _blocks(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """The volume of a nerve block or of "local" where no drug of it is said in the sentence."""
    if any(True for _ in base.mentions(sentence, "drugs", "injectates")) or sentence.says(_WASHES):
        return []
    if not any(True for _ in base.quantities(sentence, "volume")):
        return []
    spans = [(mention.first, mention.last) for mention in base.mentions(sentence, "anaesthesia")
             if mention.id.endswith("-block") or (mention.id == "local" and not _of_tissue(sentence, mention.last))]
    spans += [
        (at, at) for at, token in enumerate(sentence.tokens)
        if token.norm in _WORDS and not any(first <= at <= last for first, last in spans)
        and not _of_tissue(sentence, at)
    ]  # fmt: skip
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "volume"):
        if quantity.form not in ("number", "range", "fraction") or not spans or _is_left(sentence, index):
            continue
        price, first, last = min((cues.cost(sentence, index, *span), *span) for span in spans)
        if price <= _BLOCK_REACH:
            facts.append(
                base.claim("injection_volume", reading, sentence, index, first, last, _COST - 20, unit=quantity.unit,
                           scale=cues.scale(sentence, index), group=f"i{base.group_of(sentence, first)}",
                           doubts=("what was injected was not said",))
            )  # fmt: skip
    return facts
