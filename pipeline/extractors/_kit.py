"""Anticoagulant of a harvest kit: what primed it was let out again, what was left in the syringe goes into the draw."""

from __future__ import annotations

from pipeline.records import Mention, Sentence

_LEFT = frozenset({"left", "remained", "stayed", "kept", "remains", "stays", "remaining"})
_HELD = frozenset({"syringe", "syringes", "barrel", "tube", "tubes", "bag"})
_REACH = 8  # tokens
_ENDS = frozenset({".", ";", ",", "and", "then"})


def role(sentence: Sentence, mention: Mention, cues: set[str]) -> str | None:
    """The role of an anticoagulant by the words around it; None where it is no part of a kit."""
    if _is_verb(sentence, mention) and not sentence.says(_KIT):
        return None  # "the patient was heparinised with 5000 units"
    if "priming" in cues and not _is_left(sentence, mention):
        return "prime"
    return "anticoagulant" if cues & {"marrow", "container", "priming"} else None


def _is_verb(sentence: Sentence, mention: Mention) -> bool:
    return sentence.tokens[mention.last].norm in ("heparinised", "heparinized")


_KIT = _HELD | frozenset("needle needles trocar trocars jamshidi kit cannula reservoir filter line lines circuit pump "
                         "aspirator container containers hole tubing flask jar device".split())  # fmt: skip


def _is_left(sentence: Sentence, mention: Mention) -> bool:
    """ "The kit was primed ..., 2 mL of heparin was left in the syringe"."""
    behind: list[str] = []
    for token in sentence.tokens[mention.last + 1 : mention.last + 1 + _REACH]:
        if token.norm in _ENDS:
            break
        behind.append(token.norm)
    return bool(_LEFT & set(behind)) and bool(_HELD & set(behind))
