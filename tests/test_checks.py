"""Every check has cases that fire and cases that stay silent; a case is a list of facts, so no extractor is needed.

A case file holds `source` (where its numbers are from), `facts`, and optionally `profile`, `family`, `made_at`,
`recording` (fields of the source: notices, dropped words ...), `said` (sentences with numbers and sides unplaced)
and `expect` (a list: each item's `severity` is equal to, its `arithmetic`, `message`, `ask` are part of, those of one
finding of the check).
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline import grammar, plugins
from pipeline.checking import reopen, run_checks, settle, signout
from pipeline.conversion import convertible
from pipeline.errors import BadDecision
from pipeline.limits import elements
from pipeline.note import OperativeNote, Passage, SaidSide, Sections, Signature, Source
from pipeline.records import Evidence, Fact, Finding, Revision
from pipeline.rows import Limit

CASES = Path(__file__).parent / "cases" / "checks"
FILES = sorted(CASES.glob("*/*.toml"))
_DECIMALS = ("value", "low", "high")


def fact(index: int, fields: dict[str, Any]) -> Fact:
    """A fact from a case file: numbers are decimal strings; its first word is `at`, else ten times its place."""
    fields = dict(fields)
    for name in _DECIMALS:
        if name in fields:
            fields[name] = Decimal(fields[name])
    for name in ("alternatives", "doubts"):
        if name in fields:
            fields[name] = tuple(fields[name])
    heard = fields.pop("heard", fields.get("text") or str(fields.get("value", fields.get("name", "said"))))
    struck = fields.pop("taken_back", None)
    if struck is not None:
        fields["taken_back"] = (Evidence(10 * index + 5, 10 * index + 6, None, None, struck),)
    fields.setdefault("id", f"f{index:03d}")
    confidence = fields.pop("confidence", None)
    place = fields.pop("at", 10 * index)
    return Fact(evidence=Evidence(place, place + 2, None, None, heard, confidence), **fields)


def note_of(facts: list[Fact], **fields: Any) -> OperativeNote:
    fields.setdefault("profile", "us")
    fields.setdefault("made_at", "2026-03-02T10:00:00+00:00")
    passages = [
        Passage(
            text=one["text"], evidence=Evidence(one["first"], one["last"], None, None, one["text"]),
            section=one.get("section", ""),
            unplaced=[Evidence(start=None, end=None, **piece) for piece in one.get("unplaced", ())],
            sides=[
                SaidSide(side=piece["side"], site=piece.get("site", ""),
                         evidence=Evidence(piece["first"], piece["last"], None, None, piece["heard"]))
                for piece in one.get("sides", ())
            ],
        )
        for one in fields.pop("said", ())
    ]  # fmt: skip
    source = {"kind": "text", "name": "case", "sha256": "0" * 64, "engine": "typed", **fields.pop("recording", {})}
    return OperativeNote(
        id="case",
        source=Source(**source),
        facts=facts,
        sections=Sections(description=passages),
        **fields,
    )


def findings(check: str, facts: list[dict[str, Any]], **fields: Any) -> list[Finding]:
    """What one check says about a list of facts."""
    note = note_of([fact(index, fields) for index, fields in enumerate(facts, 1)], **fields)
    return list(plugins.find("pipeline.checks", check).check(note, grammar.load()))


def read(path: Path) -> tuple[dict[str, Any], list[Finding]]:
    case = tomllib.loads(path.read_text(encoding="utf-8"))
    fields = {key: case[key] for key in ("profile", "family", "made_at", "recording", "said") if key in case}
    return case, findings(path.parent.name, case["facts"], **fields)


def test_checks_and_case_folders_are_the_same_set() -> None:
    assert {folder.name for folder in CASES.iterdir()} == set(plugins.names("pipeline.checks"))


@pytest.mark.parametrize("name", plugins.names("pipeline.checks"))
def test_each_check_says_what_it_means_and_has_both_sorts_of_case(name: str) -> None:
    module = plugins.find("pipeline.checks", name)
    assert module.MEANING.endswith(".")
    assert len(module.MEANING) > 30
    names = [file.name for file in FILES if file.parent.name == name]
    assert any(one.startswith("fires-") for one in names)
    assert any(one.startswith("silent-") for one in names)


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_case(path: Path) -> None:
    case, found = read(path)
    assert case["source"]
    if path.name.startswith("silent-"):
        assert found == []
        return
    assert path.name.startswith("fires-"), "a case file is called fires-* or silent-*"
    wanted = case["expect"]
    assert len(found) == len(wanted), found
    for want in wanted:
        assert any(_meets(one, want) for one in found), (want, found)
    for one in found:
        assert one.check == path.parent.name
        assert one.key.startswith(one.check)
        assert one.message.endswith(".")
        assert one.ask.endswith((".", "?"))


def _meets(one: Finding, want: dict[str, str]) -> bool:
    return one.severity == want["severity"] and all(
        want[part] in getattr(one, part) for part in ("message", "arithmetic", "ask") if part in want
    )


# --- running all checks, decisions, the sign-out ---------------------------------------------------------------------

_OFF = [{"kind": "draw", "value": value, "unit": "mL"} for value in ("5", "5", "4", "5")] + [
    {"kind": "harvest_total", "value": "20", "unit": "mL"},
    {"kind": "injection_volume", "value": "6", "unit": "mL"},
]


def _note(facts: list[dict[str, Any]], **fields: Any) -> OperativeNote:
    return note_of([fact(index, one) for index, one in enumerate(facts, 1)], **fields)


def _run(note: OperativeNote, check: str) -> list[Finding]:
    return [one for one in run_checks(note, grammar.load()) if one.check == check]


def test_findings_are_sorted_worst_first_and_the_same_every_time() -> None:
    note = _note([*_OFF, {"kind": "count", "text": "incorrect"}, {"kind": "blood_loss", "value": "5", "unit": "mm"}])
    found = run_checks(note, grammar.load())
    order = [("blocking", "warning", "note").index(one.severity) for one in found]
    assert order == sorted(order)
    assert {"units", "count_result"} == {one.check for one in found if one.severity == "blocking"}
    assert found == run_checks(note, grammar.load())
    assert len({one.key for one in found}) == len(found)


def _checked(note: OperativeNote) -> OperativeNote:
    return note.model_copy(update={"findings": run_checks(note, grammar.load())})


def _decided(note: OperativeNote, *decisions: Revision) -> Finding:
    """The finding on the draws, with these decisions recorded."""
    (after,) = _run(note.model_copy(update={"decisions": list(decisions)}), "draw_total")
    return after


_HARPER = {"by": "Dr Harper", "at": "2026-03-02T11:00:00+00:00"}


def test_a_decision_with_a_reason_settles_a_finding_and_keeps_it() -> None:
    note = _checked(_note(_OFF))
    (before,) = _run(note, "draw_total")
    after = _decided(note, settle(note, before.key, reason="one draw was thrown away", **_HARPER))
    assert before.settled == ""
    assert after.settled == "one draw was thrown away"
    assert after.arithmetic == before.arithmetic
    by_slug = settle(note, "draw-total", reason="one draw was thrown away", **_HARPER)
    assert by_slug.target == before.key


@pytest.mark.parametrize(
    ("key", "reason", "by", "says"),
    [
        ("draw-total", "  ", "Dr Harper", "reason"),
        ("draw-total", "counted again", " ", "named"),
        ("side-conflict", "counted again", "Dr Harper", "no longer stands"),
    ],
)
def test_what_settles_nothing(key: str, reason: str, by: str, says: str) -> None:
    note = _checked(_note(_OFF))
    with pytest.raises(BadDecision, match=says):
        settle(note, key, by=by, at=_HARPER["at"], reason=reason)
    (before,) = _run(note, "draw_total")
    assert _decided(note, Revision(target=before.key, action="settle", **_HARPER)).settled == ""


def test_nothing_is_decided_on_a_signed_note() -> None:
    note = _checked(_note(_OFF))
    signed = note.model_copy(update={"signature": Signature(by="Dr Harper", at=_HARPER["at"], statement="read")})
    with pytest.raises(BadDecision, match="signed"):
        settle(signed, "draw-total", reason="one draw was thrown away", **_HARPER)


def test_a_decision_does_not_outlive_the_sum_that_it_was_about() -> None:
    note = _checked(_note(_OFF))
    (before,) = _run(note, "draw_total")
    decision = settle(note, before.key, reason="one draw was thrown away", **_HARPER)
    changed = [{**one, "value": "30"} if one["kind"] == "harvest_total" else one for one in _OFF]
    (after,) = _run(_note(changed, decisions=[decision]), "draw_total")
    assert after.key == before.key
    assert after.settled == ""


def test_asking_again_or_reopening_takes_a_decision_back() -> None:
    note = _checked(_note(_OFF))
    decision = settle(note, "draw-total", reason="counted again", **_HARPER)
    asked = Revision(target=decision.target, action="ask", by="Dr Mason", at="2026-03-02T12:00:00+00:00")
    assert _decided(note, decision, asked).settled == ""
    held = note.model_copy(update={"decisions": [decision]})
    back = reopen(held, "draw-total", reason="miscounted", **_HARPER)
    assert back.before == "counted again"
    assert _decided(note, decision, back).settled == ""
    assert _decided(note, decision, back, decision).settled == "counted again"
    with pytest.raises(BadDecision, match="No decision"):
        reopen(note, "draw-total", reason="miscounted", **_HARPER)


def test_signout_tells_said_not_said_and_none() -> None:
    note = _note(
        [
            {"kind": "procedure", "name": "ankle-arthroscopy", "laterality": "left"},
            {"kind": "specimen", "text": "none", "certainty": "negated"},
            {"kind": "blood_loss", "text": "minimal"},
        ],
        family="ankle-arthroscopy",
    )
    state = {item.element.id: item.state for item in signout(note, grammar.load())}
    assert (state["procedure"], state["specimens"], state["blood_loss"]) == ("said", "none", "said")
    assert state["complications"] == state["counts"] == state["position"] == "not said"
    facts = {item.element.id: item.facts for item in signout(note, grammar.load())}
    assert facts["procedure"] == ("f001",)


def test_one_complication_denied_leaves_the_question_open() -> None:
    def state(**fields: str) -> str:
        note = _note([{"kind": "complication", **fields}])
        return {item.element.id: item.state for item in signout(note, grammar.load())}["complications"]

    assert state(name="dural-tear", certainty="negated") == "not said"
    assert state(name="none", certainty="negated") == "none"
    assert state(name="dural-tear") == "said"


def test_medicines_to_take_at_home_are_aftercare() -> None:
    drops = {"kind": "medication", "name": "prednisolone", "role": "aftercare", "status": "planned"}
    note = _note([drops], family="eye")
    state = {item.element.id: item.state for item in signout(note, grammar.load())}
    assert state["aftercare"] == "said"


@pytest.mark.parametrize(
    ("profile", "element", "required"),
    [  # the table of required elements: HL7 C-CDA Operative Note, Joint Commission FAQ, CMS A-0959, RCS England
        ("hl7-operative-note", "blood_loss", True),
        ("hl7-operative-note", "specimens", True),
        ("hl7-operative-note", "complications", True),
        ("hl7-operative-note", "implants", False),
        ("joint-commission", "blood_loss", False),
        ("joint-commission", "findings", True),
        ("joint-commission", "preop_diagnosis", None),
        ("cms", "preop_diagnosis", True),
        ("cms", "complications", False),
        ("rcs-england", "anaesthetist", True),
        ("rcs-england", "urgency", True),
        ("us", "blood_loss", True),
        ("uk", "counts", True),
    ],
)
def test_profiles_hold_what_their_sources_ask(profile: str, element: str, required: bool | None) -> None:
    found = {one.id: not one.if_any for one in elements(grammar.load(), profile)}
    assert found.get(element) is required


def test_every_limit_has_a_source_and_a_known_profile_drug_and_kind() -> None:
    rules = grammar.load()
    for row in rules.table("limits", Limit).values():
        assert row.source
        assert row.profile == "" or row.profile in rules.tables["profiles"], row.id
        assert row.drug == "" or row.drug in rules.tables["drugs"], row.id
        assert row.kind == "" or row.kind in rules.tables["kinds"], row.id
        assert row.unit == "" or convertible(row.unit, row.unit), row.id


# --- whatever the numbers --------------------------------------------------------------------------------------------

_ML = st.decimals(min_value="0.5", max_value="30", places=1)


@settings(deadline=None)
@given(st.lists(_ML, min_size=2, max_size=8), st.decimals(min_value="0.1", max_value="50", places=1), st.booleans())
def test_a_total_that_is_off_is_always_caught_and_a_right_one_never_flagged(
    values: list[Decimal], off: Decimal, litres: bool
) -> None:
    right = sum(values, Decimal(0))
    for total, expected in ((right, 0), (right + off, 1)):
        said = {"value": str(total / 1000), "unit": "L"} if litres else {"value": str(total), "unit": "mL"}
        facts = [{"kind": "draw", "value": str(value), "unit": "mL"} for value in values]
        assert len(findings("draw_total", [*facts, {"kind": "harvest_total", **said}])) == expected


@settings(deadline=None)
@given(
    st.decimals(min_value="0.1", max_value="4", places=2),
    st.decimals(min_value="1", max_value="60", places=1),
    st.sampled_from(["1.1", "0.9", "10", "0.1", "2"]),
)
def test_a_dose_that_is_not_strength_times_volume_is_always_caught(
    percent: Decimal, volume: Decimal, factor: str
) -> None:
    # 1 % = 10 mg/mL (labels; Medscape)
    right = percent * 10 * volume
    for milligrams, expected in ((right, 0), (right * Decimal(factor), 1)):
        facts = [
            {"kind": "medication_concentration", "name": "lidocaine", "value": str(percent), "unit": "%", "group": "g"},
            {"kind": "medication_volume", "name": "lidocaine", "value": str(volume), "unit": "mL", "group": "g"},
            {"kind": "medication_dose", "name": "lidocaine", "value": str(milligrams), "unit": "mg", "group": "g"},
        ]
        assert len(findings("dose_arithmetic", facts)) == expected


@settings(deadline=None)
@given(st.integers(0, 1439), st.integers(1, 119), st.integers(2, 60))
def test_tourniquet_times_agree_at_any_hour(start: int, minutes: int, off: int) -> None:
    clock = [f"{moment // 60:02d}:{moment % 60:02d}" for moment in (start, (start + minutes) % 1440)]
    marks = [
        {"kind": "clock_time", "name": name, "text": text}
        for name, text in zip(("tourniquet_up", "tourniquet_down"), clock, strict=True)
    ]
    for said, expected in ((minutes, 0), (minutes + off, 1)):
        total = {"kind": "tourniquet_time", "value": str(said), "unit": "min"}
        found = findings("tourniquet_times", [*marks, total])
        assert len([one for one in found if "total" in one.key]) == expected


_TEXTS = ["none", "same", "08:15", "23:50", "L4-L5", "2026-02", "III", ""]
_UNITS = ["mL", "mg", "%", "cm", "min", "kg", "[USP'U]", "?", "mg/mL"]


@st.composite
def _any_facts(draw: st.DrawFn) -> list[Fact]:
    rules = grammar.load()
    kinds = sorted(rules.tables["kinds"])
    made: list[Fact] = []
    for index in range(1, draw(st.integers(1, 12)) + 1):
        kind = draw(st.sampled_from(kinds))
        table = sorted(rules.tables.get(getattr(rules.row("kinds", kind), "table", ""), {}) or {"x": None})
        number = st.one_of(st.none(), st.decimals(allow_nan=False, allow_infinity=False, min_value=0, max_value=10**6))
        fields: dict[str, Any] = {
            "name": draw(st.one_of(st.none(), st.sampled_from(table))),
            "text": draw(st.one_of(st.none(), st.sampled_from(_TEXTS))),
            "unit": draw(st.one_of(st.none(), st.sampled_from(_UNITS))),
            "laterality": draw(st.sampled_from([None, "left", "right", "bilateral"])),
            "status": draw(st.sampled_from(["performed", "planned", "conditional", "historical"])),
            "certainty": draw(st.sampled_from(["affirmed", "negated", "suspected"])),
            "role": draw(st.sampled_from([None, "anticoagulant", "prepared", "explanted", "implanted"])),
            "scale": draw(st.sampled_from([None, "each", "per_side", "total"])),
            "comparator": draw(st.sampled_from([None, "<", ">", "~"])),
            "group": draw(st.sampled_from([None, "g1", "g2"])),
        }
        value = draw(number)
        if draw(st.booleans()):
            fields["value"] = value
        elif value is not None:
            fields["low"], fields["high"] = value, value + 1
        made.append(replace(fact(index, {"kind": kind}), **fields))
    return made


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_any_facts(), st.sampled_from(["us", "uk", "joint-commission", "cms", "hl7-operative-note", "rcs-england"]))
def test_no_note_breaks_a_check_and_no_check_changes_a_fact(facts: list[Fact], profile: str) -> None:
    note = note_of(facts, profile=profile)
    before = note.model_dump()
    found = run_checks(note, grammar.load())
    assert note.model_dump() == before
    known = {one.id for one in facts}
    for one in found:
        assert set(one.facts) <= known
        assert one.check in plugins.names("pipeline.checks")
        assert one.message
        assert one.ask
