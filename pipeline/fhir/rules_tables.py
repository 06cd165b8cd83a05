"""Codes of required bindings and allowed targets of references, of the resources that this project writes.

Source: FHIR R4 4.0.1, the value sets and element definitions of each resource.
"""

from __future__ import annotations

from pipeline.fhir.names import SIDES, SNOMED, TERMS

_PROCEDURE_STATUS = "preparation in-progress not-done on-hold stopped completed entered-in-error unknown"
_WHO = frozenset({"Practitioner", "PractitionerRole", "Patient", "Device", "RelatedPerson", "Organization"})


def _set(text: str) -> frozenset[str]:
    return frozenset(text.split())


CODES: dict[str, frozenset[str]] = {
    "Composition.status": _set("preliminary final amended entered-in-error"),
    "Composition.attester.mode": _set("personal professional legal official"),
    "Composition.section.mode": _set("working snapshot changes"),
    "Procedure.status": _set(_PROCEDURE_STATUS),
    "MedicationAdministration.status": _set("in-progress not-done on-hold completed entered-in-error stopped unknown"),
    "Medication.status": _set("active inactive entered-in-error"),
    "Observation.status": _set("registered preliminary final amended corrected cancelled entered-in-error unknown"),
    "DocumentReference.status": _set("current superseded entered-in-error"),
    "DocumentReference.docStatus": _set("preliminary final amended entered-in-error"),
    "DocumentReference.relatesTo.code": _set("replaces transforms signs appends"),
    "CarePlan.status": _set("draft active on-hold revoked completed entered-in-error unknown"),
    "CarePlan.intent": _set("proposal plan order option"),
    "CarePlan.activity.detail.status": _set(
        "not-started scheduled in-progress on-hold completed cancelled stopped unknown entered-in-error"
    ),
    "CarePlan.activity.detail.kind": _set(
        "Appointment CommunicationRequest DeviceRequest MedicationRequest NutritionOrder Task ServiceRequest "
        "VisionPrescription"
    ),
    "Encounter.status": _set("planned arrived triaged in-progress onleave finished cancelled entered-in-error unknown"),
    "Patient.gender": _set("male female other unknown"),
    "Practitioner.gender": _set("male female other unknown"),
    "Device.status": _set("active inactive entered-in-error unknown"),
    "Device.udiCarrier.entryType": _set("barcode rfid manual card self-reported unknown"),
    "Device.deviceName.type": _set(
        "udi-label-name user-friendly-name patient-reported-name manufacturer-name model-name other"
    ),
    "Specimen.status": _set("available unavailable unsatisfactory entered-in-error"),
    "Provenance.entity.role": _set("derivation revision quotation source removal"),
    "*.comparator": _set("< <= >= >"),
    "*.use": _set("usual official temp secondary old nickname anonymous maiden home work mobile billing"),
}

SYSTEMS: dict[str, frozenset[str]] = {
    f"{TERMS}condition-ver-status": _set("unconfirmed provisional differential confirmed refuted entered-in-error"),
    f"{TERMS}condition-clinical": _set("active recurrence relapse inactive remission resolved"),
    f"{TERMS}condition-category": _set("problem-list-item encounter-diagnosis"),
    f"{TERMS}list-empty-reason": _set("nilknown notasked withheld unavailable notstarted closed"),
    f"{TERMS}observation-category": _set(
        "social-history vital-signs imaging laboratory procedure survey exam therapy activity"
    ),
    f"{TERMS}provenance-participant-type": _set(
        "enterer performer author verifier legal attester informant custodian assembler composer"
    ),
    f"{TERMS}diagnosis-role": _set("AD DD CC CM pre-op post-op billing"),
    f"{TERMS}data-absent-reason": _set(
        "unknown asked-unknown temp-unknown not-asked asked-declined masked not-applicable unsupported as-text error "
        "not-a-number negative-infinity positive-infinity not-performed not-permitted"
    ),
    "http://hl7.org/fhir/device-action": _set("implanted explanted manipulated"),
    SNOMED: frozenset(code for side in SIDES.values() for code, _ in side),
}

_DONE = frozenset({"Procedure", "Observation", "MedicationAdministration"})
TARGETS: dict[str, frozenset[str]] = {
    "*.subject": frozenset({"Patient"}),
    "*.patient": frozenset({"Patient"}),
    "*.encounter": frozenset({"Encounter"}),
    "*.custodian": frozenset({"Organization"}),
    "Composition.author": _WHO,
    "Composition.attester.party": _WHO - {"Device"},
    "Composition.section.entry": frozenset(
        {"Procedure", "Observation", "Condition", "MedicationAdministration", "Medication", "Specimen", "Device",
         "BodyStructure", "CarePlan", "DocumentReference", "Patient", "Practitioner", "Encounter"}
    ),
    "Composition.event.detail": frozenset({"Procedure"}),
    "Encounter.serviceProvider": frozenset({"Organization"}),
    "Procedure.performer.actor": _WHO,
    "Procedure.partOf": _DONE,
    "Procedure.reasonReference": frozenset({"Condition", "Observation", "Procedure", "DocumentReference"}),
    "Procedure.complicationDetail": frozenset({"Condition"}),
    "Procedure.report": frozenset({"DiagnosticReport", "DocumentReference", "Composition"}),
    "Procedure.focalDevice.manipulated": frozenset({"Device"}),
    "Procedure.usedReference": frozenset({"Device", "Medication", "Substance"}),
    "Procedure.extension.valueReference": frozenset({"BodyStructure"}),
    "MedicationAdministration.medicationReference": frozenset({"Medication"}),
    "MedicationAdministration.context": frozenset({"Encounter"}),
    "MedicationAdministration.partOf": frozenset({"Procedure", "MedicationAdministration"}),
    "Observation.partOf": frozenset({"Procedure", "MedicationAdministration"}),
    "CarePlan.author": _WHO,
    "DocumentReference.author": _WHO,
    "DocumentReference.context.encounter": frozenset({"Encounter"}),
    "Provenance.target": frozenset(
        {"Composition", "DocumentReference", "Procedure", "Observation", "Condition", "MedicationAdministration",
         "Medication", "Specimen", "Device", "BodyStructure", "CarePlan"}
    ),
    "Provenance.agent.who": _WHO,
}  # fmt: skip
