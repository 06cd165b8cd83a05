"""Whether "left" or "LT" before a state is a side after all ("LT intact", "drum left intact, right perforated", but "SL
and LT intact" tells of a ligament), whether a "right" is none but said to begin with, and whether a side is the
one that it was not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from pipeline.records import Mention, Sentence

WRITTEN = {"rt": "right", "lt": "left"}  # "rt handed", "lt lateral" are no sides either
_STATES = frozenset({"intact", "untreated", "free", "open"})
# Words beside which "LT" is the lunotriquetral ligament, and what is told of it.
_LIGAMENTS = frozenset({"sl", "tfcc", "scapholunate", "tfc", "druj", "lunotriquetral"})
_OF_LIGAMENT = frozenset(
    "intact normal stable tear torn ligament interval and , geissler grade gr partial lax attenuated frayed . complete "
    "ballottement probed instability injury".split()
)


def is_ligament(sentence: Sentence, at: int) -> bool:
    """ "SL grade 2, LT normal, TFCC torn": whether "LT" at a token is the ligament of the wrist."""
    tokens = sentence.tokens
    after = tokens[at + 1].norm if at + 1 < len(tokens) else "."
    return tokens[at].text == "LT" and after in _OF_LIGAMENT and sentence.says(_LIGAMENTS)


def is_side(sentence: Sentence, at: int) -> bool:
    """Whether the "left" at a token leads what is told of that side, and nothing was left so."""
    tokens = sentence.tokens
    if tokens[at].norm == "lt":
        return True
    if tokens[at].norm != "left" or at + 1 >= len(tokens) or tokens[at + 1].norm not in _STATES:
        return False
    led = at == 0 or tokens[at - 1].norm in (",", ":", ";")
    paired = any(
        before.norm in (",", ";", "and") and after.norm == "right"
        for before, after in pairwise(tokens[at + 2 : at + 8])
    )
    # "drum left intact, right perforated": the other one stands as short
    short = tokens[at + 2 : at + 3] and tokens[at + 2].norm in (",", ";") and tokens[at + 3 : at + 4] and (
        tokens[at + 3].norm == "right" and not any(
            m.table == "sites" and m.first == at + 4 for m in sentence.mentions
        )
    )
    return paired if led else bool(short)


def stays_in(norms: Sequence[str], at: int) -> bool:
    """ "A ten french drain left nothing for the lab": what stayed where it was put, before another matter."""
    before, after = norms[at - 1] if at else "", norms[at + 1] if at + 1 < len(norms) else ""
    return norms[at] == "left" and before in _STAYS and after in _ANOTHER_MATTER


_STAYS = frozenset({"drain", "catheter", "pack", "stent", "tube", "vacuum"})
_ANOTHER_MATTER = frozenset(
    "nothing no none count blood complication specimen skin closed wound portal for until".split()
)
_TALK = frozenset("so we i now then let lets ok okay well next that's that this the good there it here and".split())


def is_talk(sentence: Sentence, sided: Mapping[Mention, bool]) -> bool:
    """ "Right, so the knee was opened", "Right, elective section for twins,": said to begin with, and no side.

    `sided`: operations, diagnoses and parts of the sentence -> whether they have a left and a right.
    """
    norms = [token.norm for token in sentence.tokens]
    if norms[:2] != ["right", ","] or len(norms) < 3:
        return False
    end = next((at for at in range(2, len(norms)) if sentence.tokens[at].punctuation), len(norms))
    named = {mention.table: paired for mention, paired in sided.items() if mention.first < end}
    return norms[2] in _TALK or ("procedures" in named and not any(named.values()) and "#level" not in norms)


def is_denied(norms: list[str], at: int) -> bool:
    """Whether a side is the one that it was not: "knee arthroscopy, not the left", "the right rather than the left"."""
    at -= 1
    while at >= 0 and norms[at] in ("the", "on", "in", "of", "at", "for", "to"):
        if norms[at] == "of" and norms[max(0, at - 1)] == "instead":
            return True
        at -= 1
    return at >= 0 and (norms[at] == "not" or norms[max(0, at - 1) : at + 1] == ["rather", "than"])
