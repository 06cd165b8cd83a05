"""What is said to the screen and not into the note: control words, and the team's word at the read-back."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline import controls
from pipeline.grammar import Grammar
from pipeline.records import Word


def commands(words: Sequence[Word], rules: Grammar, *, read_back: bool) -> list[tuple[str, Word, Word]]:
    """(action, first word, last word) of what was said to the screen in one utterance, in order.

    Actions: those of grammars/control.toml; "confirm" only while the read-back is shown (`read_back`), over the whole
    utterance, and never by a question.
    """
    found = [(one.action, words[one.first], words[one.last]) for one in controls.find(words, rules)]
    whole = controls.find(words, rules, "screen")[:1]
    if read_back and not any("?" in (word.heard or word.text) for word in words):
        whole += controls.find(words, rules, "read-back")[:1]
    return found + [(one.action, words[0], words[-1]) for one in whole]
