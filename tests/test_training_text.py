"""The sentences that the ear was trained on are enough, of one style, and not those that it is measured on."""

from __future__ import annotations

import importlib.util
import json
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parent.parent
POOL = ROOT.parent / "shared" / "notes_pool.jsonl"


@pytest.fixture(scope="module")
def text() -> ModuleType:
    spec = importlib.util.spec_from_file_location("operative_text", ROOT / "models/training/operative_text.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["operative_text"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def sentences(text: ModuleType) -> list[str]:
    return [one.text for one in text.compose(12_500)]


def test_there_are_enough_and_each_is_another(sentences: list[str]) -> None:
    assert len({one.lower() for one in sentences}) == len(sentences) >= 12_000


def test_numbers_are_words_in_all_of_them(sentences: list[str]) -> None:
    with_digits = [one for one in sentences if re.search(r"\d", re.sub(r"\b[CLTS]\d+\b", "", one))]
    assert with_digits == []
    assert not [one for one in sentences if re.search(r"litre|metre|haem|anaesth", one)]


def test_no_five_running_words_are_those_of_an_evaluation_dictation(text: ModuleType, sentences: list[str]) -> None:
    measured = text.evaluation()
    assert len(measured) > 1000  # the dictations were found
    assert [one for one in sentences if text.runs(one) & measured] == []


@pytest.mark.skipif(not POOL.exists(), reason="the pool of notes is not there")
def test_no_sentence_is_one_of_the_pool(text: ModuleType, sentences: list[str]) -> None:
    pool: set[tuple[str, ...]] = set()
    for line in POOL.read_text(encoding="utf-8").splitlines():
        pool |= text.runs(json.loads(line)["text"], 8)
    assert [one for one in sentences if text.runs(one, 8) & pool] == []


@pytest.mark.parametrize(("value", "said"), [(48, "forty-eight"), (15, "fifteen"), (105, "one hundred five"),
                                             (4000, "four thousand"), (3240, "three thousand two hundred forty")])
def test_numbers_in_words(text: ModuleType, value: int, said: str) -> None:
    assert text.number(value) == said
