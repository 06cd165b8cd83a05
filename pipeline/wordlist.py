"""The stored word list (words.json): what a recogniser heard, so that a note can be made again without the sound.

Form, version 1 (UTF-8 JSON):

    {"format": "voxop-words", "version": 1,
     "source": "dictation.flac", "sha256": "<of the sound>" or "", "seconds": 193.2,
     "engine": "whisper", "model": "whisper-base", "notices": ["..."],
     "segments": [{"index": 0, "start": 0.3, "end": 9.6}, ...],
     "words": [{"id": 0, "text": "left", "last": 0, "start": 1.2, "end": 1.5, "confidence": 0.98,
                "heard_by": "whisper", "heard": null, "segment": 0, "others": []}, ...]}

A word that a second recogniser reads otherwise has `"opinions": ["fifty"]` too.

Times are seconds from the start of the recording. Of a word only `text` is required; ids, when given, must number
the original words from 0 without a hole (`id`..`last`). Unknown fields are an error, so that a slip is seen.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from pipeline.errors import BadWordList, SourceNotFound, SourceUnreadable
from pipeline.records import Segment, Word

FORMAT = "voxop-words"
VERSION = 1
_SHOWN = 5


@dataclass(frozen=True, slots=True)
class WordList:
    """Words and segments of one recording. `seconds`: its length; `sha256`: of the sound file, "" if there is none."""

    words: tuple[Word, ...]
    segments: tuple[Segment, ...] = ()
    source: str = ""
    sha256: str = ""
    seconds: float = 0.0
    engine: str = ""
    model: str = ""
    notices: tuple[str, ...] = ()


class _Row(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)


class _Segment(_Row):
    index: int = Field(ge=0)
    start: float = Field(ge=0)
    end: float = Field(ge=0)


class _Word(_Row):
    id: int | None = Field(default=None, ge=0)
    text: str = Field(min_length=1, pattern=r"^\S(.*\S)?$")
    last: int | None = Field(default=None, ge=0)
    start: float | None = Field(default=None, ge=0)
    end: float | None = Field(default=None, ge=0)
    confidence: float | None = Field(default=None, ge=0, le=1)
    heard_by: str = "scripted"
    heard: str | None = None
    segment: int = Field(default=0, ge=0)
    others: tuple[str, ...] = ()
    opinions: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _in_order(self) -> _Word:
        if self.start is not None and self.end is not None and self.end < self.start:
            raise ValueError("end lies before start")
        return self


class _List(_Row):
    format: Literal["voxop-words"]
    version: Literal[1]
    source: str = ""
    sha256: str = Field(default="", pattern=r"^([0-9a-f]{64})?$")
    seconds: float = Field(default=0.0, ge=0)
    engine: str = ""
    model: str = ""
    notices: tuple[str, ...] = ()
    segments: tuple[_Segment, ...] = ()
    words: tuple[_Word, ...]


def dump(stored: WordList) -> bytes:
    """The word list as JSON, one word a line; the same list gives the same bytes."""
    head = {
        "format": FORMAT, "version": VERSION, "source": stored.source, "sha256": stored.sha256,
        "seconds": stored.seconds, "engine": stored.engine, "model": stored.model, "notices": list(stored.notices),
    }
    lines = [f' "{name}": {_json(value)},' for name, value in head.items()]
    segments: list[dict[str, object]] = [{"index": s.index, "start": s.start, "end": s.end} for s in stored.segments]
    words: list[dict[str, object]] = [
        {"id": w.id, "text": w.text, "last": w.last, "start": w.start, "end": w.end, "confidence": w.confidence,
         "heard_by": w.heard_by, "heard": w.heard, "segment": w.segment, "others": list(w.others),
         **({"opinions": list(w.opinions)} if w.opinions else {})}
        for w in stored.words
    ]
    lines += [f' "segments": {_rows(segments)},', f' "words": {_rows(words)}']
    return ("{\n" + "\n".join(lines) + "\n}\n").encode()


def parse(data: bytes, where: str = "") -> WordList:
    """Reads a word list. Raises BadWordList with the first faults and where they are."""
    try:
        raw: Any = json.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError) as problem:
        raise BadWordList(f"This is not JSON ({problem}).", "Hand in a words.json as `voxop note` writes it.",
                          where=where) from problem
    if not isinstance(raw, dict) or raw.get("format") != FORMAT:
        raise BadWordList(f'This JSON is not a word list ("format" is not "{FORMAT}").',
                          "Hand in a words.json as `voxop note` writes it.", where=where)
    if raw.get("version") != VERSION:
        raise BadWordList(f"The word list has version {raw.get('version')!r}; this program reads version {VERSION}.",
                          "Write it again with this program.", where=where)
    try:
        read = _List.model_validate_json(data.decode("utf-8-sig"), strict=False)
    except ValidationError as problem:
        faults = [f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in problem.errors()]
        more = f" (and {len(faults) - _SHOWN} more)" if len(faults) > _SHOWN else ""
        raise BadWordList(f"The word list is not well formed: {'; '.join(faults[:_SHOWN])}{more}.",
                          "Correct these places.", where=where) from problem
    return WordList(
        words=_words(read.words, where),
        segments=tuple(Segment(s.index, s.start, s.end) for s in read.segments),
        source=read.source, sha256=read.sha256, seconds=read.seconds, engine=read.engine, model=read.model,
        notices=read.notices,
    )


def read(path: Path | str) -> WordList:
    """Reads a word list from a file. Raises SourceNotFound, SourceUnreadable, BadWordList."""
    path = Path(path)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise SourceNotFound("There is no such file.", "Check the path.", where=str(path)) from None
    except OSError as problem:
        raise SourceUnreadable(f"The file cannot be read ({problem.strerror}).", "Check its permissions.",
                               where=str(path)) from problem
    return parse(data, str(path))


def is_word_list(path: Path | str) -> bool:
    """Whether a file is JSON by its first sign (no recording begins with a brace). False if it cannot be read."""
    try:
        with Path(path).open("rb") as stream:
            return stream.read(64).removeprefix(b"\xef\xbb\xbf").lstrip()[:1] == b"{"
    except OSError:
        return False


def _words(rows: Sequence[_Word], where: str) -> tuple[Word, ...]:
    words: list[Word] = []
    following = 0
    before = 0.0
    for place, row in enumerate(rows):
        ident = following if row.id is None else row.id
        last = ident if row.last is None or row.last == -1 else row.last
        if ident != following or last < ident:
            raise BadWordList(f"words.{place}: ids must count on from {following}, found {ident}..{last}.",
                              "Number the words from 0 without a hole, or leave the ids out.", where=where)
        if row.start is not None:
            if row.start < before:
                raise BadWordList(f"words.{place}: begins at {row.start} s, before the word in front of it.",
                                  "Put the words in the order they were said.", where=where)
            before = row.start
        following = last + 1
        words.append(Word(
            id=ident, text=row.text, last=last, start=row.start, end=row.end, confidence=row.confidence,
            heard_by=row.heard_by, heard=row.heard, segment=row.segment, others=row.others, opinions=row.opinions,
        ))
    return tuple(words)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def _rows(rows: Sequence[Mapping[str, object]]) -> str:
    return "[\n" + ",\n".join("  " + _json(row) for row in rows) + "\n ]" if rows else "[]"
