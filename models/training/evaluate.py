"""Word error of a model on the held-out speakers and on a held-out synthetic voice, over all words and by class.

Run: python models/training/evaluate.py --model FOLDER --prepared FOLDER [--speech FOLDER] [--voice] [--limit 60]
       [--net FOLDER]

`--speech`: the real recordings, of which the held-out speakers are decoded. `--voice`: the test sentences of
prepare.py, spoken by hibari-tts. Words outside the model's vocabulary count as the filler.

`--net` (what train.py wrote), with `--speech`: the held-out speakers again, by the same net over a closed list: all
words of the test and DISTRACTORS others of the training speakers. First as one model with a bigram of what the
training speakers read, then with a list given at run time for each utterance: its words and FEW others, any word
after any other.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
import soundfile
import soxr
import vosk
from held_out import SPEAKERS

RATE = 16_000
FILLER = "[unk]"
DISTRACTORS, FEW = 1500, 50
NUMBERS = set("""
zero oh one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen
seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred thousand million point half
""".split())
CLASSES = {
    "number": NUMBERS,
    "unit": {"percent", "minutes", "hours", "units", "mercury", "seconds"},
    "side": set(
        "left right bilateral both medial lateral anterior posterior superior inferior proximal distal".split()
    ),
    "negation": set("no not none never without negative absent nil known".split()),
}


def class_of(word: str) -> str:
    if word == FILLER:
        return "filler"
    if word.endswith(("litres", "liters", "grams", "metres", "meters", "litre", "liter", "gram", "metre", "meter")):
        return "unit"
    return next((name for name, words in CLASSES.items() if word in words), "other")


def aligned(said: list[str], heard: list[str]) -> list[tuple[str | None, str | None]]:
    """Pairs of the cheapest alignment; None where a word was added or lost."""
    cost = np.zeros((len(said) + 1, len(heard) + 1), int)
    cost[:, 0], cost[0] = np.arange(len(said) + 1), np.arange(len(heard) + 1)
    for i, one in enumerate(said, 1):
        for j, other in enumerate(heard, 1):
            cost[i, j] = min(cost[i - 1, j] + 1, cost[i, j - 1] + 1, cost[i - 1, j - 1] + (one != other))
    i, j, pairs = len(said), len(heard), []
    while i or j:
        if i and j and cost[i, j] == cost[i - 1, j - 1] + (said[i - 1] != heard[j - 1]):
            pairs.append((said[i - 1], heard[j - 1]))
            i, j = i - 1, j - 1
        elif i and cost[i, j] == cost[i - 1, j] + 1:
            pairs.append((said[i - 1], None))
            i -= 1
        else:
            pairs.append((None, heard[j - 1]))
            j -= 1
    return pairs[::-1]


def hear(model: vosk.Model, sound: np.ndarray, listed: list[str] | None = None) -> list[str]:
    recogniser = vosk.KaldiRecognizer(model, RATE, *([json.dumps(listed)] if listed else []))
    data = (np.clip(sound, -1, 1) * 32767).astype("<i2")
    words: list[str] = []
    for at in range(0, len(data), 4000):
        if recogniser.AcceptWaveform(data[at : at + 4000].tobytes()):
            words += json.loads(recogniser.Result())["text"].split()
    recogniser.AcceptWaveform(bytes(RATE))
    return words + json.loads(recogniser.FinalResult())["text"].split()


def joined(words: list[str]) -> list[str]:
    """A run of fillers counts once: how many words nobody listed lie in a stretch cannot be told."""
    return [word for at, word in enumerate(words) if word != FILLER or at == 0 or words[at - 1] != FILLER]


def measure(
    name: str, model: vosk.Model, cases: list[tuple[np.ndarray, list[str]]], known: set[str],
    lists: list[list[str]] | None = None,
) -> None:  # fmt: skip
    began, length = time.time(), 0.0
    right, wrong = Counter[str](), Counter[str]()
    for number, (sound, words) in enumerate(cases):
        said = joined([word if word in known else FILLER for word in words])
        heard = joined(hear(model, sound, lists[number] if lists else None))
        length += len(sound) / RATE
        if number < 4:
            print("  said ", " ".join(said), "\n  heard", " ".join(heard))
        for one, other in aligned(said, heard):
            kind = class_of(one or other or "")
            (right if one == other else wrong)[kind] += 1
            if one is None:
                wrong[f"{kind} added"] += 1
    said_count = sum(right.values()) + sum(v for k, v in wrong.items() if "added" not in k) - sum(
        v for k, v in wrong.items() if "added" in k)
    errors = sum(v for k, v in wrong.items() if "added" not in k)
    print(f"{name}: {100 * errors / said_count:.1f} % word error, {said_count} words, {len(cases)} utterances, "
          f"real-time factor {(time.time() - began) / length:.2f}")
    for kind in sorted(set(right) | {k for k in wrong if "added" not in k}):
        of = right[kind] + wrong[kind] - wrong[f"{kind} added"]
        print(f"  {kind:9} {100 * wrong[kind] / max(1, of):5.1f} % of {of} (of which added: {wrong[f'{kind} added']})")


def over_closed_lists(given: argparse.Namespace, found: list[tuple[str, str, list[str]]],
                      cases: list[tuple[np.ndarray, list[str]]]) -> None:  # fmt: skip
    """The held-out speakers over lists made from the test's own words and others."""
    import export  # here: only this needs kaldi_hmm_gmm

    others = [words for speaker, _, words in found if speaker not in SPEAKERS]
    tested = {word for _, words in cases for word in words}
    rest = sorted({word for words in others for word in words} - tested)
    chance = random.Random(0)
    chance.shuffle(rest)
    words = sorted(tested | set(rest[:DISTRACTORS]))
    weights = dict(np.load(given.net / "net.npz"))
    base = json.loads((given.net / "meta.json").read_text())["phones"]
    lexicon = json.loads((given.prepared / "lexicon.json").read_text())
    with tempfile.TemporaryDirectory() as folder:
        export.build(weights, base, lexicon, words, others, others, Path(folder))
        model = vosk.Model(folder)
        name = f"held-out speakers, closed list of {len(words)} words ({len(tested)} of the test)"
        measure(name, model, cases, set(words))
        lists = [sorted({*said, *chance.sample(words, FEW)}) for _, said in cases]
        mean = sum(map(len, lists)) / max(1, len(lists))
        measure(f"held-out speakers, a list for each utterance, {mean:.0f} words", model, cases, set(words), lists)


