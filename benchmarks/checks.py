"""How good are the checks? Errors planted in correct narrations: caught, missed, and false alarms.

    python benchmarks/checks.py [--errors] [--seeds N] [--only KIND]

Correct narrations are the scenarios of checks_scenarios.py (spoken and typed, several seeds), those of tests/gold/
whose truth expects no finding, and those of checks_clean.toml, told freely. Every narration goes through the whole way
from text to findings. One error of each kind is planted in each narration that has the place for it; it is caught if
one of the checks named for that kind says something that it did not say of the correct narration. Blocking findings and
warnings on a correct narration are false alarms, unless the truth of tests/gold/ lists them; for elements that were
never said the truth decides whether they were. `--errors` prints what was missed and the false alarms, of the test part
of tests/gold their number only.
"""

from __future__ import annotations

import argparse
import random
import sys
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from checks_scenarios import SCENARIOS, Scenario, Slots, clock, render

from pipeline import grammar, run
from pipeline.note import OperativeNote
from pipeline.records import Finding
from pipeline.rows import Element

GOLD = Path(__file__).resolve().parent.parent / "tests" / "gold"
CLEAN = Path(__file__).resolve().parent / "checks_clean.toml"
TOLD = Path(__file__).resolve().parent / "checks_told.toml"
MADE_AT = "2026-03-02T18:00:00+00:00"
CAUGHT_TARGET, ALARM_TARGET = 0.95, 2.0
ASKED = frozenset({"completeness", "family_elements"})


@dataclass(frozen=True)
class Error:
    """One kind of planted error. `change`: correct slots -> changed slots, None where there is no place for it.

    `contradicts`: whether something else that was said is contradicted (the target holds for these); the others
    are implausible by themselves or leave something out. `checks`: who should say so.
    """

    kind: str
    checks: tuple[str, ...]
    change: Callable[[Slots], Slots | None]
    contradicts: bool = True


def swap(*keys: str) -> Callable[[Slots], Slots | None]:
    """The first of these slots that is there says the other side."""

    def change(slots: Slots) -> Slots | None:
        key = next((one for one in keys if one in slots), None)
        return None if key is None or "{" + key + "}" not in str(slots["template"]) else {
            key: "right" if slots[key] == "left" else "left"}  # fmt: skip

    return change


def put(**values: object) -> Callable[[Slots], Slots | None]:
    """Slots set to fixed values, where the narration has all of them."""
    return lambda slots: dict(values) if all("{" + key + "}" in str(slots["template"]) for key in values) else None


def work(key: str, sum_: Callable[[object], object]) -> Callable[[Slots], Slots | None]:
    """One slot worked out from its right value."""
    return lambda slots: {key: sum_(slots[key])} if "{" + key + "}" in str(slots["template"]) else None


def at(key: str, other: str, minutes: int) -> Callable[[Slots], Slots | None]:
    """A time of day set so many minutes after another one."""

    def change(slots: Slots) -> Slots | None:
        if "{" + key + "}" not in str(slots["template"]):
            return None
        hour, minute = (int(part) for part in str(slots[other]).split(":"))
        return {key: clock(hour * 60 + minute + minutes)}

    return change


def _other(value: object, choices: tuple[str, ...]) -> str:
    return next(one for one in choices if one != value)


