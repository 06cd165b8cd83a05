"""What is asked of the team is no value; what is answered is. Dialogues of our own: common practice, no source."""

from __future__ import annotations

import pytest

from pipeline.records import Sentence
from pipeline.tokens import words_from_text
from pipeline.utterances import read

# (said, what stands, what was taken back)
ANSWERED = [
    (
        "twelve litres of saline went through sister was that twelve no doctor it was nine",
        "nine of saline went through",
        ["twelve litres"],
    ),
    ("we gave five mils sister was it five or six it was six", "we gave six", ["five mils"]),
    ("sister did we use three sutures no four", "four sutures", ["three"]),
    ("nurse was that two grams of cefazolin yes", "two grams of cefazolin yes", []),
    (
        "forty milligrams of triamcinolone nurse is that the forty or the eighty vial it is the forty",
        "forty milligrams of triamcinolone",
        [],
    ),
]


def of_text(text: str) -> list[Sentence]:
    return read(words_from_text(text))


@pytest.mark.parametrize(("text", "stands", "back"), ANSWERED, ids=lambda item: str(item)[:40])
def test_an_answer_holds(text: str, stands: str, back: list[str]) -> None:
    sentences = of_text(text)
    assert " / ".join(" ".join(token.text for token in one.tokens) for one in sentences) == stands
    assert [strike.taken_back.heard for one in sentences for strike in one.strikes if strike.clear] == back


def test_the_answer_takes_the_unit_that_was_said() -> None:
    (sentence,) = of_text("twelve litres went through sister was that twelve no doctor it was nine")
    quantity = sentence.tokens[0].quantity
    assert quantity is not None
    assert (str(quantity.value), quantity.unit) == ("9", "L")


def test_what_nobody_answers_is_in_doubt() -> None:
    (sentence,) = of_text("okay is that ten mils")
    assert [token.quantity.doubts for token in sentence.tokens if token.quantity is not None] == [
        ("asked, and no answer was heard",)
    ]


TOLD = ["the tear is that of two centimetres", "the pressure was that high two hours later", "it was it is five mils"]


@pytest.mark.parametrize("text", TOLD)
def test_what_is_told_asks_nothing(text: str) -> None:
    (sentence,) = of_text(text)
    assert not sentence.strikes
    assert not [token for token in sentence.tokens if token.quantity is not None and token.quantity.doubts]
