"""Whether drugs are told before or after their doses, in speech without marks: "paracetamol 1 g dexamethasone 8 mg" or
"one gram paracetamol eight milligrams dexamethasone"."""

from __future__ import annotations

from typing import Literal

from pipeline.records import Mention, Sentence

Order = Literal["drug", "number"]

# What may stand between a drug and a dose of a row of them.
_BETWEEN = frozenset(
    "and then plus , which is that iv intravenously was were given gave of also another per kilo kg kilogram".split()
)
# A number behind one of these is of something else ("blood loss twenty mils paracetamol ...").
_GIVING = frozenset("and then plus , with of gave given received was were had using used some".split())


def order(sentence: Sentence, index: int, drugs: list[Mention]) -> Order | None:
    """The order of the row of drugs and numbers in which the number at `index` stands; None where it begins and ends
    alike, or holds one drug only."""
    tokens = sentence.tokens
    names = {at for drug in drugs for at in range(drug.first, drug.last + 1)}

    def of_row(at: int) -> bool:
        return at in names or tokens[at].quantity is not None or tokens[at].norm in _BETWEEN

    first = last = index
    while first > 0 and of_row(first - 1):
        first -= 1
    while last + 1 < len(tokens) and of_row(last + 1):
        last += 1
    row = [at for at in range(first, last + 1) if at in names or tokens[at].quantity is not None]
    if len({drug.first for drug in drugs if first <= drug.first <= last}) < 2:
        return None
    if row[0] not in names and row[0] and tokens[row[0] - 1].norm not in _GIVING and not tokens[row[0] - 1].punctuation:
        row = row[next(place for place, at in enumerate(row) if at in names) :]
    begins, ends = row[0] in names, row[-1] in names
    if index < row[0] or begins == ends:
        return None
    return "drug" if begins else "number"
