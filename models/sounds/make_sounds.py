"""Makes sounds.json.gz: how English is spelled and said, for the repair of misheard terms (pipeline/sounds.py).

Run: python models/sounds/make_sounds.py   (takes two minutes; the same inputs give the same file)

Needs what the product does not: the program espeak-ng (only its output is used), Debian's `scowl` word lists, and
the Python package panphon. What is made:

- `words`: common English words by SCOWL size (10 = the commonest thousand or so, up to 70), and names;
- `tree`: letters -> sounds, a decision tree over the letters around each letter, learnt from espeak-ng's American
  English pronunciations of those words and of every word of grammars/;
- `distance`: how unlike two sounds are, 0..1, from the articulatory features of panphon.
"""

from __future__ import annotations

import gzip
import json
import re
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path

from pipeline import grammar
from pipeline.mentions import split_phrase
from pipeline.sounds import CONTEXT, FILE

SCOWL = Path("/usr/share/dict/scowl")
SIZES = (10, 20, 35, 40, 50, 55, 60, 70)
NAME_SIZE = 100
# Spelling is learnt from words up to this size; rarer ones are only known to exist.
LEARNT = 50
# IPA of espeak-ng's en-us -> one letter a sound, longest first. Flaps and glottal stops are the /t/ they stand for.
PHONES = {
    "eɪ": "E", "aɪ": "I", "oʊ": "O", "aʊ": "W", "ɔɪ": "Y", "tʃ": "C", "dʒ": "J", "oːɹ": "Or", "ɔːɹ": "Or", "ɑːɹ": "Ar",
    "iə": "iə", "ɜː": "R", "ɚ": "R", "ɪɹ": "ir", "ʊɹ": "ur", "ɛɹ": "er", "əl": "əl", "n̩": "ən", "əʊ": "O",
    "iː": "i", "uː": "u", "ɑː": "A", "ɔː": "A", "oː": "O", "ɑ": "A", "ɒ": "A", "ɔ": "A", "æ": "a", "a": "a",
    "ə": "ə", "ɐ": "ə", "ᵻ": "ɪ", "ɪ": "ɪ", "i": "i", "ʌ": "ʌ", "ɛ": "e", "e": "e", "ʊ": "U", "u": "u", "o": "O",
    "ɹ": "r", "r": "r", "ɾ": "t", "ʔ": "t", "ɡ": "g", "g": "g", "θ": "T", "ð": "D", "ʃ": "S", "ʒ": "Z", "ŋ": "N",
    "p": "p", "b": "b", "t": "t", "d": "d", "k": "k", "f": "f", "v": "v", "s": "s", "z": "z", "h": "h", "m": "m",
    "n": "n", "l": "l", "j": "j", "w": "w", "x": "k", "ɬ": "l", "ɫ": "l",
}  # fmt: skip
IPA = {
    "E": "eɪ", "I": "aɪ", "O": "oʊ", "W": "aʊ", "Y": "ɔɪ", "C": "t͡ʃ", "J": "d͡ʒ", "R": "ɜ", "A": "ɑ", "a": "æ",
    "e": "ɛ", "U": "ʊ", "T": "θ", "D": "ð", "S": "ʃ", "Z": "ʒ", "N": "ŋ", "r": "ɹ", "g": "ɡ",
}  # fmt: skip
_CUT = re.compile("|".join(sorted(PHONES, key=len, reverse=True)))
ROUNDS = 3
LEAST = 2


