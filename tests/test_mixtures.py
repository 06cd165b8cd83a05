"""Mixtures of drugs: the volume is that of the whole, and each drug has its share of it.

The narrations are written by hand. 1 % = 10 mg/mL (drug labels); the sum of fractions of mixed local anaesthetics is a
convention [from memory]; maxima as in grammars/limits.toml (US label: lidocaine 300 mg, bupivacaine 175 mg).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from pipeline import grammar, mixtures, run, tokens
from pipeline.note import OperativeNote
from pipeline.quantities import merge


def shares(text: str, things: int = 2) -> list[Decimal] | None:
    found = mixtures.share(merge(tokens.tokenize(tokens.words_from_text(text))))
    return found.of(things) if found is not None else None


def note_of(text: str) -> OperativeNote:
    return run.make_note(run.from_text(text), grammar.load())


def told(text: str, check: str) -> list[str]:
    return [f"{one.message} {one.arithmetic}" for one in note_of(text).findings if one.check == check]


_HALF = [Decimal("0.5"), Decimal("0.5")]


@pytest.mark.parametrize("text", [
    "a 50:50 mixture", "a fifty fifty mix", "half and half", "a half and half mixture", "equal parts of the two",
    "equal volumes of both", "a one to one mix", "a 1:1 mixture", "mixed 50/50", "half lidocaine and half bupivacaine",
    "mixed one to one",
])  # fmt: skip
def test_halves(text: str) -> None:
    assert shares(text) == _HALF


def test_other_shares() -> None:
    assert shares("a 3:1 mixture") == [Decimal("0.75"), Decimal("0.25")]
    assert shares("mixed four to one") == [Decimal("0.8"), Decimal("0.2")]
    assert shares("equal parts of all three", 3) == [Decimal(1) / 3] * 3
    assert shares("a 50:50 mixture of three", 3) is None


@pytest.mark.parametrize("text", [
    "1:100,000 adrenaline", "half percent bupivacaine", "blood pressure 120/80", "one to two millilitres",
    "from two to one o'clock", "half of the wound", "lot 12-88",
])  # fmt: skip
def test_what_tells_no_share(text: str) -> None:
    assert shares(text) is None


@pytest.mark.parametrize("text", [
    "A 50:50 mixture of 2 % lidocaine and 0.5 % bupivacaine, 40 mL in all, was infiltrated. Weight 70 kg.",
    "forty mils of a one to one mix of two percent lidocaine and half percent marcaine was infiltrated weight 70 kg",
    "Half lidocaine 2 % and half bupivacaine 0.5 %, 40 mL. Weight 70 kg.",
    "40 ml 50/50 lidocaine 2%/bupivacaine 0.5% infiltrated. Weight 70 kg.",
    "lignocaine 2% and marcaine 0.5% 50:50 mix 40 ml infiltrated. Weight 70 kg.",
])  # fmt: skip
def test_each_drug_has_its_share_of_the_whole(text: str) -> None:
    volumes = [(fact.name, fact.value) for fact in note_of(text).of("medication_volume")]
    assert volumes == [("mixture", Decimal(40))]
    (lidocaine,) = told(text, "local_anaesthetic")
    assert "20 mL x 2 % = 400 mg" in lidocaine


def test_shares_go_into_the_sum_of_fractions() -> None:
    text = "40 mL of equal parts of 1 % lidocaine and 0.5 % bupivacaine was infiltrated. Weight 70 kg."
    (together,) = told(text, "local_anaesthetic")
    assert "200/300 + 100/175 = 1.238" in together
    assert not told(text.replace("40 mL", "20 mL"), "local_anaesthetic")


def test_shares_that_nobody_said_are_asked_for() -> None:
    text = "A mixture of 1 % lidocaine and 0.5 % bupivacaine, 20 mL, was injected. Weight 70 kg."
    (asked,) = told(text, "local_anaesthetic")
    assert "in what shares was not said" in asked
    assert not told(text, "missing_amount")


@pytest.mark.parametrize(("whole", "wrong"), [("20 mL in all", False), ("30 mL in all", True)])
def test_parts_of_a_mixture_against_its_total(whole: str, wrong: bool) -> None:
    text = f"A mixture of 10 mL of 1 % lidocaine and 10 mL of 0.5 % bupivacaine was injected, {whole}. Weight 70 kg."
    assert bool(told(text, "mixture_total")) is wrong
    assert not told(text, "doubtful")
