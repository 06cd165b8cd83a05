"""An amount of something in a unit that cannot measure it: "5 mm of lidocaine", "a 20 millilitre incision".

Such a number is no dose and no volume, so no fact of that kind holds it and `units` never sees it. Read from the
sentences themselves: the number and what it is of stand side by side.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from pipeline import mentions
from pipeline.checks.base import amount, finding, placed, read
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding, Mention, Quantity, Sentence, Token

MEANING = "An amount was said in a unit that cannot measure what it is of: millimetres of a drug or of blood."

_BY = frozenset({"by", "x", "×"})
_LENGTHS = frozenset({"length", "angle", "french", "gauge"})
_LIQUIDS = frozenset(
    "blood marrow aspirate saline urine irrigation irrigant crystalloid colloid concentrate prp bmac plasma bile "
    "cement contrast lipoaspirate albumin dye".split()
)
_CUTS = frozenset("incision incisions wound laceration cut arthrotomy defect tear gap".split())
# Of these a length is squeezed out, stuck on or laid in.
_BY_LENGTH = frozenset("gel jelly ointment cream paste patch patches strip ribbon gauze tape plug column clot filled "
                       "line lines catheter needle level sponge mantle thickness".split())  # fmt: skip
_LIKELY = {"mm": "mL", "cm": "mL", "m": "mL", "mL": "mm", "g": "cm"}
_STRENGTHS = ("fraction", "concentration", "mass_concentration")
_ADJECTIVES = 3  # words between the number and what it is of ("5 mm of one percent plain lidocaine")
_ENDS = frozenset({".", ",", ";", ")"})
_GIVEN = frozenset({"was", "were", "injected", "given", "infiltrated", "instilled", "into", "and", "then"})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for passage in note.sections.description:
        tokens = read(passage)
        if not any(token.quantity is not None and _suspect(token.quantity) for token in tokens):
            continue
        for first, second in _crossed(tokens):
            made = finding(
                "units_in_words", "warning", f"“{tokens[first].text} by {tokens[second].text}” was said: one of the "
                "units is likely wrong.", [fact for fact in note.facts if passage.holds(fact) and fact.unit in (
                    "mm", "cm") and fact.value in {q.value for at in (first, second) if (q := tokens[at].quantity)}],
                ask="Say both sizes again, each with its unit.", about=f"w{passage.evidence.first + first}",
            )  # fmt: skip
            found.append(placed(made, passage.evidence))
        if not any(_may_be_of(tokens, index) for index in range(len(tokens))):
            continue
        for index, what in _amounts(mentions.mark(Sentence(0, tokens), grammar)):
            quantity = tokens[index].quantity
            if quantity is None or quantity.value is None:
                continue
            likely = _LIKELY.get(quantity.unit or "")
            made = finding(
                "units_in_words", "blocking",
                f"“{amount(quantity.value, quantity.unit)}” was said of {what}, which it cannot measure.",
                [fact for fact in note.facts if passage.holds(fact) and fact.value == quantity.value],
                ask="Say the value again with its unit." + (f" Was it {likely}?" if likely else ""),
                about=f"w{passage.evidence.first + index}",
            )  # fmt: skip
            found.append(placed(made, passage.evidence))
    return found


def _crossed(tokens: Sequence[Token]) -> Iterator[tuple[int, int]]:
    """ "Eleven centimetres by three hundred and eighty millimetres": of two sides, nobody says the shorter one in the
    larger unit."""
    for index in range(len(tokens) - 2):
        first, second = tokens[index].quantity, tokens[index + 2].quantity
        if first is None or second is None or tokens[index + 1].norm not in _BY:
            continue
        if first.value is None or second.value is None or {first.unit, second.unit} != {"mm", "cm"}:
            continue
        large, small = (first, second) if first.unit == "cm" else (second, first)
        if (large.value or 0) * 10 < (small.value or 0):
            yield index, index + 2


def _suspect(quantity: Quantity) -> bool:
    return quantity.value is not None and quantity.dimension in _LENGTHS | {"volume", "mass"}


def _may_be_of(tokens: Sequence[Token], index: int) -> bool:
    """Whether what stands behind a number lets `_amounts` look for what it is of, which takes its time."""
    quantity = tokens[index].quantity
    if quantity is None or not _suspect(quantity):
        return False
    after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
    if quantity.dimension in _LENGTHS:
        return after == "of" or after in _ENDS | _GIVEN
    return after in _CUTS or _is_extent(tokens, index) or _is_of_cut(tokens, index) is not None


def _is_extent(tokens: Sequence[Token], index: int) -> bool:
    """ "Four millilitres long", "two grams in length"."""
    after = [token.norm for token in tokens[index + 1 : index + 3]]
    return (after[:1] in (["long"], ["wide"], ["thick"], ["tall"]) and after[1:] != ["acting"]) or (
        after[:1] == ["in"] and after[1:2] in (["length"], ["width"], ["diameter"], ["thickness"])
    )


def _is_of_cut(tokens: Sequence[Token], index: int) -> str | None:
    """ "An incision of four millilitres", "the tear measured 12 mL": the noun, where nothing to pour follows."""
    after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
    at = index - 1
    while at > max(0, index - 1 - _ADJECTIVES) and tokens[at].norm in _MEASURES:
        at -= 1
    led = at < index - 1 and tokens[at].norm in _CUTS
    return tokens[at].norm if led and not (after == "of" or after.startswith("#") or after in _GIVEN) else None


_MEASURES = frozenset("of was is measured measures measuring about around roughly approximately".split())


def _amounts(sentence: Sentence) -> Iterator[tuple[int, str]]:
    """(index of the number, what it is of) of every amount in a unit that cannot measure it."""
    tokens = sentence.tokens
    drugs = {m.first: m for m in sentence.mentions if m.table in ("drugs", "fluids", "injectates")}
    ends = {m.last: m for m in sentence.mentions if m.table == "drugs"}
    for index, token in enumerate(tokens):
        quantity = token.quantity
        if quantity is None or not _suspect(quantity):
            continue
        after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
        if quantity.dimension in _LENGTHS and after == "of":
            for at in range(index + 2, min(index + 3 + _ADJECTIVES, len(tokens))):
                if tokens[at].punctuation or tokens[at].norm in _BY_LENGTH:
                    break
                named = drugs.get(at)
                if named is not None or tokens[at].norm in _LIQUIDS:
                    last = named.last if named is not None else at
                    if not _laid(sentence, at, last):
                        yield index, " ".join(one.text for one in tokens[at : last + 1]).strip(".,")
                    break
        elif quantity.dimension in _LENGTHS and quantity.unit in ("mm", "cm") and _follows(sentence, index, ends):
            yield index, tokens[_drug_before(sentence, index, ends)].text
        elif quantity.dimension in ("volume", "mass") and after in _CUTS and quantity.unit in ("mL", "g", "mg"):
            if not _opens_next(sentence, index):
                yield index, f"the {after}"
        elif quantity.dimension in ("volume", "mass") and quantity.unit in ("mL", "g", "mg"):
            drug = any(0 < m.first - index <= _ADJECTIVES for m in sentence.mentions if m.table == "drugs")
            if (cut := _is_of_cut(tokens, index)) is not None and not drug:
                yield index, f"the {cut}"
            elif _is_extent(tokens, index):
                yield index, "a length"


def _opens_next(sentence: Sentence, index: int) -> bool:
    """ "Lidocaine eighty milligrams incision at eight fifty": the cut opens what comes next, and the number is that of
    the drug before it."""
    behind = sentence.tokens[index + 2 : index + 4]
    timed = behind[:1] != () and (behind[0].norm in ("at", "time") or behind[0].quantity is not None)
    drug = any(m.table == "drugs" and 0 < index - m.last <= _TO_ITS_DRUG for m in sentence.mentions)
    return timed or drug


_TO_ITS_DRUG = 8  # tokens


def _laid(sentence: Sentence, first: int, last: int) -> bool:
    """ "2 cm of lidocaine gel": measured by its length."""
    return any(token.norm in _BY_LENGTH for token in sentence.tokens[first : last + 3])


def _drug_before(sentence: Sentence, index: int, ends: Mapping[int, Mention]) -> int:
    """The token of the drug right before the number, over its strength; -1 where there is none."""
    at = index - 1
    while at >= max(0, index - 3) and at not in ends:
        quantity = sentence.tokens[at].quantity
        strength = quantity is not None and quantity.dimension in _STRENGTHS
        if not strength and sentence.tokens[at].norm not in (",", "plain"):
            return -1
        at -= 1
    return at if at in ends else -1


def _follows(sentence: Sentence, index: int, ends: Mapping[int, Mention]) -> bool:
    """ "Lidocaine 1 %, 5 mm was injected": behind a drug, and nothing that the length could be of follows."""
    drug = _drug_before(sentence, index, ends)
    if drug < 0 or {token.norm for token in sentence.tokens[max(0, drug - 4) : drug]} & {"lor", "resistance"}:
        return False  # "loss of resistance to saline, 5.5 cm": how deep
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else "."
    return after in _ENDS | _GIVEN