DIGITS = ("ring finger", "middle finger", "index finger")
ERRORS = (
    Error("side of the diagnosis", ("side_conflict",), swap("side_dx")),
    Error("side at the time-out", ("side_conflict",), swap("side_time_out")),
    Error("side of the preparation", ("side_conflict",), swap("side_prep")),
    Error("side of the injection", ("side_conflict",), swap("side_inject")),
    Error("side of the finding", ("side_conflict",), swap("side_post")),
    Error("side of the procedure", ("side_conflict",), swap("side")),
    Error("draw 15 for 5 (one draw off)", ("draw_total",), work("draw2", lambda v: int(str(v)) + 10)),
    Error("total of the draws off", ("draw_total",), work("total", lambda v: int(str(v)) + 3)),
    Error("number of draws off", ("draw_total",), put(draw_count=5)),
    Error("total of the injections off", ("injection_total",), put(injected_total=8)),
    Error("more injected than made", ("injection_total",), put(injected1=40, injected_total=42)),
    Error("more made than drawn", ("harvest_balance",), put(product=90)),
    Error("heparin dose off", ("dose_arithmetic",), put(heparin_dose=4000)),
    Error("heparin in milligrams", ("drug_dose", "units"), put(u_heparin="milligrams")),
    Error("dose of the block 15 for 50", ("dose_arithmetic",), work("la_dose", lambda v: Decimal(str(v)) * 3 / 10)),
    Error("dose of the block ten times", ("dose_arithmetic",), work("la_dose", lambda v: Decimal(str(v)) * 10)),
    Error("strength of the block ten times", ("dose_arithmetic", "drug_strength", "local_anaesthetic"),
          work("la_percent", lambda v: Decimal(str(v)) * 10)),
    Error("volume of the block swapped", ("dose_arithmetic",), work("la_volume", lambda v: int(str(v)) + 15)),
    Error("dose of the block in millilitres", ("units", "local_anaesthetic", "plausible", "dose_arithmetic"),
          put(u_la_dose="millilitres")),
    Error("per side against total", ("parts_and_total",), work("la_both", lambda v: int(str(v)) + 5)),
    Error("tourniquet total off", ("tourniquet_times",), work("tourniquet", lambda v: int(str(v)) + 10)),
    Error("tourniquet down before up", ("time_order", "tourniquet_times"), at("t_down", "t_up", -20)),
    Error("closure before incision", ("time_order",), at("t_closure", "t_incision", -15)),
    Error("out of the room before closure", ("time_order",), at("t_out", "t_closure", -12)),
    Error("antibiotic after incision", ("prophylaxis_window", "time_order"), at("t_antibiotic", "t_incision", 8)),
    Error("irrigation deficit off", ("irrigation_deficit",), work("deficit", lambda v: int(str(v)) + 500)),
    Error("screws off", ("parts_and_total",), work("screws", lambda v: int(str(v)) + 1)),
    Error("anchors off", ("parts_and_total",), work("anchors", lambda v: int(str(v)) + 1)),
    Error("fluids off", ("parts_and_total",), work("fluid", lambda v: int(str(v)) + 250)),
    Error("three times four for fourteen", ("parts_and_total", "injection_total"), put(needle_total=14)),
    Error("another number of needles", ("parts_and_total", "injection_total"), put(needles=5)),
    Error("six screws, five lengths", ("listed_count", "parts_and_total"),
          work("screw_list", lambda v: str(v).split(", ", 1)[1])),
    Error("five screws, six lengths", ("listed_count", "parts_and_total"), put(screw_count=5)),
    Error("four specimens, three named", ("listed_count",), put(specimen_list="bone, cartilage and synovium")),
    Error("three specimens, four named", ("listed_count",), put(specimen_count=3)),
    Error("another lot the second time", ("device_identity", "two_values"), put(lot_again="6 6 6")),
    Error("expired", ("device_expiry",), put(expiry="the thirty first of May two thousand and twenty five")),
    Error("time-out after incision", ("time_order",), at("t_time_out", "t_incision", 7)),
    Error("in the room after incision", ("time_order",), at("t_room", "t_incision", 5)),
    Error("two blood losses", ("two_values", "doubtful"), put(ebl_again=" Blood loss was 300 millilitres.")),
    Error("complication, but none", ("complication_conflict",), put(extra="There was a nerve injury. ")),
    Error("drain, but none", ("none_but_said",), put(extra="A suction drain was placed. ")),
    Error("specimen, but none", ("none_but_said",), lambda slots: {"extra": "A biopsy was sent to pathology. "}
          if slots["specimens"] == "No specimens." and "{specimens}" in str(slots["template"]) else None),
    Error("another finger at the time-out", ("site_conflict",),
          work("digit_time_out", lambda v: _other(v, DIGITS))),
    Error("another finger in the diagnosis", ("site_conflict",), work("digit_dx", lambda v: _other(v, DIGITS))),
    Error("another level in the diagnosis", ("level_conflict",), put(level_dx="L2-L3")),
    Error("another level at the time-out", ("level_conflict",), put(level_time_out="L2-L3")),
    Error("allergic to what was given", ("allergy",), put(allergy="Allergic to cefazolin. ")),
    # Wrong in themselves, or left out: nothing else that was said tells.
    Error("blood loss in millimetres", ("units",), put(u_ebl="millimeters"), contradicts=False),
    Error("unit left out", ("unit_missing",), put(u_ebl=""), contradicts=False),
    Error("depth of forty centimetres", ("plausible",), put(depth=40, u_depth="centimetres"), contradicts=False),
    Error("tourniquet pressure ten times", ("plausible",), work("pressure", lambda v: int(str(v)) * 10),
          contradicts=False),
    Error("weight ten times", ("plausible",), work("weight", lambda v: int(str(v)) * 10), contradicts=False),
    Error("block in millimetres", ("units_in_words", "units"), put(u_la_volume="millimeters"), contradicts=False),
    Error("needles in millimetres", ("units_in_words", "units"), put(u_needle="millimeters"), contradicts=False),
    Error("weight in grams", ("plausible", "units", "doubtful"), put(u_weight="grams"), contradicts=False),
    Error("look-alike opioid", ("drug_dose",), put(opioid="Hydromorphone"), contradicts=False),
    Error("antibiotic ten times", ("drug_dose",), put(abx_dose=20), contradicts=False),
    Error("antibiotic in milligrams", ("drug_dose",), put(u_abx="milligrams"), contradicts=False),
    Error("count incorrect", ("count_result",), put(counts="incorrect"), contradicts=False),
    Error("complications never said", ("completeness", "family_elements"), put(complications=""), contradicts=False),
    Error("specimens never said", ("completeness", "family_elements"), put(specimens=""), contradicts=False),
    Error("grade that does not exist", ("grade_level", "doubtful"), put(grade=7), contradicts=False),
)  # fmt: skip


