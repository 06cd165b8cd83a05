"""How English words sound, and how unlike two sounds are: the ear of `repair.py`.

Everything is read from models/sounds/sounds.json.gz, made by models/sounds/make_sounds.py; sounds are written one
letter each ("bjupɪvəkEn"), American English.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from pipeline import paths

FILE = "sounds.json.gz"
# The letters looked at around a letter, most telling first (offsets).
CONTEXT = (1, -1, 2, -2, 3, -3, 4, -4)
VOWELS = frozenset("EIOWYRAaeUəɪiʌu")
# What a sound costs that one reading has and the other has not. Weak vowels and glides come and go in quick speech.
_LOST = {"ə": 0.35, "ɪ": 0.4, "h": 0.4, "j": 0.4, "t": 0.55, "d": 0.6, "r": 0.55, "l": 0.6, "n": 0.6}
_LOST_ELSE = 0.75
# (least, factor on the difference of features) of one vowel for another, and of one consonant for another.
_VOWELS, _CONSONANTS = (0.1, 2.2), (0.15, 2.0)
# A vowel is not heard for a consonant.
_APART = 1.2
# An r and its vowel the other way round ("trunny kate", tourniquet).
_SWAPPED = 0.4


class Sounds:
    """The loaded tables. `level`: SCOWL size of an English word (10 commonest, 50; 60 a name)."""

    def __init__(self, content: Mapping[str, Any]) -> None:
        self._tree: Mapping[str, Any] = content["tree"]
        self.level: dict[str, int] = {
            word: int(size) for size, words in content["words"].items() for word in words.split()
        }
        self._cost: dict[tuple[str, str], float] = {
            (one, other): _substitution(one, other, unlike)
            for one, row in content["distance"].items()
            for other, unlike in row.items()
        }
        self.say = lru_cache(maxsize=65536)(self._say)

    def _say(self, word: str) -> str:
        """The sounds of a word in lower case; letters outside a-z are silent."""
        padded = f"____{word}____"
        made = []
        for at, letter in enumerate(word, start=4):
            node = self._tree.get(letter, "")
            for offset in CONTEXT:
                if isinstance(node, str):
                    break
                following = node[1].get(padded[at + offset])
                if following is None:
                    node = node[0]
                    break
                node = following
            made.append(node if isinstance(node, str) else node[0])
        # A coloured vowel is heard as a vowel and an r as often as not ("hepper in", heparin).
        return "".join(made).replace("Rr", "ər").replace("R", "ər")

    def phrase(self, words: str) -> str:
        """The sounds of several words run together, a sound said twice at a joint taken once."""
        result = ""
        for word in words.split():
            sounds = self.say(word)
            result += sounds[1:] if result and sounds[:1] == result[-1:] else sounds
        return result

    def _between(self, one: str, other: str) -> float:
        return self._cost.get((one, other), _APART)

    def distance(self, one: str, other: str) -> float:
        """How unlike two strings of sounds are: 0 the same, about 1 nothing alike. Symmetric."""
        if not one or not other:
            return 1.0 if one or other else 0.0
        above: list[float] = []
        row = [0.0]
        for sound in other:
            row.append(row[-1] + _lost(sound))
        for down, left in enumerate(one):
            before, above, row = above, row, [row[0] + _lost(left)]
            for at, right in enumerate(other, start=1):
                cost = min(
                    above[at - 1] + self._between(left, right),
                    above[at] + _lost(left),
                    row[at - 1] + _lost(right),
                )
                if down and at > 1 and "r" in (left, right) and (left == other[at - 2] or right == one[down - 1]):
                    pair = self._between(left, other[at - 2]) + self._between(right, one[down - 1])
                    cost = min(cost, before[at - 2] + _SWAPPED + pair)
                row.append(cost)
        return row[-1] / max(len(one), len(other))


def _lost(sound: str) -> float:
    return _LOST.get(sound, _LOST_ELSE)


def _substitution(one: str, other: str, unlike: float) -> float:
    if one == other:
        return 0.0
    vowels = (one in VOWELS) + (other in VOWELS)
    if vowels == 1:
        return _APART
    least, factor = _VOWELS if vowels else _CONSONANTS
    return min(_APART, least + factor * unlike)


@lru_cache(maxsize=1)
def load() -> Sounds:
    """The tables of the installation; read once."""
    return Sounds(json.loads(gzip.decompress((paths.models() / "sounds" / FILE).read_bytes())))
