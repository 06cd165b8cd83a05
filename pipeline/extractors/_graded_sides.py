"""The second level of a pair of sides: "Ficat two on the right and one on the left", "KL 3 right knee, 2 left knee"."""

from __future__ import annotations

from pipeline.records import Laterality, Sentence

_SIDES: dict[str, Laterality] = {"left": "left", "right": "right", "l": "left", "r": "right"}
_LEADS = frozenset("on in at for the".split())
_BEFORE = frozenset({"and", ",", ";", "with", "but", "/"})
_REACH = 6  # tokens from a level back to the side of the one before it


def of_other_side(sentence: Sentence, first: int, last: int) -> Laterality | None:
    """The side that a bare level at `first` .. `last` is said with, where the level before it has the other side.

    Its side stands right behind it or right before it; None where the two are no such pair.
    """
    behind, before = _behind(sentence, last + 1), _right_before(sentence, first)
    own = behind or before
    if own is None or (behind and before):
        return None
    start = first - (1 if before else 0)
    if not start or sentence.tokens[start - 1].norm not in _BEFORE | _LEADS:
        return None
    other = [_SIDES[token.norm] for token in sentence.tokens[max(0, start - _REACH) : start] if token.norm in _SIDES]
    return own if other and other[-1] != own else None


def _behind(sentence: Sentence, at: int) -> Laterality | None:
    tokens = sentence.tokens
    while at < len(tokens) and tokens[at].norm in _LEADS:
        at += 1
    return _SIDES.get(tokens[at].norm) if at < len(tokens) else None


def _right_before(sentence: Sentence, at: int) -> Laterality | None:
    return _SIDES.get(sentence.tokens[at - 1].norm) if at else None