@dataclass
class Tally:
    planted: int = 0
    caught: int = 0
    loud: int = 0


def checked(text: str, name: str) -> OperativeNote:
    return run.note_from_text(text, name=name, made_at=MADE_AT)


def signature(finding: Finding) -> tuple[str, str]:
    """What a finding says, whatever the ids of its facts."""
    return finding.check, f"{finding.message} {finding.arithmetic}"


def clean_scenarios(seeds: int) -> Iterator[tuple[Scenario, Slots, bool, str]]:
    """(scenario, slots, spoken, text) of every correct narration made from the templates."""
    for scenario in SCENARIOS:
        for seed in range(seeds):
            slots = scenario.fill(random.Random(f"{scenario.name} {seed}")) | {"template": scenario.template}
            spoken = seed % 2 == 0
            yield scenario, slots, spoken, render(scenario, slots, spoken)


def plant(seeds: int, only: str | None) -> tuple[dict[str, Tally], list[str], list[tuple[str, Finding]], int]:
    """(tallies by kind, what was missed, false alarms, number of correct narrations)."""
    tallies = {error.kind: Tally() for error in ERRORS}
    missed: list[str] = []
    alarms: list[tuple[str, Finding]] = []
    number = 0
    for scenario, slots, spoken, text in clean_scenarios(seeds):
        number += 1
        name = f"{scenario.name} {'spoken' if spoken else 'typed'} {slots['side']}"
        clean = checked(text, name)
        alarms += [(name, one) for one in clean.findings if one.severity != "note"]
        before = {signature(one) for one in clean.findings}
        for error in ERRORS:
            changed = None if only and only not in error.kind else error.change(slots)
            if changed is None:
                continue
            after = checked(render(scenario, slots | changed, spoken), name)
            new = [one for one in after.findings if one.check in error.checks and signature(one) not in before]
            tally = tallies[error.kind]
            tally.planted += 1
            tally.caught += bool(new)
            tally.loud += any(one.severity != "note" for one in new)
            if not new:
                missed.append(f"{error.kind}: {name}: {changed}")
    return tallies, missed, alarms, number


