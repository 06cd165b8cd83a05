"""Which nouns a length can be of: by the words around it, not only by how near they are."""

from __future__ import annotations

from pipeline import cues
from pipeline.records import Quantity, Sentence

Ranked = tuple[int, int, int]  # cost, first and last token of a noun
_PLURAL = 12
_MOST_OF_ALL = frozenset({"biggest", "largest", "smallest", "longest", "deepest"})
_EXTENTS = frozenset({"depth", "distance", "spacing", "apart", "thickness"})
_SAME_NOUN = frozenset("by x \u00d7 and long wide deep of was is at about to".split())


def kept(sentence: Sentence, index: int, quantity: Quantity, ranked: list[Ranked]) -> list[Ranked]:
    """The nouns that the length at `index` may be of, with what speaks against one added to its cost."""
    tokens, listed = sentence.tokens, cues.listed(sentence, index)
    start, last = listed[0], listed[-1]
    if quantity.dimension == "fraction" and any(
        m.table == "acts" and 0 <= start - 1 - m.last <= 1 for m in sentence.mentions
    ) and (last + 1 >= len(tokens) or tokens[last + 1].norm != "of"):  # fmt: skip
        return []  # "trimmed back about twenty percent, ACL torn": of what was done
    ranked = [one for one in ranked if not _has_its_own(sentence, one, start)]
    if _is_plural(quantity) and (last + 1 >= len(tokens) or tokens[last + 1].norm != "of"):
        ranked = [(price + (_PLURAL if first > last else 0), first, end) for price, first, end in ranked]
    ranked = [one for one in ranked if not _denied_before(sentence, one, start)]
    if quantity.dimension == "length" and any(
        m.table in ("acts", "procedures") and m.last == start - 1
        and tokens[m.last].norm.endswith("ed") for m in sentence.mentions
    ):  # fmt: skip
        seen = {m.last for m in sentence.mentions if m.table in ("findings", "diagnoses")}
        ranked = [one for one in ranked if one[2] > start or one[2] not in seen or one[2] + 1 == start]
    if start and tokens[start - 1].norm in _EXTENTS:
        ranked = [one for one in ranked if one[2] == start - 2]  # "9 holes, depth 4 mm, distance 3 mm"
    if start and tokens[start - 1].norm in _MOST_OF_ALL:
        ranked = [one for one in ranked if one[2] < start]  # "the biggest nine millimetres": of what stands before
    return ranked


def _denied_before(sentence: Sentence, noun: Ranked, start: int) -> bool:
    """ "No pincer, cam resected five millimetres": what is not there has no size, where something was done since."""
    _, first, last = noun
    if last >= start or not first or sentence.tokens[first - 1].norm != "no":
        return False
    return any(last < m.first < start and m.table in ("procedures", "acts") for m in sentence.mentions)


def is_of_what_is_worn(sentence: Sentence, index: int) -> bool:
    """ "Abduction pillow thirty degrees passive elevation to ninety", "beach chair 45 degrees": an angle right behind
    what the patient lies in or wears, where no measure without a number of its own follows."""
    tokens = sentence.tokens
    if not any(m.last == index - 1 and m.table in ("dressings", "devices", "positions") for m in sentence.mentions):
        return False
    behind = next((m for m in sentence.mentions if m.table == "measures" and 0 < m.first - index <= 2), None)
    if behind is None or any(token.norm == "of" for token in tokens[index + 1 : behind.first]):
        return behind is None and [token.norm for token in tokens[index + 1 : index + 2]] != ["of"]
    return any(token.quantity is not None for token in tokens[behind.last + 1 : behind.last + 3])


def _is_plural(quantity: Quantity) -> bool:
    """ "The biggest twelve millimetres osteophytes taken off": a unit in the plural describes no noun behind it, as
    that of "a twelve millimetre osteophyte" does."""
    return (quantity.said_unit or "").lower().endswith(("metres", "meters"))


def _has_its_own(sentence: Sentence, noun: Ranked, start: int) -> bool:
    """ "Ten millimetre hole coronoid tip four millimetres off": the noun has a length right before it, and another
    part stands between it and the number."""
    _, first, last = noun
    own = sentence.tokens[first - 1].quantity if first else None
    if last >= start or own is None or own.dimension != "length":
        return False
    between = sentence.tokens[last + 1 : start]
    return len(between) > 1 and not any(token.punctuation or token.norm in _SAME_NOUN for token in between)
