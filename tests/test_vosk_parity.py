"""The net of the shipped model, computed here from final.mdl in numpy, against what Vosk computes from the same files.

Vosk shows no posteriors, but the score of each phrase of a closed list: the best path's log-likelihood and graph
costs. Computed here with nothing of Vosk: MFCC, net, path and the costs of the list. Source of what Vosk adds
(a bigram with half its mass for pairs, graph costs weighed 0.9): language_model.cc and recognizer.cc of vosk-api.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from voice import speak

from pipeline.engines import vosk
from pipeline.sound import RATE

ROOT = Path(__file__).resolve().parent.parent
MODEL = ROOT / "models" / "vosk-small"
# Pronunciations of the CMU Pronouncing Dictionary, of words that have one only.
WAYS = {"left": "L EH F T", "right": "R AY T", "femoral": "F EH M ER AH L", "neck": "N EH K", "fifty": "F IH F T IY",
        "fifteen": "F IH F T IY N", "screws": "S K R UW Z", "no": "N OW", "known": "N OW N", "drain": "D R EY N",
        "two": "T UW", "milligrams": "M IH L AH G R AE M Z"}  # fmt: skip
LISTS = (["left femoral neck", "right femoral neck"], ["fifteen screws", "fifty screws"], ["no drain", "known drain"],
         ["two milligrams", "fifty milligrams", "left"])  # fmt: skip
# Vosk computes in 32 bits and in pieces: of scores between 50 and 200.
LIMIT = 0.05


@pytest.fixture(scope="module")
def shipped() -> ModuleType:
    spec = importlib.util.spec_from_file_location("shipped", ROOT / "models/training/shipped.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["shipped"] = module
    spec.loader.exec_module(module)
    return module


def taken_in(sound: np.ndarray) -> np.ndarray:
    """The samples that `Vosk.choose` hands to the recogniser, as 16-bit numbers."""
    tail = np.zeros(round(vosk.TAIL * RATE), np.float32)
    return (np.clip(np.concatenate([sound, tail]), -1.0, 1.0) * 32767).astype("<i2").astype("f8")


def compared(shipped: ModuleType, model: Any) -> list[tuple[str, str, float, float]]:
    """(said, phrase, score of Vosk, score computed here), of every phrase that Vosk keeps."""
    ear = vosk.load("vosk-small")
    found = []
    for listed in LISTS:
        for said in listed:
            sound = 0.5 * speak(said)
            outputs = model.outputs(taken_in(sound))
            found += [(said, one.text, one.score, model.score(outputs, one.text, WAYS, listed))
                      for one in ear.choose(sound, listed)]  # fmt: skip
    return found


def test_vosk_computes_from_the_shipped_files_what_the_net_computes(shipped: ModuleType) -> None:
    rows = compared(shipped, shipped.Shipped(MODEL))
    assert {said for said, *_ in rows} == {said for listed in LISTS for said in listed}
    assert [row for row in rows if abs(row[2] - row[3]) > LIMIT] == []


def test_the_comparison_sees_a_net_whose_phones_are_mixed_up(shipped: ModuleType) -> None:
    model = shipped.Shipped(MODEL)
    model.outputs_of = {at: (stay, first) for at, (first, stay) in model.outputs_of.items()}
    assert all(abs(row[2] - row[3]) > LIMIT for row in compared(shipped, model))


def test_vosk_prefers_what_the_net_prefers_of_all_phrases_of_a_list(shipped: ModuleType) -> None:
    model, ear = shipped.Shipped(MODEL), vosk.load("vosk-small")
    for listed in LISTS[:3]:
        for said in listed:
            sound = 0.5 * speak(said)
            outputs = model.outputs(taken_in(sound))
            scores = {phrase: model.score(outputs, phrase, WAYS, listed) for phrase in listed}
            assert ear.choose(sound, listed)[0].text == max(scores, key=lambda phrase: scores[phrase])


def test_the_cost_of_a_closed_list_is_reckoned_alike(shipped: ModuleType) -> None:
    for listed in (*LISTS, ["at fifteen", "at fifty", "[unk]"]):
        for text in (*listed, f"{listed[0]} {listed[1]}"):
            assert vosk.list_cost(text.split(), listed) == pytest.approx(shipped.list_cost(text, listed))
    # By hand: of "at fifteen", "at fifty" and their two ends, "at" is 2 of 6; half of it, "fifteen" follows in half of
    # the cases, half of that, then its end for sure, half of that.
    wanted = -np.log(0.5 * 2 / 6 * 0.5 * 0.5 * 0.5)
    assert vosk.list_cost(["at", "fifteen"], ["at fifteen", "at fifty"]) == pytest.approx(wanted)


def test_features_are_those_that_kaldi_documents(shipped: ModuleType) -> None:
    # Worked by hand: a sound of zeros has the floor of 32-bit numbers in each of 40 bands, whose cosine transform is
    # sqrt(40) * log(2 ** -23) in the first place and nothing else.
    rows = shipped.mfcc(np.zeros(560))
    assert rows.shape == (2, 40)
    assert rows[:, 0] == pytest.approx(np.sqrt(40) * np.log(2.0**-23))
    assert np.abs(rows[:, 1:]).max() < 1e-3
