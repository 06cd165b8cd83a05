"""The recording itself: cut off, damaged, or heard where nobody spoke."""

from __future__ import annotations

from pipeline.checks.base import finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Finding, Severity

MEANING = "Part of the recording is missing or damaged, or words were left out because nobody was speaking there."

# What a notice says when sound is lost, not merely changed (notices of audio.py, live and dictated sessions).
_LOST = ("cut off", "damaged", "missing", "no sound was recorded")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found = [
        _told(_severity(notice), notice, f"notice-{number}", "Listen to the recording and add what is missing.")
        for number, notice in enumerate(note.source.notices, 1)
    ]
    dropped, loops = note.source.dropped_words, note.source.collapsed_loops
    if dropped:
        words = "1 word was" if dropped == 1 else f"{dropped} words were"
        found.append(_told(
            "note", f"{words} left out because nobody was speaking there.", "dropped",
            "Listen whether anything is missing.",
        ))  # fmt: skip
    if loops:
        times = "once" if loops == 1 else f"{loops} times"
        found.append(_told(
            "note", f"The recogniser repeated itself {times}; the repeats were taken out.", "loops",
            "Listen whether something was said there that is missing.",
        ))  # fmt: skip
    return found


def _severity(notice: str) -> Severity:
    return "warning" if any(words in notice.lower() for words in _LOST) else "note"


def _told(severity: Severity, message: str, about: str, ask: str) -> Finding:
    return finding("recording", severity, message if message.endswith(".") else f"{message}.", ask=ask, about=about)
