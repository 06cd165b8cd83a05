"""Extractors of what carries a number or a code, on narrations written by hand; the truth is read from the text.

The case files lie under tests/cases/extractors/<name>/; tests/cases_runner.py tells their format.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from cases_runner import CASES, Case, cases, facts_of, faults

from pipeline import cues, grammar, plugins, run
from pipeline.extractors import base
from pipeline.records import Evidence, Fact, Reading

NAMES = (
    "implants_denied", "denied_in_general", "denied_in_words", "counts_behind", "paired_sizes", "cartridges",
    "blood_loss", "counts", "device_codes", "devices", "drains", "fluids", "harvest", "harvest_site", "injection",
    "account", "sizes_by_digits", "irrigation", "measurements", "medicines", "needle_moves", "person",
    "specimens", "sutures", "times", "tourniquet", "aftercare_spans", "unnamed_doses", "blood_pressure",
    "component_sizes", "device_counts", "headed_together", "elided_devices", "replacements", "implant_rows",
    "lens_power", "screws_by_sort", "ports_called", "cell_counts", "joint_numbers", "dose_limits", "births", "nodes",
    "reddened", "bare_sizes",
    "breasts",
)  # fmt: skip


@pytest.mark.parametrize("case", list(cases(*NAMES)), ids=str)
def test_case(case: Case) -> None:
    module = plugins.find("pipeline.extractors", case.extractor)
    found = faults(case, module.KINDS)
    assert not found, case.say + "\n" + "\n".join(found)


def test_every_extractor_has_its_folder_and_every_folder_its_extractor() -> None:
    folders = {folder.name for folder in CASES.iterdir() if any(folder.glob("*.toml"))}
    missing = set(plugins.names("pipeline.extractors")) - folders
    assert not missing, f"extractors without a case folder: {sorted(missing)}"
    assert folders <= set(plugins.names("pipeline.extractors"))


def _fact(kind: str, cost: int, number: tuple[int, int] = (3, 4), **fields: object) -> base.Claim:
    where = Evidence(3, 4, None, None, "five millilitres")
    return base.Claim(kind, where, value=Decimal(5), number=number, cost=cost, **fields)  # type: ignore[arg-type]


def test_a_number_goes_to_the_cheapest_claim_whatever_the_order() -> None:
    claims = [_fact("draw", 9), _fact("injection_volume", 4), _fact("blood_loss", 30)]
    assert [fact.kind for fact in base.arbitrate(claims)] == ["injection_volume"]
    assert [fact.kind for fact in base.arbitrate(claims[::-1])] == ["injection_volume"]


def test_a_tie_is_kept_with_a_doubt_and_a_far_claim_falls() -> None:
    (kept,) = base.arbitrate([_fact("draw", 5), _fact("product_volume", 5)])
    assert "product volume" in kept.doubts[0]
    assert base.arbitrate([_fact("draw", base.LIMIT + 1)]) == []


def test_what_is_no_claim_passes_unchanged() -> None:
    plain = Fact("drain", Evidence(0, 0, None, None, "drain"))
    assert base.arbitrate([plain, _fact("draw", 1)])[0] is plain


def test_no_number_stands_in_two_facts() -> None:
    text = (
        "Cefazolin two grams. Ten millilitres of half percent bupivacaine to the skin. Tourniquet 250 mmHg for 50 "
        "minutes. Two 3.5 mm screws, 30 and 32 mm. Blood loss 50 mL, urine 200 mL. Irrigated with 3 litres of saline."
    )
    reading = run.understand(run.from_text(text).words, grammar.load())[0]
    taken: list[tuple[int, int]] = []
    for extractor in plugins.every("pipeline.extractors"):
        taken += [fact.number for fact in base.arbitrate(extractor.extract(reading, grammar.load()))
                  if isinstance(fact, base.Claim)]  # fmt: skip
    assert taken == []  # arbitration gives plain facts
    numeric = [fact for fact in facts_of(text) if fact.value is not None]
    assert len({(fact.kind, fact.evidence.first, fact.value) for fact in numeric}) == len(numeric)
    assert sorted(str(fact.value) for fact in numeric) == sorted(
        ["2", "10", "0.5", "250", "50", "2", "3.5", "30", "32", "50", "200", "3"]
    )


def test_every_cue_is_found_in_its_examples() -> None:
    rules = grammar.load()
    for ident, row in rules.tables["cues"].items():
        assert row.examples, ident
        for example in row.examples:
            words = run.from_text(example).words
            reading: Reading = run.understand(words, rules)[0]
            assert any(cues.has(sentence, rules, ident) for sentence in reading.sentences), (ident, example)
