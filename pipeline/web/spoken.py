"""What is said to the screen and not into the note: control words, and the team's word at the read-back."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import controls
from pipeline.grammar import Grammar
from pipeline.records import Word

# Said by a team that confirms; common practice, no source. Anything that denies, doubts or goes on keeps it open.
_CONFIRMED = re.compile(r"\b(?:confirmed|(?:i|we|all) confirm|(?:that is|that's|all) correct|all agreed|agreed)\b")
_OPEN = re.compile(
    r"\b(?:no|not|non|never|wrong|incorrect|isn't|aren't|wasn't|don't|cannot|can't|but|except|wait|stop|hold on|"
    r"unless|if|should|please|to be|who|is it|are we|yet|later)\b"
)
_READ_BACK = re.compile(r"\b(?:note keeper|notekeeper),? (?:read|reed|red) ?back\b")


def commands(words: Sequence[Word], rules: Grammar, *, read_back: bool) -> list[tuple[str, Word, Word]]:
    """(action, first word, last word) of what was said to the screen in one utterance, in order.

    Actions: those of grammars/control.toml, "read_back", and "confirm" while the read-back is shown (`read_back`).
    """
    found = [(one.action, words[one.first], words[one.last]) for one in controls.find(words, rules)]
    said = " ".join((word.heard or word.text).casefold() for word in words)
    plain = re.sub(r"[^\w' ]+", "", said)
    if _READ_BACK.search(plain):
        found.append(("read_back", words[0], words[-1]))
    if read_back and "?" not in said and _CONFIRMED.search(plain) and not _OPEN.search(plain):
        found.append(("confirm", words[0], words[-1]))
    return found
