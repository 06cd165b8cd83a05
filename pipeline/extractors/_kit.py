"""Anticoagulant of a harvest kit: what primed it was let out again, what was left in the syringe goes into the draw."""

from __future__ import annotations

from pipeline.records import Mention, Sentence

_LEFT = frozenset({"left", "remained", "stayed", "kept", "remains", "stays", "remaining"})
_HELD = frozenset({"syringe", "syringes", "barrel", "tube", "tubes", "bag"})
_REACH = 8  # tokens
_ENDS = frozenset({".", ";", ",", "and", "then"})


def role(sentence: Sentence, mention: Mention, cues: set[str]) -> str | None:
    """The role of an anticoagulant by the words around it; None where it is no part of a kit."""
    if "priming" in cues and not _is_left(sentence, mention):
        return "prime"
    return "anticoagulant" if cues & {"marrow", "container", "priming"} else None


def _is_left(sentence: Sentence, mention: Mention) -> bool:
    """ "The kit was primed ..., 2 mL of heparin was left in the syringe"."""
    behind: list[str] = []
    for token in sentence.tokens[mention.last + 1 : mention.last + 1 + _REACH]:
        if token.norm in _ENDS:
            break
        behind.append(token.norm)
    return bool(_LEFT & set(behind)) and bool(_HELD & set(behind))
