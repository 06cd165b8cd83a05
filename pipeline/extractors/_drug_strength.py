"""What a strength in per cent tells of a number beside a drug: that it is one, or that it is of another drug."""

from __future__ import annotations

from decimal import Decimal

from pipeline.records import Mention, Quantity, Sentence
from pipeline.rows import Drug


def is_strength(quantity: Quantity, drug: Drug) -> bool:
    """ "Ropi point two", "levobupivacaine 0.25": a bare part of a number that is a usual strength in per cent."""
    value = quantity.value
    return value is not None and value != int(value) and any(
        strength.endswith("%") and Decimal(strength.split()[0]) == value for strength in drug.strengths
    )


def is_of_the_one_before(sentence: Sentence, index: int, drug: Mention, row: Drug, before: dict[int, Drug]) -> bool:
    """ "Heavy bupivacaine half percent with diamorphine 300 micrograms": right behind a drug that comes in shares, and
    before one that does not. `before`: last token -> row, of all drugs of the sentence."""
    quantity, leading = sentence.tokens[index].quantity, before.get(index - 1)
    if quantity is None or quantity.dimension != "fraction" or leading is None or drug.first < index:
        return False
    return _comes_in_shares(leading) and not _comes_in_shares(row)


def _comes_in_shares(row: Drug) -> bool:
    return any(one.endswith("%") for one in row.strengths)


def of_unnamed(sentence: Sentence, index: int, drug: Mention, row: Drug) -> bool:
    """ "Triamcinolone eighty with ten mils of half percent": volume and share of a drug that is not named, since a
    steroid of so many milligrams has no strength in per cent."""
    tokens = sentence.tokens
    if index < drug.last or "steroid" not in row.classes or any(one.endswith("%") for one in row.strengths):
        return False
    share = index if tokens[index].quantity is not None and tokens[index].norm == "#fraction" else index + 2
    if share >= len(tokens) or tokens[share].norm != "#fraction" or share == drug.last + 1:
        return False
    own = share == index or tokens[index + 1].norm == "of"
    return own and any(token.norm in ("with", "and", "plus", "in", "+") for token in tokens[drug.last + 1 : index])