def _answered(element: Element, facts: list[dict[str, str]]) -> bool:
    """Whether the truth holds an answer to an element; what is only optional in the truth does not count, nor does one
    complication that was denied ("no dural tear") for all."""
    names = {name.replace("-", " ") for name in element.names}
    return any(
        fact["kind"] in element.kinds
        and not fact.get("optional")
        and fact.get("status", "performed") in ("performed", "planned")
        and (not names or fact.get("name", "").replace("-", " ") in names)
        and not (fact["kind"] == "complication" and fact.get("certainty") == "negated"
                 and fact.get("name", "none") not in ("none", "complications", "complication"))
        for fact in facts
    )


def gold_alarms(part: str) -> tuple[int, list[tuple[str, Finding]]]:
    """(number of narrations, false alarms) of a part of tests/gold. What its truth lists is no false alarm."""
    alarms: list[tuple[str, Finding]] = []
    files = sorted((GOLD / part).glob("*.toml"))
    rules = grammar.load()
    for file in files:
        truth = tomllib.loads(file.read_text(encoding="utf-8"))
        note = checked(truth["text"], truth["id"])
        expected = Counter(str(one.get("check", "")) for one in truth["findings"])
        wanted = {item.element.id: item.element for item in run.checking.signout(note, rules)}
        for one in note.findings:
            if one.severity == "note" or one.check in expected:
                continue
            if one.check in ASKED:
                element = one.key.split(":")[-1]
                if not _answered(wanted[element], truth["facts"]):
                    continue  # the truth has none either
            alarms.append((truth["id"], one))
    return len(files), alarms


def _as_said(row: dict[str, Any]) -> str:
    """Speech has no lines; typed text keeps its own."""
    return " ".join(row["text"].split()) if row["form"] == "spoken" else row["text"].strip()


@dataclass
class Written:
    """What came of checks_clean.toml: narrations, false alarms, errors planted and caught, what was missed."""

    number: int = 0
    alarms: list[tuple[str, Finding]] = field(default_factory=list)
    planted: int = 0
    missed: list[str] = field(default_factory=list)


