"""So many draws of so much, and what they make together: "ten draws of two millilitres, twenty millilitres"."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import _amount_words
from pipeline.grammar import Grammar
from pipeline.records import Sentence


def more_follow(sentence: Sentence, index: int) -> bool:
    """ "Four draws of fifteen, fifteen, ten and twelve": each number is a draw of its own."""
    after = sentence.tokens[index + 1 : index + 3]
    if len(after) < 2 or after[0].norm not in (",", "and") or after[1].quantity is None:
        return False
    if any(token.norm in _amount_words.COUNTED for token in sentence.tokens[index + 3 : index + 4]):
        return False  # "three pulls of four mils, nine pulls": how many in all
    return cues.scale(sentence, index + 2) != "total" and not is_product(sentence, index, index + 2)


def is_product(sentence: Sentence, index: int, at: int) -> bool:
    """ "Six draws of five millilitres, thirty": the number at `at` is what so many draws make."""
    each, whole = sentence.tokens[index].quantity, sentence.tokens[at].quantity
    before = sentence.tokens[max(0, index - 4) : index]
    counts = [token.quantity.value for token in before if token.quantity is not None]
    if each is None or whole is None or each.value is None or not (each.unit or whole.unit) or len(counts) != 1:
        return False
    return counts[0] is not None and counts[0] * each.value == whole.value


def goes_on(sentence: Sentence, at: int) -> bool:
    """Whether a token belongs to a list of bare numbers."""
    token = sentence.tokens[at]
    quantity = token.quantity
    if quantity is None:
        return token.norm in (",", "and", "then")
    return quantity.form == "number" and not quantity.dimension and quantity.value is not None


def counted(sentence: Sentence, index: int) -> bool:
    """ "ten draws of two millilitres": the number is that of each."""
    before = sentence.tokens[max(0, index - 4) : index]
    return (
        len(before) >= 3 and before[-1].norm == "of"
        and any(token.quantity is not None and token.norm == "#number" for token in before)
    )  # fmt: skip


def in_draws(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "Sixty mils in six draws": the draws together. Not "five mils in each of six draws", nor in one."""
    tokens = sentence.tokens
    at = next((at for at in range(index + 1, len(tokens)) if tokens[at].quantity or tokens[at].punctuation), index)
    count = tokens[at].quantity
    if count is None or at - index > _DRAWS_AHEAD or tokens[at - 1].norm not in ("in", "over", "by", "from", "with"):
        return False
    if count.dimension or count.form != "number" or count.value is None or count.value < 2:
        return False
    nouns = cues.hits(sentence, grammar, "draw-noun")
    return cues.scale(sentence, index) is None and any(0 < noun.first - at <= 2 for noun in nouns)


_DRAWS_AHEAD = 14
