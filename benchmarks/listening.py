"""How well the product hears (`make bench-listening`; options in ARGS="...").

Rows: the default (Whisper base with the shorter encoder input, read again by the tuned weights), the same without them,
with the full input, the tuned weights alone, the small Vosk model; each without and with bias words, without and with
the repair of terms; tuning half and test half apart. Columns: word error (jiwer), critical words wrong of all by class,
phrases dropped, words repaired; of the numbers, units, sides and negations heard, how many wrong ones and how many
right ones the second reading flags, and of those said and not heard so ("lost"), how many it has. Then speed: real-time
factor on this machine as loaded as it was, processor seconds for a second of sound, work for an utterance of 3 to 8 s,
load time, peak memory. Then invented words on ten minutes of non-speech, and human read speech where ../shared/speech
is.

The default hears 14 recordings, about a quarter of an hour of sound, by rotating voices; `--full` all dictations by
all voices in all conditions (hours). What was heard is kept (listening_hearer.py), so a second run only scores, and
`--minutes 15` hears for about so long, row after row, and scores what is there: run it again to go on. A table holds
the recordings that all its rows have heard. `--detail` shows each noise apart, and the errors of the tuning half.
`--write` puts what is printed into benchmarks/listening.txt too. "Without bias" is the engine's own second reading
of the same stretches. Speech is synthetic except the human part: compare the rows, do not take them for a surgeon's.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median

import jiwer
import listening_corpus as corpus
import words
from listening_hearer import ROOT, Hearer, Run

from pipeline import grammar, readings, repair
from pipeline.grammar import Grammar
from pipeline.records import Word

SPEECH = ROOT.parent / "shared" / "speech"
TABLE = Path(__file__).with_suffix(".txt")
# A run of at least so many words of the script with nothing heard for them is a dropped phrase.
DROPPED = 4
# What the second reading flags.
KINDS = ("number", "unit", "side", "negation")


@dataclass(frozen=True)
class Setup:
    """A row of the tables. `model`: None for the engine's default; `full`: full encoder input; `biased`: whether the
    engine takes bias words; `reader`: what reads a second time (`run.second_reader`)."""

    engine: str
    model: str | None = None
    full: bool = False
    biased: bool = True
    reader: str = "off"

    def hearer(self, rules: Grammar, again: bool) -> Hearer:
        return Hearer(self.engine, self.model, rules, again, full=self.full, reader=self.reader)


SETUPS = {
    "read": Setup("whisper", reader="auto"),
    "base": Setup("whisper"),
    "base-full": Setup("whisper", full=True),
    "tuned": Setup("whisper", "whisper-base-operative"),
    "vosk": Setup("vosk", "vosk-small", biased=False),
}
ABOUT = {
    "read": "Whisper base, each stretch read again by the weights for operative language (the default)",
    "base": "Whisper base alone, shorter encoder input", "base-full": "Whisper base, full encoder input",
    "tuned": "Whisper base with the adapter for operative language", "vosk": "the Vosk model in the package",
}  # fmt: skip


@dataclass(frozen=True)
class Job:
    dictation: corpus.Dictation
    voice: str
    condition: str


@dataclass
class Row:
    """One line of a table."""

    errors: words.Errors = field(default_factory=words.Errors)
    dropped: int = 0
    changed: int = 0


@dataclass(frozen=True)
class Sound:
    """A recording to be heard, with the family whose bias words are used ("" for none)."""

    path: Callable[[], Path]
    family: str = ""


def main() -> int:
    options = arguments()
    rules = grammar.load()
    jobs = chosen(options.full)
    if options.hear:
        hearer = SETUPS[options.hear].hearer(rules, options.again)
        return hear(hearer, sounds(jobs, options.utterances), options.minutes)
    for one in sounds(jobs, options.utterances):
        one.path()  # spoken here: the memory of a row is that of hearing alone
    ends = time.monotonic() + 60 * options.minutes if options.minutes else None
    for name in options.rows:
        # A process for each engine: its peak memory is its own.
        left = [] if ends is None else ["--minutes", str(max(0.001, (ends - time.monotonic()) / 60))]
        again = [flag for flag in ("--again", "--full") if getattr(options, flag[2:])]
        these = ["--hear", name, "--utterances", str(options.utterances), *left, *again]
        subprocess.run([sys.executable, __file__, *these], check=True)
    hearers = {name: SETUPS[name].hearer(rules, False) for name in options.rows}
    told: list[str] = []

    def tell(line: str = "") -> None:
        told.append(line)
        print(line, flush=True)

    if missing := [voice for voice in corpus.VOICES if voice not in corpus.voices()]:
        tell(f"Voices that are not here, so that others speak more: {', '.join(missing)} (Debian: flite, espeak-ng)")
    for name in options.rows:
        tell(f"{name:10}{ABOUT[name]}")
    for half in ("tuning", "test"):
        conditions = [(level,) for level in corpus.CONDITIONS] if options.detail else [tuple(corpus.CONDITIONS)]
        for levels in conditions:
            some = [job for job in jobs if job.dictation.half == half and job.condition in levels]
            table(half, " and ".join(levels), some, hearers, rules, tell, examples=options.detail)
    speed(hearers, sounds(jobs, options.utterances), tell)
    for name, hearer in hearers.items():
        silence(name, hearer, tell)
    for name, hearer in hearers.items():
        human(name, hearer, rules, options.utterances, tell)
    if options.write:
        command = "make bench-listening" + (f' ARGS="{" ".join(sys.argv[1:])}"' if sys.argv[1:] else "")
        TABLE.write_text("\n".join([command, *told]) + "\n", encoding="utf-8")
    return 0


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", nargs="+", choices=list(SETUPS), default=list(SETUPS))
    parser.add_argument("--minutes", type=float, help="hear for about so long at most, then score what is there")
    parser.add_argument("--full", action="store_true", help="every dictation, voice and condition: hours")
    parser.add_argument("--again", action="store_true", help="hear anew what was heard before")
    parser.add_argument("--detail", action="store_true", help="each noise apart; errors of the tuning half")
    parser.add_argument("--write", action="store_true", help=f"also into {TABLE.name}")
    parser.add_argument("--utterances", type=int, default=20, help="of human read speech (default 20)")
    parser.add_argument("--hear", choices=list(SETUPS), help="hear for one row, score nothing")
    return parser.parse_args()


def chosen(full: bool) -> list[Job]:
    """All, or: of each half five clean by different voices, and one in each noise by the neural voice."""
    voices = corpus.voices()
    all_of = corpus.dictations()
    if full:
        return [Job(one, voice, level) for one in all_of for voice in voices for level in corpus.CONDITIONS]
    jobs = []
    for half in ("tuning", "test"):
        these = [one for one in all_of if one.half == half]
        jobs += [Job(one, voices[at % len(voices)], "clean") for at, one in enumerate(these[:5])]
        jobs += [Job(these[6], voices[0], "15dB"), Job(these[7], voices[0], "5dB")]
    return jobs


def path_of(job: Job) -> Path:
    return corpus.recording(job.dictation, job.voice, job.condition)


def sounds(jobs: Sequence[Job], utterances: int) -> list[Sound]:
    return [
        *(Sound(lambda job=job: path_of(job), job.dictation.family) for job in jobs),  # type: ignore[misc]
        Sound(corpus.non_speech, "laparoscopy"),
        *(Sound(lambda path=path: path) for path, _ in _read_speech(utterances)),  # type: ignore[misc]
    ]


def hear(hearer: Hearer, these: Sequence[Sound], minutes: float | None) -> int:
    """Hears what was not heard before, until the time is over."""
    began = time.monotonic()
    for one in these:
        if minutes is not None and time.monotonic() - began > 60 * minutes:
            break
        hearer.hear(one.path(), one.family or None)
    return 0


def table(half: str, condition: str, jobs: Sequence[Job], hearers: dict[str, Hearer], rules: Grammar,
          tell: Callable[[str], None], *, examples: bool) -> None:  # fmt: skip
    """Errors over the recordings that all rows have heard, each row with and without bias and repair."""
    common = [job for job in jobs if all(one.has(path_of(job), job.dictation.family) for one in hearers.values())]
    if not common:
        tell(f"\n{half} half, {condition}: nothing that all rows have heard yet")
        return
    first = next(iter(hearers.values()))
    minutes = sum(first.hear(path_of(job), job.dictation.family).seconds for job in common) / 60
    tell(f"\n{half} half, {condition}: {len(common)} of {len(jobs)} recordings, {minutes:.1f} min, voices "
         f"{', '.join(dict.fromkeys(job.voice for job in common))}")
    tell(f"{'row':10}{'bias':5}{'repair':7}{'words %':>8}{'critical %':>11}  "
         + "".join(f"{kind:>10}" for kind in words.CLASSES)
         + f"{'dropped':>9}{'repaired':>9}{'wrong flagged':>15}{'right flagged':>15}{'lost told':>11}")
    for name, hearer in hearers.items():
        for bias in (False, True) if SETUPS[name].biased else (False,):
            if not bias and SETUPS[name].reader != "off":
                continue  # its second reading is by other weights
            for mend in (False, True):
                flags: Counter[str] = Counter()
                row = Row()
                for job in common:
                    run = hearer.hear(path_of(job), job.dictation.family)
                    score(row, flags, job, run, rules, bias, mend, SETUPS[name].biased)
                by_class = "".join(
                    f"{f'{row.errors.critical_wrong[kind]}/{row.errors.critical[kind]}':>10}" for kind in words.CLASSES
                )
                keys = ("wrong", "right", "lost")
                told = [f"{flags[f'{key} flagged']}/{flags[key]}" if bias else "-" for key in keys]
                tell(f"{name:10}{'yes' if bias else 'no':5}{'yes' if mend else 'no':7}"
                     f"{100 * row.errors.word_error:8.1f}{100 * row.errors.critical_error:11.1f}  {by_class}"
                     f"{row.dropped:9}{row.changed:9}"
                     f"{told[0]:>15}{told[1]:>15}{told[2]:>11}")
        if examples and half == "tuning":
            for kind, lost, made in row.errors.examples:
                tell(f"    [{kind}] {lost!r} <- {made!r}")


def score(row: Row, flags: Counter[str], job: Job, run: Run, rules: Grammar, bias: bool, mend: bool,
          biased: bool) -> None:  # fmt: skip
    """Adds one recording to a row, and to its counts of flags."""
    family = rules.family(job.dictation.family)
    plain = unbiased(run) if biased and not bias else tuple(replace(word, others=()) for word in run.words)
    heard = repair.repair(plain, rules, family.bias) if mend else plain
    errors = words.compare(job.dictation.text, heard, rules)
    row.errors.add(errors)
    row.dropped += dropped(errors)
    row.changed += sum(word.heard is not None for word in heard)
    if bias:
        noted = readings.compared(plain, run.others)
        flags.update(flagged(job.dictation.text, repair.repair(noted, rules, family.bias) if mend else noted, rules))


def unbiased(run: Run) -> tuple[Word, ...]:
    """What the same segments gave without bias words: the second reading, or the first where they are the same."""
    made: list[Word] = []
    for segment in dict.fromkeys(word.segment for word in run.words):
        own = [word.text for word in run.words if word.segment == segment]
        texts = run.others[segment][0].split() if segment in run.others else own
        made += [Word(len(made) + at, text, heard_by="whisper", segment=segment) for at, text in enumerate(texts)]
    return tuple(made)


def dropped(errors: words.Errors) -> int:
    return sum(not made and len(lost.split()) >= DROPPED for _, lost, made in errors.examples)


def flagged(truth: str, heard: Sequence[Word], rules: Grammar) -> Counter[str]:
    """Of the numbers, units, sides and negations heard: right and wrong ones, and those with another reading that does
    not say the same. Of those of the script that were not heard as said: all, and those that another reading has, on
    the words heard there or beside."""
    counts: Counter[str] = Counter()
    for item, right, words_of in words.judged(truth, heard, rules):
        if item.kind in KINDS:
            key = "right" if right else "wrong"
            counts[key] += 1
            others = [other for word in words_of for other in word.others]
            counts[f"{key} flagged"] += any(not words.holds(other, item, rules) for other in others)
    for item, beside in words.lost(truth, heard, rules):
        if item.kind in KINDS:
            counts["lost"] += 1
            counts["lost flagged"] += any(words.holds(other, item, rules) for word in beside for other in word.others)
    return counts


def speed(hearers: dict[str, Hearer], these: Sequence[Sound], tell: Callable[[str], None]) -> None:
    """Speed and memory over what was heard; with bias words each stretch was decoded twice."""
    tell(f"\n{'row':10}{'minutes':>8}{'real-time factor':>18}{'processor':>11}{'3-8 s utterance':>17}{'load s':>8}"
         f"{'peak MB':>9}")
    for name, hearer in hearers.items():
        runs = [hearer.hear(one.path(), one.family) for one in these
                if one.family and "non-speech" not in one.path().name and hearer.has(one.path(), one.family)]
        if not runs:
            continue
        seconds, wall = sum(run.seconds for run in runs), sum(run.wall for run in runs)
        short = [work for run in runs for work, length in run.took if 3 <= length <= 8]
        loads = [run.load for run in runs if run.load]
        tell(f"{name:10}{seconds / 60:8.1f}{wall / seconds:18.2f}{sum(run.processor for run in runs) / seconds:11.2f}"
             f"{f'{median(short):.1f} s ({len(short)})' if short else '-':>17}"
             f"{median(loads) if loads else float('nan'):8.1f}{max(run.peak for run in runs):9.0f}")


def silence(name: str, hearer: Hearer, tell: Callable[[str], None]) -> None:
    path = corpus.non_speech()
    if not hearer.has(path, "laparoscopy"):
        tell(f"{name}: non-speech: not heard yet")
        return
    run = hearer.hear(path, "laparoscopy")
    text = " ".join(word.text for word in run.words)
    tell(f"{name}: non-speech, {run.seconds / 60:.0f} min with bias words: {len(run.words)} words invented "
         f"{text[:200]!r}")


def human(name: str, hearer: Hearer, rules: Grammar, limit: int, tell: Callable[[str], None]) -> None:
    """Human read speech (not about operations): word error, and what the repair does where nothing is to repair."""
    found = [row for row in _read_speech(limit) if hearer.has(row[0], None)]
    if not found:
        tell(f"{name}: human read speech: not there or not heard yet")
        return
    truths, heard, mended, touched = [], [], [], []
    for path, text in found:
        run = hearer.hear(path, None)
        after = repair.repair(run.words, rules)
        truths.append(_plain(text))
        heard.append(_plain(" ".join(word.text for word in run.words)) or "_")
        mended.append(_plain(" ".join(word.text for word in after)) or "_")
        touched += [f"{word.heard} -> {word.text}" for word in after if word.heard is not None]
    tell(f"{name}: human read speech, {len(found)} utterances, no bias: word error "
         f"{100 * jiwer.wer(truths, heard):.1f} %, with repair {100 * jiwer.wer(truths, mended):.1f} %; "
         f"repaired: {touched}")


def _read_speech(limit: int) -> Iterable[tuple[Path, str]]:
    """(sound, text) evenly from all speakers of a LibriSpeech-like folder."""
    lists = sorted(SPEECH.rglob("*.trans.txt"))
    rows = [(file, line) for file in lists for line in file.read_text(encoding="utf-8").splitlines()]
    for file, line in rows[:: max(1, len(rows) // max(1, limit))][:limit]:
        name, _, text = line.partition(" ")
        sound = next((path for path in file.parent.glob(f"{name}.*") if path.suffix in (".flac", ".wav", ".ogg")), None)
        if sound is not None:
            yield sound, text


def _plain(text: str) -> str:
    return " ".join("".join(sign if sign.isalnum() or sign == "'" else " " for sign in text.lower()).split())


if __name__ == "__main__":
    sys.exit(main())
