"""The stored word list: everything comes back, and every slip is told with its place."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline import wordlist
from pipeline.errors import BadWordList, SourceNotFound, SourceUnreadable
from pipeline.records import Segment, Word
from pipeline.wordlist import WordList

FULL = WordList(
    words=(
        Word(0, "left", start=0.5, end=0.75, confidence=0.875, heard_by="whisper", opinions=("right",)),
        Word(1, "cefazolin,", last=4, start=0.75, end=1.5, heard="ceph as all in", segment=1, others=("a", "b")),
    ),
    segments=(Segment(0, 0.25, 1.0), Segment(1, 1.0, 2.0)),
    source="ä.flac", sha256="0" * 64, seconds=2.5, engine="whisper", model="whisper-base", notices=("cut off",),
)


def test_everything_comes_back() -> None:
    assert wordlist.parse(wordlist.dump(FULL)) == FULL
    assert wordlist.dump(wordlist.parse(wordlist.dump(FULL))) == wordlist.dump(FULL)


def test_every_field_of_a_word_is_written() -> None:
    written = json.loads(wordlist.dump(FULL))["words"][0]
    assert set(written) == set(Word.__dataclass_fields__)
    assert set(json.loads(wordlist.dump(FULL))["segments"][0]) == set(Segment.__dataclass_fields__)


@given(
    st.lists(
        st.tuples(
            st.text(min_size=1).map(lambda text: "".join(text.split()) or "x"),
            st.none() | st.floats(0, 1),
            st.lists(st.text(), max_size=2),
        )
    )
)
def test_any_words_come_back(rows: list[tuple[str, float | None, list[str]]]) -> None:
    words = tuple(Word(n, text, confidence=sure, others=tuple(others)) for n, (text, sure, others) in enumerate(rows))
    try:
        data = wordlist.dump(WordList(words))
    except UnicodeEncodeError:  # half a surrogate pair is no text
        return
    assert wordlist.parse(data).words == words


def test_only_the_text_is_required() -> None:
    data = b'{"format": "voxop-words", "version": 1, "words": [{"text": "left"}, {"text": "hip"}]}'
    assert [(word.id, word.last, word.start) for word in wordlist.parse(data).words] == [(0, 0, None), (1, 1, None)]


def altered(**change: object) -> bytes:
    return json.dumps({**json.loads(wordlist.dump(FULL)), **change}).encode()


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe\x00", "not JSON"),
        (b"{" * 100_000, "not JSON"),
        (b"[]", "not a word list"),
        (b'{"resourceType": "Bundle"}', "not a word list"),
        (altered(version=2), "version 2"),
        (altered(words=[{"txt": "left"}]), "words.0.text"),
        (altered(words=[{"text": "left", "speed": 1}]), "words.0.speed"),
        (altered(words=[{"text": " left"}]), "words.0.text"),
        (altered(words=[{"text": ""}]), "words.0.text"),
        (altered(words=[{"text": "left", "confidence": 1.5}]), "words.0.confidence"),
        (altered(words=[{"text": "left", "start": 2, "end": 1}]), "words.0"),
        (altered(words=[{"text": "left", "start": -1}]), "words.0.start"),
        (altered(words=[{"text": "a", "id": 0}, {"text": "b", "id": 2}]), "words.1: ids must count on from 1"),
        (altered(words=[{"text": "a", "start": 2}, {"text": "b", "start": 1}]), "words.1: begins"),
        (altered(sha256="abc"), "sha256"),
        (altered(words="left hip"), "words"),
        (wordlist.dump(FULL).replace(b"0.875", b"NaN"), "not well formed"),
    ],
)
def test_every_slip_is_told(data: bytes, told: str) -> None:
    with pytest.raises(BadWordList) as caught:
        wordlist.parse(data, "words.json")
    assert told in str(caught.value)
    assert str(caught.value).startswith("words.json: ")


def test_files(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(b"\xef\xbb\xbf \n" + wordlist.dump(FULL))
    assert wordlist.is_word_list(path)
    assert wordlist.read(path) == FULL
    assert not wordlist.is_word_list(tmp_path)
    (tmp_path / "y").write_bytes(b"RIFF")
    assert not wordlist.is_word_list(tmp_path / "y")
    with pytest.raises(SourceNotFound):
        wordlist.read(tmp_path / "absent")
    with pytest.raises(SourceUnreadable):
        wordlist.read(tmp_path)
