"""Whether drugs are told before or after their doses, in speech without marks: "paracetamol 1 g dexamethasone 8 mg" or
"one gram paracetamol eight milligrams dexamethasone"."""

from __future__ import annotations

from typing import Literal

from pipeline.records import Mention, Sentence

Order = Literal["drug", "number"]

# What may stand between a drug and a dose of a row of them.
_BETWEEN = frozenset(
    "and then plus , which is that iv intravenously was were given gave of also another per kilo kg kilogram running "
    "run at infusion bolus further again more dose slow slowly im together altogether makes in all total".split()
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
    row = [at for at in range(first, last + 1)
           if at in names or ((one := tokens[at].quantity) is not None and one.dimension not in _STRENGTH)]  # fmt: skip
    if not row or index not in row:
        return None
    if len(row) > 2 and _names_itself(sentence, row, names):
        row = row[:-1]
    if len({drug.first for drug in drugs if first <= drug.first <= last}) < 2:
        return None
    if row[0] not in names and row[0] and tokens[row[0] - 1].norm not in _GIVING and not tokens[row[0] - 1].punctuation:
        row = row[next(place for place, at in enumerate(row) if at in names) :]
    if row and row[0] not in names and _is_time(sentence, row[0]):
        row = row[next(place for place, at in enumerate(row) if at in names) :]  # "at eight ten cefazolin two grams"
    begins, ends = row[0] in names, row[-1] in names
    if index < row[0] or begins == ends:
        return None
    return "drug" if begins else "number"


_STRENGTH = frozenset({"fraction", "mass_concentration", "concentration"})


def _names_itself(sentence: Sentence, row: list[int], names: set[int]) -> bool:
    """ "4 mL lidocaine, 4 mL bupivacaine and 2 mL of Kenalog 40": a bare number behind the last drug of a row whose
    amount stands before it belongs to the name."""
    own = sentence.tokens[row[-1]].quantity
    drug = [at for at in row[:-1] if at in names]
    lead = row[row.index(drug[-1]) - 1] if drug else row[-1]
    while lead in names and lead != row[0]:
        lead = row[row.index(lead) - 1]
    return own is not None and not own.dimension and row[-2] in names and lead not in names


def _is_time(sentence: Sentence, index: int) -> bool:
    quantity = sentence.tokens[index].quantity
    return quantity is not None and quantity.form in ("clock", "pair", "date")


_AMOUNTS = frozenset({"mass", "amount", "catalytic", "molar", "rate", "mass_per_mass", "amount_per_mass"})
_OWN_WITHIN = 4  # tokens


def has_its_own(sentence: Sentence, drug: Mention) -> bool:
    """Whether an amount stands right behind a drug, over words that only join the two ("remifentanil running at")."""
    for token in sentence.tokens[drug.last + 1 : drug.last + 1 + _OWN_WITHIN]:
        if token.quantity is not None:
            return token.quantity.dimension in _AMOUNTS
        if token.norm not in _BETWEEN:
            return False
    return False


_SUMMED = frozenset({"so", "makes", "making", "=", "total", "that's", "thats", "equals"})


def is_closed(sentence: Sentence, index: int, drug: Mention, dimension: str) -> bool:
    """ "Three hundred and twenty milligrams, dexamethasone point one five per kilo", "clonidine twelve micrograms one
    percent lidocaine": a number that a comma or another number parts from a drug that has numbers of its own."""
    tokens = sentence.tokens
    between = tokens[index + 1 : drug.first]
    if not between and index and tokens[index - 1].norm in _SUMMED and has_its_own(sentence, drug):
        return True  # "four cartridges of 1.8 so seven point two millilitres amoxicillin two grams"
    if dimension not in _AMOUNTS or not between:
        return False
    behind = next((token for token in tokens[drug.last + 1 : drug.last + 3] if token.quantity is not None), None)
    if between[0].norm in (",", ";") and behind is not None and behind.quantity is not None and (
        behind.quantity.dimension in _AMOUNTS | {"", "other"} and behind.quantity.form in ("number", "fraction")
    ):
        return not any(token.quantity is not None for token in between)
    named = any(mention.table == "drugs" and mention.last == index - 1 for mention in sentence.mentions)
    strong = any(token.quantity is not None and token.quantity.dimension == "fraction" for token in between)
    return named and strong and dimension == "mass"


def is_added(sentence: Sentence, index: int, mixture: int) -> bool:
    """ "40 mg triamcinolone + 5 mL 0.25 % bupivacaine mix": the volume of what is added, and not of the whole."""
    led = index > 0 and sentence.tokens[index - 1].norm in ("+", "plus", "and", "with")
    drugs = [m for m in sentence.mentions if m.table == "drugs" and index < m.first and m.last == mixture - 1]
    before = any(m.table == "drugs" and m.last < index for m in sentence.mentions)
    return led and len(drugs) == 1 and before
