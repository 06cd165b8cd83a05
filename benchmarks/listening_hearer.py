"""Hears the recordings of the listening benchmark with one engine, and keeps what was heard.

What is kept lies in benchmarks/work/heard, one file a recording, named by the text, the voice, the noise, the code
that hears (comments and docstrings do not count), the model's checksum and the bias words: a run that was interrupted
goes on where it stopped, and nothing is scored that another state of the code heard.
"""

from __future__ import annotations

import ast
import hashlib
import json
import resource
import time
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import listening_corpus as corpus

from pipeline import audio, listen, manifest, plugins, run, wordlist
from pipeline.engines.base import Engine, Options, Reader, safe_bias
from pipeline.grammar import Grammar
from pipeline.records import Word
from pipeline.rows import Unit

ROOT = Path(__file__).resolve().parent.parent
HEARD = corpus.WORK / "heard"
CODE = ("pipeline/listen.py", "pipeline/segments.py", "pipeline/engines/base.py")


@dataclass
class Run:
    """One recording heard once. `others`: the other readings, by stretch; `wall`, `processor`: seconds of work, of all
    threads together the latter; `took`: seconds of work for each utterance, with its length; `load`: seconds that
    the model took to load; `peak`: megabytes of the process by then."""

    words: tuple[Word, ...]
    others: dict[int, tuple[str, ...]]
    seconds: float
    wall: float
    took: list[tuple[float, float]] = field(default_factory=list)
    processor: float = 0.0
    load: float = 0.0
    peak: float = 0.0


class Hearer:
    """Hears recordings with one engine, or reads what it heard before. `full`: the encoder of Whisper gets 30 s for
    every stretch, as it was trained, in place of the stretch and a little silence. `reader`: as of
    `run.second_reader`; "off": the engine reads a second time itself, without bias words."""

    def __init__(self, name: str, model: str | None, rules: Grammar, again: bool, mark: str | None = None, *,
                 full: bool = False, reader: str = "off") -> None:  # fmt: skip
        self.name, self._model, self._again, self._full = name, model, again, full
        self._reader_name = reader
        self._reader: Reader | None = None
        self._rules = rules
        self._engine: Engine | None = None
        self.load_seconds: float | None = None
        self.runs: list[Run] = []
        self._units = [phrase for row in rules.table("units", Unit).values() for phrase in row.say]
        chosen = manifest.choose(name, model)
        other = "" if chosen.name == manifest.choose(name, None).name else f"+{chosen.name}"
        self._kind = name + other + ("+full" if full else "") + ("+read" if reader != "off" else "")
        beside = manifest.second(chosen.name) if reader == "auto" else None
        self._mark = mark or self._state(chosen.sha256 + (beside.sha256 if beside else ""))

    def _state(self, model: str) -> str:
        """Of all that decides what is heard: code and model."""
        code = [_bare(ROOT / file) for file in (*CODE, f"pipeline/engines/{self.name}.py")]
        return hashlib.sha256("|".join([*code, model]).encode()).hexdigest()[:12]

    def engine(self) -> Engine:
        if self._engine is None:
            began = time.perf_counter()
            self._engine = plugins.find(listen.ENGINES, self.name).load(self._model)
            self.load_seconds = time.perf_counter() - began
            if self._full:
                assert hasattr(self._engine, "tail"), f"{self.name} has no shorter input"
                self._engine.tail = None
            self._reader = run.second_reader(self._engine, self._reader_name)
        assert self._engine is not None
        return self._engine

    def hear(self, path: Path, family: str | None) -> Run:
        """Without a family: without bias."""
        bias = self._bias(family)
        store = self._store(path, bias)
        if store.exists() and not self._again:
            run = _stored(store)
        else:
            run = self._hear(path, bias)
            _keep(store, run, path.name)
        self.runs.append(run)
        return run

    def has(self, path: Path, family: str | None) -> bool:
        """Whether it was heard before in this very state."""
        return self._store(path, self._bias(family)).exists()

    def kept(self, dictation: corpus.Dictation, voice: str, condition: str) -> Run | None:
        """What was heard before of a dictation, by whatever state of the engine heard it last; None for nothing."""
        mark = zlib.crc32(dictation.text.encode())
        stores = HEARD.glob(f"{dictation.name}-{mark:08x}.{voice}.{condition}.{self._kind}.*.json")
        newest = max(stores, key=lambda path: path.stat().st_mtime, default=None)
        return _stored(newest) if newest else None

    def _bias(self, family: str | None) -> tuple[str, ...]:
        return safe_bias(self._rules.family(family).bias, self._units) if family else ()

    def _store(self, path: Path, bias: Sequence[str]) -> Path:
        mark = hashlib.sha256("|".join(bias).encode()).hexdigest()[:8]
        return HEARD / f"{path.stem}.{self._kind}.{self._mark}.{mark}.json"

    def _hear(self, path: Path, bias: Sequence[str]) -> Run:
        sound = audio.inspect(path)
        engine = self.engine()
        listener = listen.Listener(engine, Options(bias=tuple(bias), alternatives=1), reader=self._reader)
        took = []
        began = last = time.perf_counter()
        used = time.process_time()
        for piece in [*audio.pieces(sound), None]:
            results = listener.finish() if piece is None else listener.feed(piece)
            last = time.perf_counter()
            for result in results:
                now = time.perf_counter()
                if result.final and not result.revised and listener.segments:
                    segment = listener.segments[-1]
                    took.append((now - last, segment.end - segment.start))
                last = time.perf_counter()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        return Run(
            tuple(listener.words), dict(listener.alternatives), sound.seconds, time.perf_counter() - began, took,
            time.process_time() - used, self.load_seconds or 0.0, peak,
        )  # fmt: skip


def _bare(path: Path) -> str:
    """The code of a module without its comments and docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        body = getattr(node, "body", None)
        first = body[0] if isinstance(body, list) and body else None
        if isinstance(body, list) and isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
            body[:1] = [ast.Pass()]
    return ast.dump(tree)


def _keep(path: Path, run: Run, source: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    held = json.loads(wordlist.dump(wordlist.WordList(run.words, (), source, "", run.seconds)))
    rest = {"others": run.others, "wall": run.wall, "took": run.took, "processor": run.processor, "load": run.load,
            "peak": run.peak}  # fmt: skip
    unfinished = path.with_suffix(".part")
    unfinished.write_text(json.dumps({"words": held, **rest}), encoding="utf-8")
    unfinished.replace(path)


def _stored(path: Path) -> Run:
    held = json.loads(path.read_text(encoding="utf-8"))
    these = tuple(Word(**{**row, "others": tuple(row.get("others", ()))}) for row in held["words"]["words"])
    others = {int(segment): tuple(texts) for segment, texts in held["others"].items()}
    return Run(these, others, held["words"]["seconds"], held["wall"], [tuple(pair) for pair in held["took"]],
               held.get("processor", 0.0), held.get("load", 0.0), held.get("peak", 0.0))  # fmt: skip