def main() -> int:
    words = scowl()
    terms = sorted({part for _, _, phrase in grammar.load().phrases() for part in split_phrase(phrase) if known(part)})
    learnt = {word for word, size in words.items() if size <= LEARNT or size == NAME_SIZE}
    said = pronounced(sorted({*learnt, *terms}))
    weight = Counter({word: 1 for word in said}) + Counter({word: 2 for word in terms if word in said})
    unlike = distances()
    tree = grown(aligned(said), weight)
    content = {
        "words": {str(size): " ".join(sorted(word for word, level in words.items() if level == size))
                  for size in (*SIZES, NAME_SIZE)},
        "tree": tree,
        "distance": unlike,
    }  # fmt: skip
    target = Path(__file__).resolve().parent / FILE
    data = json.dumps(content, ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode()
    with target.open("wb") as file, gzip.GzipFile(fileobj=file, mode="wb", mtime=0, filename="") as packed:
        packed.write(data)
    print(f"{len(words)} English words, {len(terms)} words of the grammars, {target.stat().st_size / 1e3:.0f} kB")
    return 0


def known(word: str) -> bool:
    return word.isascii() and word.isalpha() and len(word) > 1


def scowl() -> dict[str, int]:
    """Word -> its smallest SCOWL size; names get NAME_SIZE."""
    found: dict[str, int] = {}
    for size in SIZES:
        for kind in ("english", "american", "british"):
            file = SCOWL / f"{kind}-words.{size}"
            if file.exists():
                for line in file.read_text(encoding="latin-1").splitlines():
                    if known(line):
                        found.setdefault(line.lower(), size)
    for name in ("english-upper.35", "english-proper-names.50", "american-proper-names.50", "english-upper.50"):
        file = SCOWL / name
        if file.exists():
            for line in file.read_text(encoding="latin-1").splitlines():
                if known(line):
                    found.setdefault(line.lower(), NAME_SIZE)
    return found


def pronounced(words: Sequence[str]) -> dict[str, str]:
    """Word -> sounds, one letter each, as espeak-ng's American English says it alone."""
    with tempfile.NamedTemporaryFile("w", suffix=".txt", encoding="utf-8") as file:
        file.write("".join(f"{word}.\n\n" for word in words))
        file.flush()
        output = subprocess.run(
            ["espeak-ng", "-q", "--ipa", "-v", "en-us", "-f", file.name], capture_output=True, text=True, check=True
        ).stdout
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    if len(lines) != len(words):
        raise SystemExit(f"espeak-ng gave {len(lines)} lines for {len(words)} words")
    made = {}
    for word, line in zip(words, lines, strict=True):
        if " " not in line:  # spelled out: an abbreviation
            made[word] = "".join(PHONES[part] for part in _CUT.findall(re.sub("[ˈˌ]", "", line)))
    return {word: sounds for word, sounds in made.items() if sounds}


def aligned(said: Mapping[str, str]) -> dict[str, list[str]]:
    """Word -> the sounds of each of its letters (none to three), by expectation and maximisation on the best path."""
    price: dict[tuple[str, str], float] = {}
    result: dict[str, list[str]] = {}
    for _ in range(ROUNDS):
        counts: Counter[tuple[str, str]] = Counter()
        for word, sounds in said.items():
            path = _path(word, sounds, price)
            if path is not None:
                result[word] = path
                counts.update(zip(word, path, strict=True))
        total: Counter[str] = Counter()
        for (letter, _), count in counts.items():
            total[letter] += count
        price = {pair: 1 - count / total[pair[0]] for pair, count in counts.items()}
    return result


def _path(word: str, sounds: str, price: Mapping[tuple[str, str], float]) -> list[str] | None:
    best: dict[tuple[int, int], tuple[float, int]] = {(0, 0): (0.0, 0)}
    for at, letter in enumerate(word):
        for used in range(len(sounds) + 1):
            if (at, used) not in best:
                continue
            for size in range(4):
                if used + size > len(sounds):
                    break
                chunk = sounds[used : used + size]
                first = 0.3 + 0.5 * abs(size - 1) if not price else 2.0
                cost = best[at, used][0] + price.get((letter, chunk), first)
                key = (at + 1, used + size)
                if key not in best or cost < best[key][0]:
                    best[key] = (cost, size)
    if (len(word), len(sounds)) not in best:
        return None
    path: list[str] = []
    used = len(sounds)
    for at in range(len(word), 0, -1):
        size = best[at, used][1]
        path.append(sounds[used - size : used])
        used -= size
    return path[::-1]


def grown(said: Mapping[str, list[str]], weight: Mapping[str, int]) -> dict[str, object]:
    """The tree: letter -> node; a node is [sounds, {next letter of the context: node}] or the sounds alone."""
    cases: dict[str, list[tuple[tuple[str, ...], str, int]]] = defaultdict(list)
    for word, chunks in said.items():
        padded = f"____{word}____"
        for at, chunk in enumerate(chunks):
            around = tuple(padded[at + 4 + offset] for offset in CONTEXT)
            cases[word[at]].append((around, chunk, weight[word]))
    return {letter: _node(rows, 0) for letter, rows in sorted(cases.items())}


def _node(rows: list[tuple[tuple[str, ...], str, int]], depth: int) -> object:
    votes: Counter[str] = Counter()
    for _, chunk, weight in rows:
        votes[chunk] += weight
    best = min(votes, key=lambda chunk: (-votes[chunk], chunk))
    if len(votes) == 1 or depth == len(CONTEXT):
        return best
    groups: dict[str, list[tuple[tuple[str, ...], str, int]]] = defaultdict(list)
    for row in rows:
        groups[row[0][depth]].append(row)
    children = {
        letter: node
        for letter, group in sorted(groups.items())
        if sum(weight for *_, weight in group) >= LEAST and (node := _node(group, depth + 1)) != best
    }
    return [best, children] if children else best


def distances() -> dict[str, dict[str, float]]:
    """Sound -> sound -> 0..1: half the weighted difference of panphon's features, a diphthong by its first part."""
    from panphon import FeatureTable

    table = FeatureTable()
    weights = table.weights
    symbols = sorted(set("".join(PHONES.values())))
    vectors = {symbol: table.word_to_vector_list(IPA.get(symbol, symbol), numeric=True) for symbol in symbols}
    raw: dict[tuple[str, str], float] = {}
    for one in symbols:
        for other in symbols:
            # panphon weights its 22 features and not the two tones after them.
            pairs = [
                sum(weight * abs(a - b) for weight, a, b in zip(weights, first, last, strict=False)) / 2
                for first, last in ((vectors[one][0], vectors[other][0]), (vectors[one][-1], vectors[other][-1]))
            ]
            raw[one, other] = sum(pairs) / len(pairs)
    widest = max(raw.values())
    return {one: {other: round(raw[one, other] / widest, 3) for other in symbols} for one in symbols}


if __name__ == "__main__":
    sys.exit(main())
