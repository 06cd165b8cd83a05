"""The text of the story of a note, for checks that read words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from pipeline.note import OperativeNote, Passage

# What is told there did not happen in this operation, or not yet.
ELSEWHERE = frozenset({"indication", "history", "imaging", "consent", "aftercare", "preop-diagnosis", "diagnosis",
                       "follow-up", "warning-signs", "next-step"})  # fmt: skip
# "Wedge taken with the stapler, sent for frozen section".
SENT_AWAY = re.compile(
    r"\bsent (?:for|to) (?:the )?(?:frozen|histolog|patholog|cultur|cytolog|full|lab)|"
    r"\bfrozen (?:section )?(?:came|was|is|showed|said|confirmed|back)|"
    r"\b(?:in|into|went in|off in) (?:\w+ )?(?:pots?|jars?|formalin|the lab pot)\b", re.IGNORECASE
)
# What is warned of in general did not happen.
_RISK = re.compile(r"\b(?:risks?|potential(?:ly)?|possib\w+|could|may|might|discuss\w+|explain\w+|in case of)\b", re.I)
_NOT_BEHIND = re.compile(
    r" ?(?:was|were|is|are|has been|had been)? ?(?:\w+ly )?(?:not\b|excluded\b|ruled out\b|absent\b|never\b)", re.I
)
_NOT = re.compile(
    r"\b(?:no|not|without|never|nor|none|nothing|exclud\w+|rule[ds]? out|avoid\w*|prevent\w*)\b"
    r"(?: (?!(?:we|i|there|had|was|were|but|a|then)\b)\w+){0,4} ?$", re.I,
)  # fmt: skip


def matches(
    note: OperativeNote, pattern: re.Pattern[str], needs: Sequence[str] = ()
) -> Iterator[tuple[Passage, re.Match[str]]]:
    """Where a pattern stands in what was told of the operation, and nothing beside it denies it. `needs`: parts of
    words, in small letters, of which every match holds one."""
    if needs and not note.says(*needs):
        return
    for passage in note.sections.description:
        if passage.section in ELSEWHERE:
            continue
        for match in pattern.finditer(passage.text):
            before = passage.text[: match.start()]
            denied = _NOT.search(before) or _NOT_BEHIND.match(passage.text[match.end() :])
            if not denied and not _RISK.search(before):
                yield passage, match


def after(note: OperativeNote, passage: Passage, place: int = 0) -> str:
    """The text from a place in a passage on."""
    passages = note.sections.description
    at = next((index for index, one in enumerate(passages) if one is passage), 0)
    return " ".join([passage.text[place:], *(one.text for one in passages[at + 1 :])])
