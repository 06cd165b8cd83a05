"""What the words around a fact leave open is told on it; what they settle is not."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from cases_runner import facts_of
from reading_of import read

from pipeline import grammar, run, unsure
from pipeline.records import Evidence, Fact, Reading, Scope

_STREAM = " near the fold of the skin" * 8  # speech without full stops is longer than forty tokens


def _doubts(
    said: str, kind: str, heard: str, scope: tuple[str, str, str] | None = None, **fields: Any
) -> list[str]:
    """The doubts of one fact on the words `heard` of what was said. `scope`: (value, first word, last word) of the
    only scope of its sentence."""
    reading = read(said)
    words = [word.text for word in reading.words]
    wanted = heard.split()
    at = next(n for n in range(len(words)) if words[n : n + len(wanted)] == wanted)
    evidence = Evidence(at, at + len(wanted) - 1, None, None, heard)
    if scope is not None:
        value, first, last = scope
        begin, end = words.index(first), words.index(last)
        axis = "certainty" if value in ("negated", "suspected") else "status"
        reading = Reading(reading.words, tuple(
            replace(one, scopes=tuple(
                Scope(axis, value, low, high, "not-done")  # type: ignore[arg-type]
                for low in [next((n for n, token in enumerate(one.tokens) if token.first == begin), None)]
                for high in [next((n for n, token in enumerate(one.tokens) if token.last == end), None)]
                if low is not None and high is not None
            )) for one in reading.sentences
        ))  # fmt: skip
    (fact,) = unsure.doubt([Fact(kind, evidence, **fields)], reading, grammar.load())
    assert all(doubt.startswith(unsure.LEAD) for doubt in fact.doubts)
    return [doubt.removeprefix(unsure.LEAD) for doubt in fact.doubts]


def _amount(number: str, unit: str | None = "mm") -> dict[str, Any]:
    return {"value": Decimal(number), "unit": unit}


@pytest.mark.parametrize(
    ("text", "kind", "heard", "fields", "part"),
    [
        ("Ductotomy 12 mm, balloon up to 10.", "device_size", "12 mm, balloon",
         {"name": "balloon", **_amount("12")}, "'Ductotomy'"),
        ("The scarf was shifted 7 mm, 2 screws went in.", "device_size", "7 mm, 2 screws",
         {"name": "screw", **_amount("7")}, "shifted"),
        ("The trocar 14 mm below the joint line.", "device_size", "trocar 14 mm",
         {"name": "trocar", **_amount("14")}, "a distance"),
        ("Adrenaline was mixed in and the lipoaspirate sedimented 300 mL of it.", "medication_volume",
         "Adrenaline was mixed in and the lipoaspirate sedimented 300 mL",
         {"name": "adrenaline", **_amount("300", "mL")}, "stands between"),
    ],
)  # fmt: skip
def test_a_number_beside_something_else(text: str, kind: str, heard: str, fields: dict[str, Any], part: str) -> None:
    (doubt,) = _doubts(text, kind, heard, **fields)
    assert part in doubt


@pytest.mark.parametrize(
    ("text", "kind", "heard", "fields"),
    [
        ("A 12 mm balloon was used.", "device_size", "12 mm balloon", {"name": "balloon", **_amount("12")}),
        ("The screw was 40 mm.", "device_size", "screw was 40 mm.", {"name": "screw", **_amount("40")}),
        ("The tip 5 mm from the bone.", "measurement", "5 mm from the bone.", {"name": "size", **_amount("5")}),
        ("Two double loaded anchors.", "device_count", "Two double loaded anchors.",
         {"name": "anchor", **_amount("2", None)}),
        ("Ropivacaine 0.2 % each side 20 mL.", "medication_volume", "Ropivacaine 0.2 % each side 20 mL.",
         {"name": "ropivacaine", **_amount("20", "mL")}),
    ],
)  # fmt: skip
def test_a_number_beside_its_own(text: str, kind: str, heard: str, fields: dict[str, Any]) -> None:
    assert _doubts(text, kind, heard, **fields) == []


DENIED = {"certainty": "negated"}


def test_an_amount_that_is_denied_without_full_stops() -> None:
    text = "the drain was not needed cefazolin two grams" + _STREAM
    told = _doubts(text, "medication_dose", "cefazolin two grams", ("negated", "not", "grams"),
                   name="cefazolin", value=Decimal(2), unit="g", **DENIED)  # fmt: skip
    assert [one.partition(" of ")[0] for one in told] == ["taken as not done by words that may be"]
    (drug,) = _doubts(text, "medication", "cefazolin", ("negated", "not", "cefazolin"), name="cefazolin", **DENIED)
    assert drug == "taken as not given, though an amount is told ('two grams')"


def test_an_amount_that_is_denied_right_behind() -> None:
    text = "flucloxacillin one gram was drawn up and not given" + _STREAM
    assert _doubts(text, "medication_dose", "flucloxacillin one gram", ("negated", "flucloxacillin", "given"),
                   name="flucloxacillin", value=Decimal(1), unit="g", **DENIED) == []  # fmt: skip


def test_an_order_is_planned() -> None:
    text = "paracetamol one gram four times a day" + _STREAM
    assert _doubts(text, "medication_dose", "paracetamol one gram", ("planned", "paracetamol", "day"),
                   name="paracetamol", value=Decimal(1), unit="g", status="planned") == []  # fmt: skip


def test_a_plan_beside_and_a_plan_apart() -> None:
    beside = "a cholangiogram had been planned" + _STREAM
    planned: dict[str, Any] = {"name": "intraoperative-cholangiogram", "status": "planned"}
    assert _doubts(beside, "procedure", "cholangiogram", ("planned", "a", "planned"), **planned) == []
    apart = "the plan was a drain and then a mesh and the cholangiogram showed no stone" + _STREAM
    (doubt,) = _doubts(apart, "procedure", "cholangiogram", ("planned", "plan", "cholangiogram"), **planned)
    assert doubt.startswith("taken as planned by words that may be of '")


@pytest.mark.parametrize(
    ("status", "certainty", "sure"),
    [("historical", "negated", False), ("planned", "negated", False), ("conditional", "suspected", True),
     ("historical", "affirmed", True)],
)  # fmt: skip
def test_two_states_at_once(status: str, certainty: str, sure: bool) -> None:
    told = _doubts("Mitral repair was thought of.", "procedure", "Mitral repair", name="mitral-valve-repair",
                   status=status, certainty=certainty)  # fmt: skip
    assert (told == []) is sure


def test_no_previous_operations_is_one_state() -> None:
    told = _doubts("No previous operations.", "history", "previous operations.", text="previous operations",
                   status="historical", certainty="negated")  # fmt: skip
    assert told == []


def test_a_position_is_told_to_be_the_one() -> None:
    (doubt,) = _doubts("Lateral no supine.", "position", "supine.", name="supine", certainty="negated")
    assert "another position" in doubt


@pytest.mark.parametrize(
    ("text", "kind", "heard", "fields", "part"),
    [
        ("5 bands planned; lunch.", "device_count", "5 bands", {"name": "band", **_amount("5", None)}, "'planned'"),
        ("Knee. Arthrodesis of the wrist postponed.", "procedure", "Arthrodesis of the wrist", {"name": "arthrodesis"},
         "'postponed'"),
        ("Hernia. Mesh repair mooted.", "procedure", "Mesh repair", {"name": "hernia-repair"}, "'mooted'"),
        ("Knee arthroscopy. Warfarin - for AF.", "medication", "Warfarin", {"name": "warfarin"}, "nobody said"),
        ("Wrist. Either a pin or wire 2 mm.", "device_size", "wire 2 mm.", {"name": "k-wire", **_amount("2")}, "'or'"),
        ("Stent 7 Fr would not pass.", "device_size", "Stent 7 Fr", {"name": "stent", **_amount("7", "[Ch]")},
         "'would not'"),
        ("Block mepi 1 % in the axilla.", "measurement", "Block mepi 1 %", {"text": "mepi", **_amount("1", "%")},
         "strength"),
        ("Oxytocin as a bolus then 300 mL slowly.", "medication_volume", "Oxytocin as a bolus then 300 mL",
         {"name": "oxytocin", **_amount("300", "mL")}, "'then'"),
        ("Knee arthroscopy. Her uncle: psoriasis.", "diagnosis", "psoriasis.", {"name": "psoriasis"}, "somebody else"),
    ],
)  # fmt: skip
def test_what_was_perhaps_not_so(text: str, kind: str, heard: str, fields: dict[str, Any], part: str) -> None:
    (doubt,) = _doubts(text, kind, heard, **fields)
    assert part in doubt


@pytest.mark.parametrize(
    ("text", "kind", "heard", "fields"),
    [
        ("5 bands were placed.", "device_count", "5 bands", {"name": "band", **_amount("5", None)}),
        ("Hernia. Mesh repair done.", "procedure", "Mesh repair", {"name": "hernia-repair"}),
        ("Knee arthroscopy. Tranexamic acid was given.", "medication", "Tranexamic acid", {"name": "tranexamic-acid"}),
        ("GA, remifentanil.", "medication", "remifentanil.", {"name": "remifentanil"}),
    ],
)  # fmt: skip
def test_what_was_done(text: str, kind: str, heard: str, fields: dict[str, Any]) -> None:
    assert _doubts(text, kind, heard, **fields) == []


def test_a_side_that_was_passed_over() -> None:
    text = "the left ovary had a cyst right ovary normal"
    (doubt,) = _doubts(text, "finding", "cyst", name="cyst", laterality="right")
    assert doubt == "'left' is said right before it, and it was read as right"
    assert _doubts(text, "finding", "cyst", name="cyst", laterality="left") == []
    assert _doubts("Pain on the right; arthritis left.", "finding", "arthritis", name="x", laterality="left") == []


def test_a_doubt_is_told_once_and_quietly() -> None:
    note = run.note_from_text("Knee arthroscopy. Warfarin - for AF. Her father had psoriasis.", name="warfarin")
    doubted = [fact for fact in note.facts if any(doubt.startswith(unsure.LEAD) for doubt in fact.doubts)]
    assert doubted
    told = [one for one in note.findings if one.check == "doubtful" and unsure.LEAD.rstrip("; ") in one.message]
    assert {one.severity for one in told} == {"note"}
    known = replace(doubted[0], doubts=("another reason",))
    assert unsure.doubt([known], read("Warfarin - for AF."), grammar.load()) == [known]


@pytest.mark.parametrize(
    "said",
    [
        "Lumbar fusion. A breach was suspected and excluded a dural tear on the left was repaired with prolene.",
    ],
)
def test_what_is_denied_and_was_mended_is_in_doubt(said: str) -> None:
    """Common English usage, no source: in a stream "no" may have been of what was said before."""
    denied = [one for one in facts_of(said) if one.name == "dural-tear"]
    assert [(one.certainty, bool(one.doubts)) for one in denied] == [("negated", True)]


def test_what_was_not_there_to_be_removed_is_denied_without_a_doubt() -> None:
    facts = facts_of("Right knee arthroscopy. No loose bodies of any size were removed.")
    denied = [one for one in facts if one.kind == "finding"]
    assert [(one.certainty, one.doubts) for one in denied] == [("negated", ())]
