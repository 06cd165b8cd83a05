"""What the FHIR bundles hold: the right resource for each fact, exact numbers, nothing that was not said."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from decimal import Decimal
from typing import Any

import notes
import pytest
from fhir_tools import resources

from pipeline import grammar
from pipeline.errors import ExportError
from pipeline.exports import fhir_document, fhir_transaction
from pipeline.fhir import bundle as bundles
from pipeline.fhir import rules
from pipeline.fhir.names import APPROXIMATE, DOUBT, INCISION, TARGET_BODY, VOLUME
from pipeline.fhir.rules_values import loinc_holds
from pipeline.fhir.things import gtin_holds
from pipeline.fhir.ucum import is_ucum
from pipeline.note import OperativeNote
from pipeline.rows import Loinc, Unit
from pipeline.site import Site

DOCX = b"PK\x03\x04 stands for a Word file"
RULES = grammar.load()
LONDON = Site(timezone="Europe/London")
STATES = {"draft": lambda note: note, "signed": notes.signed, "amended": notes.amended}


def document(note: OperativeNote, site: Site = LONDON) -> dict[str, Any]:
    return dict(
        json.loads(fhir_document.write(note, RULES, site, {"docx": DOCX}), parse_float=Decimal, parse_int=Decimal)
    )


def transaction(note: OperativeNote, site: Site = LONDON) -> dict[str, Any]:
    return dict(json.loads(fhir_transaction.write(note, RULES, site, {"docx": DOCX})))


def one(bundle: Any, kind: str, **fields: str) -> dict[str, Any]:
    """The only resource of a type whose code (or name) has that text."""
    found = [
        resource
        for resource in resources(bundle, kind)
        if all(fields[name] in json.dumps(resource.get(name), default=str) for name in fields)
    ]
    assert len(found) == 1, f"{len(found)} {kind} with {fields}"
    return found[0]


@pytest.fixture(scope="module")
def hip() -> dict[str, Any]:
    return document(notes.hip())


def extension(element: Any, url: str) -> list[Any]:
    return [part for part in element.get("extension", []) if part["url"] == url]


def target(bundle: Any, reference: dict[str, str]) -> dict[str, Any]:
    return next(dict(e["resource"]) for e in bundle["entry"] if e["fullUrl"] == reference["reference"])


def test_a_document_starts_with_its_composition_and_has_fixed_identifier_and_timestamp(hip: Any) -> None:
    # FHIR R4, Bundle, invariants bdl-9, bdl-10 and bdl-11
    assert hip["type"] == "document"
    assert hip["entry"][0]["resource"]["resourceType"] == "Composition"
    assert hip["identifier"]["system"]
    assert hip["identifier"]["value"]
    assert hip["timestamp"] == notes.hip().made_at


def test_sections_carry_the_codes_of_an_operative_note(hip: Any) -> None:
    # LOINC codes of the HL7 C-CDA Operative Note sections that are 1..1
    sections = hip["entry"][0]["resource"]["section"]
    codes = {coding["code"] for section in sections for coding in section["code"].get("coding", [])}
    assert codes >= {"10219-4", "10218-6", "59774-0", "55109-3", "29554-3", "59776-5", "59770-8", "59773-2"}
    assert "59772-4" in codes  # planned procedure: the hip replacement that was only considered


def test_required_sections_stand_empty_with_a_reason_when_nothing_was_said() -> None:
    sections = document(notes.empty())["entry"][0]["resource"]["section"]
    empty = [section for section in sections if "emptyReason" in section]
    assert len(empty) == 8
    assert all("Not said." in section["text"]["div"] for section in empty)


def test_loinc_rows_hold_their_check_digit_and_only_a_section_has_an_order() -> None:
    rows = RULES.table("loinc", Loinc)
    assert rows
    assert [row.id for row in rows.values() if not loinc_holds(row.code)] == []
    orders = [row.order for row in rows.values() if row.use == "section"]
    assert sorted(orders) == list(range(1, len(orders) + 1))


def test_check_digits_against_published_numbers() -> None:
    # LOINC 11504-8 and 2339-0 (glucose, LOINC Users' Guide); GTIN 09501101530003 (GS1 General Specifications)
    assert loinc_holds("11504-8")
    assert loinc_holds("2339-0")
    assert not loinc_holds("2339-1")
    assert gtin_holds("09501101530003")
    assert not gtin_holds("09501101530004")


def test_the_operation_has_side_period_people_device_and_used_things(hip: Any) -> None:
    act = one(hip, "Procedure", code="Core decompression")
    assert act["status"] == "completed"
    # 2 March is winter time in London: UTC+0
    assert act["performedPeriod"] == {"start": "2026-03-02T08:42:00+00:00", "end": "2026-03-02T09:31:00+00:00"}
    assert [site["text"] for site in act["bodySite"]] == ["left hip"]
    body = target(hip, extension(act, TARGET_BODY)[0]["valueReference"])
    assert body["resourceType"] == "BodyStructure"
    # 419161000 "Unilateral left": value set bodystructure-relative-location of FHIR R4
    assert "419161000" in {coding["code"] for coding in body["locationQualifier"][0]["coding"]}
    assert extension(act, INCISION)[0]["valueDateTime"] == "2026-03-02T08:42:00+00:00"
    names = [target(hip, performer["actor"])["name"][0]["text"] for performer in act["performer"]]
    assert names == ["Doctor Amara Obi", "Doctor Pell", "Doctor Quist"]
    screw = target(hip, act["focalDevice"][0]["manipulated"])
    assert act["focalDevice"][0]["action"]["coding"][0]["code"] == "implanted"
    assert screw["deviceName"][0]["name"] == "Cannulated screw"
    used = {target(hip, ref)["resourceType"] for ref in act["usedReference"]}
    assert used == {"Device", "Medication"}
    assert target(hip, act["reasonReference"][0])["code"]["text"] == "Avascular necrosis"
    assert target(hip, act["report"][0])["resourceType"] == "Composition"


def test_the_harvest_side_differs_from_the_side_operated_on(hip: Any) -> None:
    harvest = one(hip, "Procedure", code="Harvest")
    assert [site["text"] for site in harvest["bodySite"]] == ["right iliac crest"]
    assert target(hip, harvest["partOf"][0])["code"]["text"] == "Core decompression"


def test_only_what_was_done_becomes_an_act(hip: Any) -> None:
    kinds = ("Procedure", "MedicationAdministration", "Medication", "Condition", "Specimen")
    told = json.dumps([one for kind in kinds for one in resources(hip, kind)], default=str)
    assert "eplacement" not in told  # conditional
    assert "ranexamic" not in told  # negated
    assert "etorolac" not in told  # prepared, not given
    assert "buprofen" not in told  # to be avoided
    assert "ollapse" not in json.dumps(resources(hip, "Observation"), default=str)  # a finding that was not there
    assert "omplication" not in json.dumps(resources(hip, "Condition"), default=str)


@pytest.mark.parametrize("status", ["planned", "conditional", "historical", "other_person"])
@pytest.mark.parametrize(
    "kind",
    "procedure medication preop_diagnosis complication specimen device blood_loss finding injection harvest_site "
    "anaesthesia draw".split(),
)
def test_no_status_but_performed_makes_a_clinical_resource(kind: str, status: str) -> None:
    told = notes.Telling()
    told.say(kind, name="thing", text="thing", value="5", unit="mL", laterality="left", status=status)
    assert clinical(document(told.note())) <= {"CarePlan"}


@pytest.mark.parametrize("kind", ["procedure", "medication", "preop_diagnosis", "complication", "specimen", "device",
                                  "drain", "finding", "injection", "anaesthesia"])  # fmt: skip
def test_what_was_negated_makes_no_clinical_resource(kind: str) -> None:
    told = notes.Telling()
    told.say(kind, name="thing", text="thing", laterality="left", certainty="negated")
    assert clinical(document(told.note())) == set()


def clinical(bundle: Any) -> set[str]:
    everywhere = {"Composition", "Patient", "Encounter", "Practitioner", "DocumentReference", "Provenance"}
    kinds = [entry["resource"] for entry in bundle["entry"]]
    software = {"Device"} if len([k for k in kinds if k["resourceType"] == "Device"]) == 1 else set()
    return {resource["resourceType"] for resource in kinds} - everywhere - software


def test_dose_volume_and_strength_stand_where_fhir_wants_them(hip: Any) -> None:
    block = next(m for m in resources(hip, "MedicationAdministration") if "0.25%" in m["dosage"]["text"])
    assert block["dosage"]["dose"] == {
        "value": Decimal(50), "unit": "mg", "system": "http://unitsofmeasure.org", "code": "mg",
    }  # fmt: skip
    volume = extension(block["dosage"], VOLUME)[0]["valueQuantity"]
    assert (str(volume["value"]), volume["code"]) == ("20.0", "mL")
    drug, adrenaline = target(hip, block["medicationReference"])["ingredient"]
    # 0.25 % is 0.25 g in 100 mL = 2.5 mg/mL (Medscape); 1:200,000 is 1 g in 200000 mL = 5 ug/mL (Medscape)
    top, bottom = drug["strength"]["numerator"], drug["strength"]["denominator"]
    assert (top["value"], top["code"], bottom["value"], bottom["code"]) == (Decimal("0.25"), "g", 100, "mL")
    assert top["value"] * 1000 / bottom["value"] == Decimal("2.5")
    top, bottom = adrenaline["strength"]["numerator"], adrenaline["strength"]["denominator"]
    assert top["value"] * 1000000 / bottom["value"] == 5


def test_a_drug_in_the_syringe_is_used_not_given(hip: Any) -> None:
    heparin = one(hip, "Medication", code="Heparin")
    assert heparin["ingredient"][0]["strength"]["numerator"]["code"] == "[USP'U]"
    given = {
        json.dumps(target(hip, m["medicationReference"])["code"]) for m in resources(hip, "MedicationAdministration")
    }
    assert not any("Heparin" in drug for drug in given)


def test_a_dose_never_said_is_absent_with_a_reason() -> None:
    told = notes.Telling()
    told.say("medication", name="morphine")
    dosage = resources(document(told.note()), "MedicationAdministration")[0]["dosage"]
    assert dosage["dose"]["extension"][0]["valueCode"] == "unknown"
    assert "value" not in dosage["dose"]


@pytest.mark.parametrize(
    ("shape", "reason"),
    [({"low": "2", "high": "4"}, "as-text"), ({"value": "4", "comparator": "<"}, "as-text")],
)
def test_a_dose_that_is_no_single_number_stands_in_words(shape: dict[str, str], reason: str) -> None:
    told = notes.Telling()
    told.say("medication", name="morphine", group="g")
    told.say("medication_dose", name="morphine", group="g", unit="mg", **shape)
    dosage = resources(document(told.note()), "MedicationAdministration")[0]["dosage"]
    assert dosage["dose"]["extension"][0]["valueCode"] == reason
    assert "4" in dosage["text"]


def test_two_doses_in_one_event_are_not_added_or_chosen() -> None:
    told = notes.Telling()
    told.say("medication", name="morphine", group="g")
    for value in ("2", "3"):
        told.say("medication_dose", name="morphine", group="g", value=value, unit="mg")
    dosage = resources(document(told.note()), "MedicationAdministration")[0]["dosage"]
    assert "value" not in dosage["dose"]
    assert "2 mg, 3 mg" in dosage["text"]


def test_numbers_keep_their_digits_and_units_are_ucum(hip: Any) -> None:
    draw = one(hip, "Observation", code="Draw: first")
    assert str(draw["valueQuantity"]["value"]) == "4.50"
    loss = one(hip, "Observation", code="9110-8")
    assert str(loss["valueQuantity"]["value"]) == "20.50"
    assert extension(loss["valueQuantity"], APPROXIMATE)[0]["valueBoolean"] is True
    assert "comparator" not in loss["valueQuantity"]
    span = one(hip, "Observation", code="Tip")["valueRange"]
    assert (span["low"]["value"], span["high"]["value"], span["low"]["code"]) == (8, 10, "mm")


@pytest.mark.parametrize("digits", ["0.10", "100", "1E+3", "0.000001", "12345678901234567.89", "-2.0", "007.50"])
def test_decimals_are_exact_and_without_exponent(digits: str) -> None:
    told = notes.Telling()
    told.say("blood_loss", value=digits, unit="mL")
    raw = fhir_document.write(told.note(), RULES, Site(), {}).decode()
    written = re.search(r'"valueQuantity": \{\s*"value": ([^,]+),', raw)
    assert written is not None
    assert written[1] == format(Decimal(digits), "f")


def test_a_number_without_unit_says_so_and_a_count_needs_none() -> None:
    told = notes.Telling()
    told.say("harvest_total", value="15", unit=None)
    told.say("draw_count", value="3")
    bundle = document(told.note())
    quantity = one(bundle, "Observation", code="Total harvested")["valueQuantity"]
    assert "code" not in quantity
    assert "system" not in quantity
    assert quantity["_unit"]["extension"][0]["valueCode"] == "unknown"
    assert one(bundle, "Observation", code="Number of draws")["valueInteger"] == 3


def test_a_unit_that_ucum_does_not_know_is_not_called_ucum() -> None:
    told = notes.Telling()
    told.say("blood_loss", value="2", unit="swabs")
    quantity = one(document(told.note()), "Observation", code="9110-8")["valueQuantity"]
    assert quantity == {"value": 2, "unit": "swabs"}


def test_every_unit_of_the_grammars_is_ucum() -> None:
    assert [row.ucum for row in RULES.table("units", Unit).values() if not is_ucum(row.ucum)] == []


@pytest.mark.parametrize(
    "code", ["mL", "mm[Hg]", "[USP'U]/mL", "10*9/L", "ug/kg/min", "{gauge}", "cm[H2O]", "/min", "m[iU]"]
)
def test_ucum_codes_hold(code: str) -> None:
    assert is_ucum(code)


@pytest.mark.parametrize(
    "code", ["", "mcg", "cc", "mmHg", "IU", "Fr", "µg", "mL.", "mg//kg", "hr", "m g", "{", "gauge"]
)
def test_what_looks_like_ucum_does_not_hold(code: str) -> None:
    assert not is_ucum(code)


def test_devices_carry_lot_serial_expiry_and_udi(hip: Any) -> None:
    screw = next(device for device in resources(hip, "Device") if "lotNumber" in device)
    assert (screw["lotNumber"], screw["serialNumber"], screw["expirationDate"]) == ("LX-2094", "000712", "2028-01-31")
    carrier = screw["udiCarrier"][0]
    assert carrier["deviceIdentifier"] == "09501101530003"
    assert carrier["carrierHRF"] == "(01)09501101530003(17)280131(10)LX-2094"


def test_a_udi_with_a_wrong_check_digit_keeps_its_words_only() -> None:
    told = notes.Telling()
    told.say("device", name="cannulated-screw", group="g", role="implanted")
    told.say("device_udi", group="g", text="(01)09501101530004(10)A")
    carrier = next(d for d in resources(document(told.note()), "Device") if "udiCarrier" in d)["udiCarrier"][0]
    assert "deviceIdentifier" not in carrier
    assert carrier["carrierHRF"].startswith("(01)0950110153000")


def test_aftercare_stands_in_a_plan_as_ordered(hip: Any) -> None:
    plan = one(hip, "CarePlan")
    assert (plan["status"], plan["intent"]) == ("draft", "plan")
    details = {activity["detail"]["code"]["text"]: activity["detail"] for activity in plan["activity"]}
    bounds = details["Crutches"]["scheduledTiming"]["repeat"]["boundsDuration"]
    assert (bounds["value"], bounds["code"]) == (6, "wk")
    assert details["Ibuprofen"]["doNotPerform"] is True
    assert details["Ibuprofen"]["kind"] == "MedicationRequest"
    assert "in 2 weeks" in json.dumps(details, default=str)
    assert "Only on a condition" in json.dumps(details, default=str)


def test_how_long_to_avoid_a_medicine_is_never_an_order_to_take_it() -> None:
    """The length may be a fact of its own, without group and role."""
    told = notes.Telling()
    told.say("medication", name="ibuprofen", role="avoid", status="planned", group="g1")
    told.say("aftercare", name="ibuprofen", value="6", unit="wk", status="planned")
    bundle = document(told.note())
    activities = resources(bundle, "CarePlan")[0]["activity"]
    assert len(activities) == 1
    assert activities[0]["detail"]["doNotPerform"] is True
    assert activities[0]["detail"]["scheduledTiming"]["repeat"]["boundsDuration"]["value"] == 6
    plan = next(s for s in bundle["entry"][0]["resource"]["section"] if s["title"] == "Aftercare")
    assert "Ibuprofen: 6 weeks [to be avoided]" in plan["text"]["div"]


@pytest.mark.parametrize(
    ("role", "mark"), [("prepared", "not given"), ("discarded", "discarded"), ("held", "not given")]
)
def test_what_was_not_given_says_so_in_the_text(role: str, mark: str) -> None:
    told = notes.Telling()
    told.say("medication", name="ketorolac", role=role, group="g")
    told.say("medication_dose", name="ketorolac", value="30", unit="mg", role=role, group="g")
    bundle = document(told.note())
    assert resources(bundle, "MedicationAdministration") == []
    assert mark in json.dumps(bundle["entry"][0]["resource"]["section"], default=str)


@pytest.mark.parametrize("label", ["avoid-impact", "no-lifting", "avoid-nsaids", "non-weight-bearing"])
def test_a_thing_already_named_as_not_to_be_done_is_not_negated_twice(label: str) -> None:
    told = notes.Telling()
    told.say("aftercare", name=label, role="avoid", status="planned")
    assert "doNotPerform" not in resources(document(told.note()), "CarePlan")[0]["activity"][0]["detail"]


def test_the_word_file_is_inside_with_size_and_sha1(hip: Any) -> None:
    attachment = one(hip, "DocumentReference")["content"][0]["attachment"]
    assert base64.b64decode(attachment["data"]) == DOCX
    assert attachment["size"] == len(DOCX)
    assert attachment["hash"] == base64.b64encode(hashlib.sha1(DOCX).digest()).decode()


def test_provenance_tells_who_said_heard_and_checked() -> None:
    bundle = document(notes.amended(notes.hip()))
    provenance = one(bundle, "Provenance")
    told = [(agent["type"]["text"], target(bundle, agent["who"])) for agent in provenance["agent"]]
    assert [text for text, _ in told] == [
        "said it", "heard it and wrote it down", "checked and signed it", "reviewed and decided",
    ]  # fmt: skip
    assert told[1][1]["resourceType"] == "Device"
    # "Dr Amara Obi" who signed is "Doctor Amara Obi" who operated
    assert told[2][1]["id"] == told[0][1]["id"] == told[3][1]["id"]
    assert provenance["recorded"] == "2026-03-02T12:05:00+00:00"


@pytest.mark.parametrize(("state", "status"), [("draft", "preliminary"), ("signed", "final"), ("amended", "amended")])
def test_the_state_of_the_note_shows_everywhere(state: str, status: str) -> None:
    bundle = document(STATES[state](notes.hip()))
    assert bundle["entry"][0]["resource"]["status"] == status
    assert one(bundle, "DocumentReference")["docStatus"] == status
    assert {observation["status"] for observation in resources(bundle, "Observation")} == {status}
    codes = {condition["verificationStatus"]["coding"][0]["code"] for condition in resources(bundle, "Condition")}
    assert codes == {"unconfirmed" if state == "draft" else "confirmed"}
    tags = {tag["code"] for act in resources(bundle, "Procedure") for tag in act.get("meta", {}).get("tag", [])}
    assert tags == ({"unsigned"} if state == "draft" else set())


def test_doubts_are_marked_on_value_resource_and_in_the_text() -> None:
    bundle = document(notes.signed(notes.doubtful()))
    dose = resources(bundle, "MedicationAdministration")[0]
    assert [part["valueString"] for part in extension(dose["dosage"]["dose"], DOUBT)] == ["also heard as 50000"]
    assert dose["meta"]["security"][0]["code"] == "UNCERTREL"
    act = resources(bundle, "Procedure")[0]
    assert "also heard as right" in json.dumps(act["note"])
    codes = {c["code"]["text"]: c["verificationStatus"]["coding"][0]["code"] for c in resources(bundle, "Condition")}
    assert set(codes.values()) == {"provisional"}  # suspected, and the note is signed
    told = json.dumps(bundle["entry"][0]["resource"]["section"])
    assert told.count("unsure:") >= 6
    assert "taken back: fifty" in told


def test_a_suspected_act_is_not_completed() -> None:
    told = notes.Telling()
    told.say("procedure", name="thing", text="thing", certainty="suspected")
    told.say("medication", name="morphine", certainty="suspected")
    bundle = document(notes.signed(told.note()))
    assert resources(bundle, "Procedure")[0]["status"] == "unknown"
    assert resources(bundle, "MedicationAdministration")[0]["status"] == "unknown"


def test_times_are_never_guessed() -> None:
    # without a zone a clock time gives no dateTime; without a day neither
    bundle = document(notes.hip(), Site())
    assert one(bundle, "Procedure", code="Core decompression")["performedDateTime"] == "2026-03-02"
    assert one(bundle, "Observation", code="Time: Incision")["valueTime"] == "08:42:00"
    told = notes.Telling()
    told.say("procedure", name="thing", text="thing")
    told.say("clock_time", name="incision", text="08:42")
    act = resources(document(told.note()), "Procedure")[0]
    assert act["performedPeriod"]["extension"][0]["valueCode"] == "unknown"
    assert "performedDateTime" not in act


@pytest.mark.parametrize("days", [("2026-03-02", "2026-03-03"), ("2026-02-30",), ("second of March",)])
def test_two_days_or_no_real_day_give_no_day(days: tuple[str, ...]) -> None:
    told = notes.Telling()
    told.say("procedure", name="thing", text="thing")
    for day in days:
        told.say("date", text=day)
    assert "extension" in resources(document(told.note()), "Procedure")[0]["performedPeriod"]


def test_an_operation_past_midnight_gets_no_period() -> None:
    told = notes.Telling()
    told.say("procedure", name="thing", text="thing")
    told.say("date", text="2026-03-02")
    told.say("clock_time", name="incision", text="23:40")
    told.say("clock_time", name="closure", text="00:30")
    assert resources(document(told.note()), "Procedure")[0]["performedDateTime"] == "2026-03-02"


def test_without_a_context_identities_are_marked_placeholders(hip: Any) -> None:
    for kind in ("Patient", "Encounter", "Practitioner"):
        for resource in resources(hip, kind):
            assert "placeholder" in {tag["code"] for tag in resource["meta"]["tag"]}
            assert "Placeholder" in resource["text"]["div"]
    assert one(hip, "Patient")["name"][0]["text"] == "Tobias Lind"
    assert resources(document(notes.empty()), "Patient")[0]["name"][0]["extension"][0]["valueCode"] == "unknown"


def _practitioner(family: str, given: str, number: str) -> dict[str, Any]:
    return {
        "resourceType": "Practitioner",
        "identifier": [{"system": "urn:oid:2.999.3", "value": number}],
        "name": [{"family": family, "given": [given]}],
    }


@pytest.mark.parametrize(
    ("listed", "linked"),
    [
        ([("Obi", "Amara", "1")], True),
        ([("Obi", "Ben", "1")], False),  # another given name
        ([("Obi", "Amara", "1"), ("Obi", "Amara", "2")], False),  # two of that name
        ([("Okafor", "Amara", "1")], False),
    ],
)
def test_a_spoken_name_is_linked_only_when_one_practitioner_fits(listed: list[Any], linked: bool) -> None:
    site = Site({"Practitioner": [_practitioner(*one) for one in listed]})
    bundle = document(notes.hip(), site)
    surgeon = target(bundle, bundle["entry"][0]["resource"]["author"][0])
    assert ("identifier" in surgeon and surgeon["identifier"][0]["system"] == "urn:oid:2.999.3") is linked


def test_people_of_the_site_are_merged_as_they_are() -> None:
    patient = {
        "resourceType": "Patient",
        "id": "p1",
        "identifier": [{"system": "urn:oid:2.999.1", "value": "77|12"}],
        "name": [{"family": "Lind", "given": ["Tobias"]}],
        "managingOrganization": {"reference": "Organization/elsewhere"},
    }
    bundle = document(notes.hip(), Site({"Patient": [patient]}))
    merged = one(bundle, "Patient")
    assert merged["identifier"] == patient["identifier"]
    assert "managingOrganization" not in merged  # leads out of the bundle
    sent = transaction(notes.hip(), Site({"Patient": [patient]}))
    request = next(e["request"] for e in sent["entry"] if e["resource"]["resourceType"] == "Patient")
    # a bar in a value is escaped in a token search (FHIR R4 search, 3.1.1.3.8)
    assert request["ifNoneExist"] == "identifier=urn:oid:2.999.1|77%5C%7C12"


def test_a_draft_is_created_once_and_a_signed_note_replaces_it() -> None:
    draft, signed = transaction(notes.hip()), transaction(notes.signed(notes.hip()))
    assert {entry["request"]["method"] for entry in draft["entry"]} == {"POST"}
    assert all(entry["request"]["ifNoneExist"] for entry in draft["entry"])
    assert {entry["request"]["method"] for entry in signed["entry"]} == {"PUT"}
    made = {entry["request"]["ifNoneExist"] for entry in draft["entry"]}
    replaced = {entry["request"]["url"].partition("?")[2] for entry in signed["entry"]}
    assert made == replaced
    known = Site({"Patient": [{"resourceType": "Patient", "identifier": [{"system": "urn:x", "value": "1"}]}]})
    again = transaction(notes.signed(notes.hip()), known)
    methods = {e["request"]["method"] for e in again["entry"] if e["resource"]["resourceType"] == "Patient"}
    assert methods == {"POST"}  # the hospital's own patient is never overwritten


def test_the_same_note_gives_the_same_bytes_and_another_note_other_ids() -> None:
    note = notes.hip()
    first = fhir_document.write(note, RULES, LONDON, {"docx": DOCX})
    assert first == fhir_document.write(notes.hip(), RULES, LONDON, {"docx": DOCX})
    other = document(note.model_copy(update={"id": "00000000-0000-5000-8000-000000000001"}))
    assert not {e["fullUrl"] for e in other["entry"]} & {e["fullUrl"] for e in json.loads(first)["entry"]}


def test_narrative_escapes_what_a_surgeon_says(hip: Any) -> None:
    told = json.dumps(hip["entry"][0]["resource"]["section"], ensure_ascii=False, default=str)
    assert "less than 3 cm &amp; the flow was &gt; 1 mL/s" in told
    odd = json.dumps(document(notes.odd_text())["entry"][0]["resource"]["section"], ensure_ascii=False, default=str)
    assert "<script>" not in odd
    assert notes.ARABIC in odd
    assert "🩹" in odd


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("name", notes.NOTES)
def test_every_note_keeps_our_own_rules(name: str, state: str) -> None:
    note = STATES[state](notes.NOTES[name]())
    assert rules.faults(bundles.document(note, RULES, LONDON, DOCX)) == []
    assert rules.faults(bundles.transaction(note, RULES, Site(), None)) == []


def test_every_resource_of_a_note_can_be_reached_even_when_no_section_holds_it() -> None:
    note = notes.hip()
    bare = note.model_copy(update={"sections": notes.empty().sections})
    bundle = document(bare)
    assert bundle["entry"][0]["resource"]["section"][-1]["title"] == "Further entries"
    assert len(bundle["entry"]) == len(document(note)["entry"])


def test_a_bundle_that_breaks_a_rule_is_not_written() -> None:
    note = notes.hip().model_copy(update={"made_at": "2026-03-02T11:40:00"})
    with pytest.raises(ExportError, match="time zone"):
        fhir_document.write(note, RULES, LONDON, {"docx": DOCX})


def test_two_hundred_draws_are_two_hundred_observations() -> None:
    bundle = document(notes.many_draws())
    draws = [o for o in resources(bundle, "Observation") if o["code"]["text"].startswith("Draw")]
    assert len(draws) == 200
    assert len({entry["fullUrl"] for entry in bundle["entry"]}) == len(bundle["entry"])


def test_a_fact_of_an_unknown_kind_does_not_stop_the_export() -> None:
    told = notes.Telling()
    fact = told.say("blood_loss", value="5", unit="mL")
    note = told.note().model_copy(update={"facts": [replace(fact, kind="from_a_newer_version")]})
    assert document(note)["type"] == "document"
