"""The hand-written truth of tests/gold/ is sound, and the train part is understood as well as it was.

The truth was written by people's reading of the text (tests/gold/README.md); these tests look at its form, at the
comparison itself, and keep floors under the figures of the train part. The test part has no floor: nobody tunes on it.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

import gold_scoring as scoring
import gold_truth
import pytest
import retold
import understanding
from gold_truth import Expected, Narration

from pipeline import grammar
from pipeline.records import Evidence, Fact
from pipeline.rows import Kind, Unit

HEARD = gold_truth.load("heard")
SIDES = gold_truth.load("sides")
FRESH = gold_truth.load("fresh")
DEVICES = gold_truth.load("devices")
OTHERS = gold_truth.load("others")
SCOPES = gold_truth.load("scopes")
TOLD = gold_truth.load("told")
MARROW = gold_truth.load("marrow")
SIDED = gold_truth.load("sided")
NARRATIONS = [*gold_truth.load(), *HEARD, *SIDES, *FRESH, *DEVICES, *OTHERS, *SCOPES, *TOLD, *MARROW, *SIDED]
POOL = gold_truth.ROOT.parent / "shared" / "notes_pool.jsonl"
RUN_OF_WORDS = 8
# Codes that a narration may hold and that are put together from rows of units.toml, or written with a prefix that no
# row spells out (UCUM tables of prefixes and base units); a unit of blood is an annotation.
COMPOSED = re.compile(r"^[^/]+(/[^/]+)+$|^N\.cm$|^\{unit\}$|^uV$|^mW$")


def by_id(item: Narration) -> str:
    return f"{item.part}-{item.id}"


def as_fact(truth: Expected) -> Fact:
    """The truth as if a note had said it."""
    return Fact(
        kind=truth.kind,
        evidence=Evidence(0, 0, None, None, ""),
        name=truth.name,
        text=truth.text,
        value=truth.value,
        low=truth.low,
        high=truth.high,
        unit=truth.unit,
        laterality=None if truth.laterality == "none" else truth.laterality,  # type: ignore[arg-type]
        status=truth.status,  # type: ignore[arg-type]
        certainty=truth.certainty,  # type: ignore[arg-type]
        role=truth.role,
    )


def test_there_is_enough_of_it() -> None:
    asked = gold_truth.load()
    forms = Counter(item.form for item in asked)
    assert forms["spoken"] >= 60
    assert forms["typed"] >= 30
    assert len({item.family for item in asked}) >= 18
    parts = Counter(item.part for item in asked)
    assert parts["test"] * 3 >= len(asked)
    assert parts["train"] + parts["test"] == len(asked)
    assert len({item.id for item in NARRATIONS}) == len(NARRATIONS)


@pytest.mark.parametrize("item", NARRATIONS, ids=by_id)
def test_form(item: Narration) -> None:
    assert item.form in ("spoken", "typed")
    assert (gold_truth.GOLD / item.part / f"{item.id}.toml").is_file()
    assert 80 <= len(item.text.split()) <= 250
    if item.form == "spoken":
        assert not re.search(r"\d", item.text), "a spoken narration has its numbers in words"
    else:
        assert re.search(r"\d", item.text)
    assert len(item.facts) >= 12
    assert item.absent, "every narration has something that must not be extracted"


@pytest.mark.parametrize("item", NARRATIONS, ids=by_id)
def test_facts_are_of_the_schema(item: Narration) -> None:
    kinds = grammar.load().table("kinds", Kind)
    units = {row.ucum: row.dimension for row in grammar.load().table("units", Unit).values()}
    for fact in (*item.facts, *item.absent):
        assert set(fact.kinds) <= kinds.keys(), f"{fact}: no such kind"
        assert fact.unit is None or fact.unit in units or COMPOSED.match(fact.unit), f"{fact}: no such unit"
        assert fact.unit is None or fact.numeric, f"{fact}: a unit without a number"
        if fact.unit in units and not fact.or_kind and not fact.why and not fact.optional:
            allowed = kinds[fact.kind].dimensions
            assert not allowed or units[fact.unit] in allowed or fact.kind == "measurement", f"{fact}: dimension"
        if kinds[fact.kind].value in ("quantity", "count") and fact.kind != "blood_loss":
            assert fact.numeric or fact.certainty == "negated" or fact.optional, f"{fact}: no number"
        assert fact.numeric or fact.name or fact.text, f"{fact.kind}: empty"
    for fact in item.absent:
        assert fact.why, f"{fact}: absent without a reason"
    assert all(not fact.why for fact in item.facts)
    for finding in item.findings:
        assert finding.about


@pytest.mark.parametrize("item", [item for item in NARRATIONS if item.form == "typed"], ids=by_id)
def test_typed_numbers_stand_in_the_text(item: Narration) -> None:
    """A value of the truth of a typed narration is written in it (Roman and shorthand forms aside)."""
    written = {Decimal(found) for found in re.findall(r"\d+(?:\.\d+)?", re.sub(r"(?<=\d),(?=\d{3})", "", item.text))}
    written |= {1000 * Decimal(found) for found in re.findall(r"(\d+)k\b", item.text)}  # "1:200k"
    # 1/8 inch, II grams, "1-200 cc" (100 to 200), "one clip", counts in words, levels II and IV, 39 2/7 weeks.
    in_words = {Decimal(n) for n in range(13)} | {Decimal("0.125"), Decimal(100), Decimal("39.29")}
    in_words |= {Decimal(72), Decimal(283), Decimal(400)}  # "1 minute 12", "40 plus 3 weeks", "6 min 40 s"
    in_words |= {Decimal(160), Decimal(200000)}  # "2 min 40 s", "1:200k"
    in_words |= {Decimal("0.25"), Decimal("0.5"), Decimal("1.5"), Decimal(60)}  # "half a turn", "sixty of blood"
    for fact in item.facts:
        for number in (fact.value, fact.low, fact.high):
            if number is not None:
                assert abs(number) in written | in_words, f"{fact}: not in the text"


@pytest.mark.parametrize("item", NARRATIONS, ids=by_id)
def test_truth_agrees_with_itself(item: Narration) -> None:
    """A note that says exactly the truth is all right: nothing in `facts` is also in `absent`."""
    result = scoring.compare(item, [as_fact(fact) for fact in item.facts if not fact.optional])
    assert not result.missed
    assert not result.wrong
    assert not result.absent_hits
    assert not result.twice
    assert not result.invented


def test_no_text_is_taken_from_the_pool_of_notes() -> None:
    if not POOL.is_file():
        pytest.skip("the pool of notes is not on this machine")

    def runs(text: str) -> set[tuple[str, ...]]:
        words = re.findall(r"[a-z0-9']+", text.lower())
        return {tuple(words[n : n + RUN_OF_WORDS]) for n in range(len(words) - RUN_OF_WORDS + 1)}

    pool: set[tuple[str, ...]] = set()
    for line in POOL.read_text(encoding="utf-8").splitlines():
        pool |= runs(json.loads(line)["text"])
    shared = {item.id: [" ".join(run) for run in runs(item.text) & pool] for item in NARRATIONS}
    assert {name: found for name, found in shared.items() if found} == {}


def narration(*facts: Expected, absent: tuple[Expected, ...] = ()) -> Narration:
    return Narration("x", "x", "typed", "train", "", facts, absent, ())


def test_comparison_sees_each_fault() -> None:
    """One truth, one prediction with one thing changed: the fault is named, and it is not counted as right."""
    truth = Expected("medication_dose", name="heparin", value=Decimal("5.0"), unit="mg", laterality="left")
    right = as_fact(truth)
    assert scoring.compare(narration(truth), [right]).right
    for change, fault in (
        ({"unit": "g"}, "unit"),
        ({"unit": None}, "unit"),
        ({"laterality": "right"}, "side"),
        ({"laterality": None}, "side"),
        ({"status": "planned"}, "status"),
        ({"certainty": "negated"}, "certainty"),
    ):
        result = scoring.compare(narration(truth), [replace(right, **change)])
        assert [bad for _, _, bad in result.wrong] == [[fault]]
        assert not result.right
    other = scoring.compare(narration(truth), [replace(right, value=Decimal(50))])
    assert other.missed == [truth]
    assert len(other.invented) == 1
    twice = scoring.compare(narration(truth), [right, right])
    assert len(twice.right) == len(twice.twice) == 1
    assert scoring.compare(narration(truth), []).missed == [truth]


def test_comparison_of_ranges_absent_and_sides() -> None:
    loss = Expected("blood_loss", low=Decimal(100), high=Decimal(150), unit="mL")
    mean = Expected("blood_loss", value=Decimal(125), unit="mL", why="a range is never its mean")
    result = scoring.compare(narration(loss, absent=(mean,)), [as_fact(mean)])
    assert len(result.absent_hits) == 1
    assert result.missed == [loss]
    hip = Expected("procedure", name="total hip replacement", laterality="right")
    wrong = replace(as_fact(hip), laterality="left")
    result = scoring.compare(narration(hip), [wrong])
    assert scoring.group([result], "side").f1 == 0
    assert scoring.group([scoring.compare(narration(hip), [as_fact(hip)])], "side").f1 == 1
    none = Expected("drain", name="none", certainty="negated")
    assert scoring.compare(narration(none), [replace(as_fact(none), name=None)]).right
    assert not scoring.compare(narration(none), [replace(as_fact(none), certainty="affirmed")]).right
    counts = scoring.group([scoring.compare(narration(hip, loss), [as_fact(hip)])], "all")
    assert (counts.precision, counts.recall) == (1.0, 0.5)


def test_what_is_wrong_counts_as_silent_unless_it_is_flagged() -> None:
    truth = Expected("medication_dose", name="heparin", value=Decimal("5.0"), unit="mg", laterality="left")
    right = replace(as_fact(truth), id="f001")
    for change in ({"laterality": "right"}, {"unit": "g"}, {"value": Decimal(50)}):
        wrong = replace(right, **change)
        for doubted, mute in ((frozenset[str](), 1), (frozenset({"f001"}), 0), (frozenset({"f002"}), 1)):
            found, bad, given = scoring.silent([scoring.compare(narration(truth), [wrong], doubted)])
            assert (len(found), bad, given) == (mute, 1, 1)
    no_side = replace(right, laterality=None)
    assert scoring.silent([scoring.compare(narration(truth), [no_side])]) == ([], 0, 0)
    assert scoring.silent([scoring.compare(narration(truth), [right])]) == ([], 0, 1)


# Below what `make bench-understanding` printed for the train part when these were set; raise them with it.
FLOORS = {"number": 0.95, "side": 0.95, "context": 0.95, "closed": 0.95, "all": 0.95}
MOST_INVENTED_IN_100 = 1.5
# Wrong facts with a number, a time or a side and no flag, in 100 such facts: what must never be.
MOST_SILENT_IN_100 = 1.0
# Narrations that are hard on sides (tests/gold/sides): a wrong side is worse than one that is missing.
SIDES_PRECISION, SIDES_F1 = 0.88, 0.72
# The same narrations without marks, and with hesitations (benchmarks/retold.py).
RETOLD = {
    "unmarked": {"number": 0.93, "side": 0.87, "context": 0.90},
    "hesitant": {"number": 0.95, "side": 0.93, "context": 0.95},
}


def test_the_train_part_is_understood_as_well_as_it_was() -> None:
    results = understanding.measure(gold_truth.load("train"))
    reached = {name: scoring.group(results, name).f1 for name in FLOORS}
    assert {name: f1 for name, f1 in reached.items() if f1 is None or f1 < FLOORS[name]} == {}
    given, hits, twice, other = scoring.invention(results)
    assert 100 * (hits + twice + other) / given <= MOST_INVENTED_IN_100
    mute, _, told = scoring.silent(results)
    assert 100 * len(mute) / told <= MOST_SILENT_IN_100


@pytest.mark.parametrize("way", RETOLD)
def test_the_spoken_train_part_is_understood_as_well_when_told_otherwise(way: str) -> None:
    spoken = [item for item in gold_truth.load("train") if item.form == "spoken"]
    results = understanding.measure(spoken, lambda text, name: understanding.run(retold.WAYS[way](text), name))
    reached = {name: scoring.group(results, name).f1 for name in RETOLD[way]}
    assert {name: f1 for name, f1 in reached.items() if f1 is None or f1 < RETOLD[way][name]} == {}


# What each further part reaches at least in F1, and how many of 100 facts may be invented in it.
PARTS: dict[str, tuple[Sequence[Narration], dict[str, float], float | None]] = {
    # Talk of theatre as a recogniser writes it (tests/gold/heard).
    "heard": (HEARD, {"number": 0.87, "all": 0.88}, 6),
    # Dense in negated, planned and past things, and not yet as well understood as the train part (tests/gold/fresh).
    "fresh": (FRESH, {"number": 0.92, "context": 0.91, "all": 0.85}, None),
    # As dense, in streams without marks and terse typing (tests/gold/told).
    "told": (TOLD, {"number": 0.85, "context": 0.86, "all": 0.86}, None),
    # Dense in devices, counts, sizes, specimens and typed tables (tests/gold/devices).
    "devices": (DEVICES, {"number": 0.92, "all": 0.91}, None),
    # Every other specialty, dense in numbers (tests/gold/others).
    "others": (OTHERS, {"number": 0.91, "all": 0.91}, 1.5),
    # Arthroscopies of every joint, as told from the portals to the aftercare (tests/gold/scopes).
    "scopes": (SCOPES, {"number": 0.92, "all": 0.91}, None),
    # Harvests and injections, the core of the domain (tests/gold/marrow).
    "marrow": (MARROW, {"number": 0.88, "all": 0.89}, None),
}


@pytest.mark.parametrize("part", PARTS)
def test_each_further_part_is_understood_as_well_as_it_was(part: str) -> None:
    told, floors, most_invented = PARTS[part]
    results = understanding.measure(told)
    reached = {name: scoring.group(results, name).f1 for name in floors}
    assert {name: f1 for name, f1 in reached.items() if f1 is None or f1 < floors[name]} == {}
    if most_invented is not None:
        given, hits, twice, other = scoring.invention(results)
        assert 100 * (hits + twice + other) / given <= most_invented


def test_the_sides_part_has_few_wrong_sides() -> None:
    tally = scoring.group(understanding.measure(SIDES), "side")
    assert tally.precision is not None
    assert tally.precision >= SIDES_PRECISION
    assert tally.f1 is not None
    assert tally.f1 >= SIDES_F1


# Written later and as hard (tests/gold/sided): first run .56 in F1, .80 in precision.
SIDED_PRECISION, SIDED_F1 = 0.92, 0.80


def test_the_sided_part_has_few_wrong_sides() -> None:
    results = understanding.measure(SIDED)
    tally = scoring.group(results, "side")
    assert tally.precision is not None
    assert tally.precision >= SIDED_PRECISION
    assert tally.f1 is not None
    assert tally.f1 >= SIDED_F1
    assert scoring.side_faults(results)["wrong"] <= MOST_WRONG_SIDES


MOST_WRONG_SIDES = 1


def test_evidence_is_words_of_the_narration() -> None:
    """Of every fact of all parts: nothing comes from nowhere."""
    for item in NARRATIONS:
        heard = " ".join(re.findall(r"[a-z0-9.]+", item.text.lower()))
        for fact in understanding.run(item.text, item.id).facts:
            for word in re.findall(r"[a-z]+|\d+(?:\.\d+)?", fact.evidence.heard.lower()):
                assert word in heard, f"{item.id}: {fact.kind} {fact.evidence.heard}"