def written(errors: bool = True, path: Path = CLEAN) -> Written:
    """Narrations told freely; elements in `unsaid` were rightly asked for, checks in `rightly`
    rightly speak (a loss over the limit, a unit that was not said). An error is caught by a loud finding of any
    check, that the right narration does not have; one that an element was never said does not count."""
    found = Written()
    for name, row in tomllib.loads(path.read_text(encoding="utf-8")).items():
        found.number += 1
        right = _as_said(row)
        loud = [one for one in checked(right, name).findings if one.severity != "note"]
        unsaid, rightly = row.get("unsaid", ()), row.get("rightly", ())
        found.alarms += [
            (name, one) for one in loud
            if one.check not in rightly and not (one.check in ASKED and one.key.split(":")[-1] in unsaid)
        ]  # fmt: skip
        before = {signature(one) for one in loud}
        for kind, words, wrong in row.get("errors", ()) if errors else ():
            text = right.replace(words, wrong)
            assert text != right, f"{name}: {words!r} is not in one line of its text"
            found.planted += 1
            if not any(one.severity != "note" and one.check not in ASKED and signature(one) not in before
                       for one in checked(text, name).findings):  # fmt: skip
                found.missed.append(f"{kind}: {name}: {words} -> {wrong}")
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--errors", action="store_true", help="list what was missed and every false alarm")
    parser.add_argument("--seeds", type=int, default=6, help="narrations of each scenario")
    parser.add_argument("--only", help="plant only kinds whose name holds this")
    options = parser.parse_args()
    tallies, missed, alarms, number = plant(options.seeds, options.only)
    train_number, train = (0, []) if options.only else gold_alarms("train")
    test_number, test = (0, []) if options.only else gold_alarms("test")
    told = Written() if options.only else written()
    free_number, free = told.number, told.alarms
    print(f"{'planted error':45}{'planted':>8}{'caught':>8}{'missed':>8}{'as warning':>12}")
    for contradicts in (True, False):
        group = [error for error in ERRORS if error.contradicts == contradicts]
        for error in group:
            one = tallies[error.kind]
            print(f"{error.kind:45}{one.planted:8}{one.caught:8}{one.planted - one.caught:8}{one.loud:12}")
        planted = sum(tallies[error.kind].planted for error in group)
        caught = sum(tallies[error.kind].caught for error in group)
        title = "contradicts something said" if contradicts else "wrong in itself or left out"
        goal = f"   target {CAUGHT_TARGET:.0%}" if contradicts else ""
        print(f"{title.upper():45}{planted:8}{caught:8}{planted - caught:8}   {caught / max(planted, 1):.1%}{goal}\n")
    caught = told.planted - len(told.missed)
    print(f"{'IN NARRATIONS TOLD FREELY':45}{told.planted:8}{caught:8}{len(told.missed):8}   "
          f"{caught / max(told.planted, 1):.1%}   target {CAUGHT_TARGET:.0%}\n")  # fmt: skip
    more = Written() if options.only else written(path=TOLD)
    loud = [one for one in more.alarms if one[1].check not in ASKED]
    caught = more.planted - len(more.missed)
    print(f"{'AS SURGEONS TALK (checks_told.toml)':45}{more.planted:8}{caught:8}{len(more.missed):8}   "
          f"{caught / max(more.planted, 1):.1%}   false alarms: {len(loud)} in {more.number} narrations\n")  # fmt: skip
    total = max(number + train_number + test_number + free_number, 1)
    for title, count, found in (
        ("scenarios", number, alarms), ("tests/gold/train", train_number, train),
        ("tests/gold/test", test_number, test), ("checks_clean.toml", free_number, free),
    ):  # fmt: skip
        again = sum(one.check in ASKED for _, one in found)
        print(f"correct narrations, {title}: {count}; false alarms: {len(found) - again}; "
              f"asked for although it was said: {again}")  # fmt: skip
    everything = [one for _, one in (*alarms, *train, *test, *free)]
    rate = 100 * sum(one.check not in ASKED for one in everything) / total
    print(f"FALSE ALARMS IN 100 CORRECT NARRATIONS: {rate:.1f}   target {ALARM_TARGET}")
    freely = max(total - number, 1)  # the scenarios are alike and quiet: the rate without them is the honest one
    rate = 100 * sum(one.check not in ASKED for one in everything[len(alarms) :]) / freely
    print(f"false alarms in 100 of those told freely (without the scenarios): {rate:.1f}")
    again = 100 * sum(one.check in ASKED for one in everything) / total
    print(f"asked for although said, in 100 narrations: {again:.1f}")
    if options.errors:
        print("\nmissed:", *missed, *told.missed, *more.missed, sep="\n  ")
        print("\nfalse alarms:", *(f"{name}: {one.severity} {one.check}: {one.message} {one.arithmetic} "
                                   f"{[piece.heard for piece in one.evidence]}"
                                   for name, one in [*alarms, *train, *free, *loud]), sep="\n  ")  # fmt: skip
    return 0


if __name__ == "__main__":
    sys.exit(main())