def main() -> None:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("model", "prepared"):
        take.add_argument(f"--{name}", type=Path, required=True)
    take.add_argument("--speech", type=Path)
    take.add_argument("--net", type=Path)
    take.add_argument("--voice", action="store_true")
    take.add_argument("--limit", type=int, default=60)
    given = take.parse_args()
    vosk.SetLogLevel(-1)
    model = vosk.Model(str(given.model))
    known = {line.split()[0] for line in (given.model / "graph/words.txt").read_text().splitlines()}
    if given.speech:
        found = json.loads((given.prepared / "utterances.json").read_text())
        held = [(given.speech / path, words) for speaker, path, words in found if speaker in SPEAKERS]
        picked = held[:: max(1, len(held) // given.limit)]
        cases = [(load(path), words) for path, words in picked]
        measure("held-out speakers", model, cases, known)
        if given.net:
            over_closed_lists(given, found, cases)
    if given.voice:
        sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
        from hibari import Hibari

        say = Hibari(threads=1)
        texts = json.loads((given.prepared / "tests.json").read_text())[: given.limit]
        cases = [(soxr.resample(say(text, seed=1), 24_000, RATE) * 0.5, text.split()) for text in texts]
        measure("held-out voice", model, cases, known)


def load(path: Path) -> np.ndarray:
    sound, rate = soundfile.read(str(path), dtype="float32")
    return soxr.resample(sound, rate, RATE) if rate != RATE else sound


if __name__ == "__main__":
    main()
