"""The narrations of tests/gold/ told otherwise, so that their truth stays the same: without marks, with hesitations."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

_MARK = re.compile(r"(?<!\d)[.,;:!?](?!\d)|[.,;:!?](?=\s|$)")
_HESITATIONS = ("um", "uh", "er", "you know")
_SHARE = 0.06  # of the gaps between words


def unmarked(text: str) -> str:
    """As a recogniser without punctuation writes it: lower case, no marks but those inside numbers."""
    return re.sub(r"\s+", " ", _MARK.sub(" ", text)).strip().lower()


def hesitant(text: str) -> str:
    """With hesitations between words, at places that only the text decides."""
    chance = random.Random(len(text))
    told: list[str] = []
    for word in text.split(" "):
        if told and not told[-1].endswith((".", ":")) and chance.random() < _SHARE:
            told.append(chance.choice(_HESITATIONS))
        told.append(word)
    return " ".join(told)


WAYS: dict[str, Callable[[str], str]] = {"plain": str, "unmarked": unmarked, "hesitant": hesitant}
