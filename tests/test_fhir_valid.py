"""Bundles against validators of other projects, and planted faults against the whole set of them.

Independent: the R4B classes of fhir.resources, fhirkit-rs, and (node) @medplum/core with the definitions of the R4
specification, npm fhir, and the UCUM library of the US National Library of Medicine.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import fhir_planted
import fhir_tools
import fhirkit
import notes
import pytest
import simplejson

from pipeline import grammar, run
from pipeline.fhir import bundle as bundles
from pipeline.fhir.ucum import is_ucum
from pipeline.rows import Unit
from pipeline.site import Site

RULES = grammar.load()
GOLD = Path(__file__).parent / "gold"
Answers = dict[str, dict[str, list[str]]]
FORMS = ("document", "transaction")
STATES = {"draft": lambda note: note, "signed": notes.signed, "amended": notes.amended,
          "reviewed by another": notes.reviewed}
SITE = Site(
    {
        "Patient": [{"resourceType": "Patient", "identifier": [{"system": "urn:oid:2.999.1", "value": "7712345"}],
                     "name": [{"family": "Lind", "given": ["Tobias"]}], "birthDate": "1967-05-04"}],
        "Encounter": [{"resourceType": "Encounter", "identifier": [{"system": "urn:oid:2.999.2", "value": "E-1"}],
                       "status": "in-progress", "class": {"code": "IMP"}}],
        "Organization": [{"resourceType": "Organization", "name": "Example Hospital"}],
        "Practitioner": [{"resourceType": "Practitioner", "name": [{"family": "Obi", "given": ["Amara"]}]}],
    },
    timezone="America/New_York",
)  # fmt: skip
node = pytest.mark.skipif(not fhir_tools.node_is_here(), reason=fhir_tools.NO_NODE)


def texts() -> Iterator[tuple[str, str]]:
    """Every hand-made note in every state, as a document with a context and as a transaction without."""
    for name, make in notes.NOTES.items():
        for state, change in STATES.items():
            if name == "many_draws" and state != "draft":
                continue  # large, and the same but for the state
            note = change(make())
            yield f"{name}, {state}, document", _text(bundles.document(note, RULES, SITE, fhir_planted.DOCX))
            yield f"{name}, {state}, transaction", _text(bundles.transaction(note, RULES, Site(), None))


def _text(bundle: Any) -> str:
    return bundles.to_bytes(bundle).decode()


@pytest.fixture(scope="module")
def made() -> dict[str, str]:
    return dict(texts())


@pytest.fixture(scope="module")
def gold() -> dict[str, str]:
    """Documents of all narrations of the hand-written truth, read by the product."""
    found = {}
    for file in sorted(GOLD.glob("*/*.toml")):
        case = tomllib.loads(file.read_text(encoding="utf-8"))
        note = run.note_from_text(case["text"], case["id"])
        found[file.stem] = _text(bundles.document(note, RULES, SITE, fhir_planted.DOCX))
    return found


@pytest.fixture(scope="module")
def planted() -> dict[str, str]:
    """A bundle for each planted fault, and the two bundles without."""
    found = {fault.name: fhir_tools.dump(fhir_planted.broken(fault)) for fault in fhir_planted.FAULTS}
    return found | {form: fhir_tools.dump(fhir_planted.good(form == "transaction")) for form in FORMS}


@pytest.fixture(scope="module")
def in_node(made: dict[str, str], gold: dict[str, str], planted: dict[str, str]) -> Answers:
    """What the node tools say, in one run: of each note as an unsigned document and as a signed transaction."""
    some = {name: text for name, text in made.items() if "draft, document" in name or "signed, transaction" in name}
    found = fhir_tools.with_node({**some, **gold, **planted}, quick=frozenset(gold))
    assert set(found) == {*some, *gold, *planted}
    return found


@pytest.fixture(scope="module")
def verdicts(planted: dict[str, str], request: pytest.FixtureRequest) -> Answers:
    found = fhir_tools.verdicts(planted, node=False)
    if fhir_tools.node_is_here():
        answers = request.getfixturevalue("in_node")
        for name in planted:
            found[name] |= answers[name]
    return found


def test_r4b_classes_take_every_bundle(made: dict[str, str]) -> None:
    assert {name: faults for name, text in made.items() if (faults := fhir_tools.r4b(text))} == {}


def test_fhirkit_takes_every_bundle(made: dict[str, str]) -> None:
    assert {name: faults for name, text in made.items() if (faults := fhir_tools.kit(text))} == {}


def test_fhirkit_reads_every_decimal_as_written(made: dict[str, str]) -> None:
    """An independent lossless reader gives back the digits of the note."""
    written = simplejson.loads(made["hip, draft, document"], use_decimal=True)
    read = fhirkit.parse(made["hip, draft, document"]).to_dict()
    assert _decimals(read) == _decimals(written)
    assert {"4.50", "20.50", "20.0", "6.50"} <= {str(value) for value in _decimals(written)}


def _decimals(node: Any) -> list[Decimal]:
    if isinstance(node, dict):
        return [one for key in sorted(node) for one in _decimals(node[key])]
    if isinstance(node, list):
        return [one for value in node for one in _decimals(value)]
    return [node] if isinstance(node, Decimal) else []


@node
@pytest.mark.node
def test_medplum_npm_fhir_and_ucum_take_every_bundle(made: dict[str, str], in_node: Answers) -> None:
    assert {name: in_node[name] for name in made if any(in_node.get(name, {}).values())} == {}
    assert len(set(made) & set(in_node)) >= 2 * len(notes.NOTES) - 1


@node
@pytest.mark.node
def test_ucum_library_knows_every_unit_of_the_grammars() -> None:
    codes = sorted({row.ucum for row in RULES.table("units", Unit).values()} | {"[USP'U]/mL", "mg/kg/h", "ug/kg/min"})
    bundle = {"resourceType": "Basic", "code": {"text": "units"}, "extension": [
        {"url": "urn:x", "valueQuantity": {"system": "http://unitsofmeasure.org", "code": code}} for code in codes
    ]}  # fmt: skip
    assert fhir_tools.with_node({"units": fhir_tools.dump(bundle)})["units"]["units"] == []
    assert all(is_ucum(code) for code in codes)


def test_gold_bundles_pass_in_python(gold: dict[str, str]) -> None:
    assert len(gold) >= 90
    bad = {name: faults for name, text in gold.items() if (faults := [*fhir_tools.kit(text), *fhir_tools.own(text)])}
    assert bad == {}


@node
@pytest.mark.node
def test_gold_bundles_pass_in_node(gold: dict[str, str], in_node: Answers) -> None:
    assert {name: in_node[name] for name in gold if any(in_node[name].values())} == {}


@pytest.mark.parametrize("name", [fault.name for fault in fhir_planted.FAULTS])
def test_planted_fault_is_caught(name: str, verdicts: Answers) -> None:
    assert any(verdicts[name].values())


@pytest.mark.parametrize("form", FORMS)
def test_the_bundle_without_a_fault_passes(form: str, verdicts: Answers) -> None:
    assert not any(verdicts[form].values())


def test_there_are_enough_different_faults() -> None:
    names = [fault.name for fault in fhir_planted.FAULTS]
    assert len(set(names)) == len(names) >= 40
    good = {form: fhir_tools.dump(fhir_planted.good(form)) for form in (False, True)}
    for fault in fhir_planted.FAULTS:
        assert fhir_tools.dump(fhir_planted.broken(fault)) != good[fault.transaction], fault.name
