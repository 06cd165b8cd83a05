"""An illness that is told for a part on either side: "endometriosis on the left uterosacral and the right fossa"."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import clauses
from pipeline.records import Sentence
from pipeline.sidewords import Side

_ILLNESSES = frozenset({"diagnoses", "findings"})
_TOLD = _ILLNESSES | {"acts", "procedures", "drugs", "devices"}
_LED = clauses.word_set("on of in at to over involving affecting the both")
_JOINED = clauses.word_set(", ; and & + plus as well")
_OTHERWISE = clauses.word_set("not no than or but then only normal clear none nothing more worse free")
_APART = 7  # tokens from the one side to the other
_BEHIND = 5  # tokens behind the other side in which something of its own may be told


def _part(sentence: Sentence, side: Side) -> str | None:
    """The part of the body that a side leads."""
    return next((m.id for m in sentence.mentions if m.table == "sites" and 0 < m.first - side.last <= 2), None)


def is_on_both(sentence: Sentence, found: Sequence[Side], last: int) -> bool:
    """Whether the illness that ends at a token lies on the left and on the right, each named once behind it."""
    after = [side for side in found if side.first > last]
    if len(after) != 2 or {side.value for side in after} != {"left", "right"}:
        return False
    one, other = after
    tokens = sentence.tokens
    if not any(m.table in _ILLNESSES and m.last == last for m in sentence.mentions) or any(
        tokens[at].norm not in _LED for at in range(last + 1, one.first)
    ):
        return False
    between = tokens[one.last + 1 : other.first]
    end = next((at for at in range(other.last + 1, len(tokens)) if tokens[at].punctuation), len(tokens))
    end = min(end, other.last + _BEHIND)
    words = {token.norm for token in (*between, *tokens[other.last + 1 : end])}
    joined = any(token.norm in _JOINED for token in between[-4:])
    parts = {_part(sentence, one), _part(sentence, other)} - {None}
    if len(parts) > 1 or any(clauses.is_state(sentence, at) for at in range(other.last + 1, end)):
        return False  # "osteoarthritis of the right hip and the left knee", "adhesions left, right ovary free"
    return len(between) <= _APART and joined and words.isdisjoint(_OTHERWISE | clauses.FINITE) and not any(
        m.table in _TOLD and one.last < m.first < end for m in sentence.mentions
    )
