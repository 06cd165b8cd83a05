"""Systems, extensions and other fixed names of the FHIR exports.

HL7's own extensions are used where one exists. Those of this project hang under an OID made from a UUID
(2.25, ITU-T X.667), which needs no registration and no domain:

    .1  doubt        string   why a value is unsure, in plain words (any element)
    .2  approximate  boolean  said as "about" (Quantity)
    .3  volume       Quantity the volume in which a dose was given (Dosage)
    .4  evidence     complex  where it was said: words heard, start and end in seconds, confidence (any resource)
    .5  tags         code system: "unsigned", "placeholder"
    .6  scale        code     "each", "per_side" or "total" (any element)
    .7  role        string   what it was for (any resource)
    .8  identifier system: SHA-256 of the source, in hexadecimal
    .9  identifier system: UUIDs of resources made from notes. Not written as urn:uuid, since servers replace every
        urn that is the fullUrl of an entry, in identifiers too, and would then not find the resource again
"""

from __future__ import annotations

_OID = "urn:oid:2.25.322726797448982548761573381824660901815"
DOUBT = f"{_OID}.1"
APPROXIMATE = f"{_OID}.2"
VOLUME = f"{_OID}.3"
EVIDENCE = f"{_OID}.4"
TAGS = f"{_OID}.5"
SCALE = f"{_OID}.6"
ROLE = f"{_OID}.7"
SHA256 = f"{_OID}.8"
RECORDS = f"{_OID}.9"

ABSENT = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
TARGET_BODY = "http://hl7.org/fhir/StructureDefinition/procedure-targetBodyStructure"
VERSION = "http://hl7.org/fhir/StructureDefinition/composition-clinicaldocument-versionNumber"
INCISION = "http://hl7.org/fhir/StructureDefinition/procedure-incisionDateTime"

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
SNOMED = "http://snomed.info/sct"
TERMS = "http://terminology.hl7.org/CodeSystem/"
XHTML = "http://www.w3.org/1999/xhtml"

# SNOMED CT identifiers of sides: the plain qualifier, and the one of the value set bodystructure-relative-location
# of the FHIR R4 specification (bilateral is the same in both).
SIDES = {
    "left": (("7771000", "Left"), ("419161000", "Unilateral left")),
    "right": (("24028007", "Right"), ("419465000", "Unilateral right")),
    "bilateral": (("51440002", "Bilateral"),),
}
