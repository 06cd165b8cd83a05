"""The form of codes that a coder enters. Only the form is checked: which code is right is the coder's to know."""

from __future__ import annotations

import re

from pipeline.errors import BadDecision
from pipeline.note import Code

# kind -> (URI by HL7 Terminology, form, example). ICD-10-CM: guidelines I.A.2 (3 to 7 characters, a point after the
# third); ICD-10-PCS: seven of digits and letters without I and O (guideline A1, reference manual); CPT: five digits,
# or four and F, T or U.
FORMS = {
    "icd-10-cm": ("http://hl7.org/fhir/sid/icd-10-cm", r"[A-Z][0-9][0-9A-Z](\.[0-9A-Z]{1,4})?", "M25.572"),
    "icd-10-pcs": ("http://www.cms.gov/Medicare/Coding/ICD10", r"[0-9A-HJ-NP-Z]{7}", "0SBG4ZZ"),
    "cpt": ("http://www.ama-assn.org/go/cpt", r"[0-9]{4}[0-9FTU]", "five characters"),
}
LABELS = {"icd-10-cm": "ICD-10-CM", "icd-10-pcs": "ICD-10-PCS", "cpt": "CPT"}


def checked(kind: str, typed: str, display: str, facts: list[str]) -> Code:
    """The code as it goes into the note. Raises BadDecision that says what form it should have."""
    if kind not in FORMS:
        raise BadDecision(f"The kind of code {kind!r} is not known.", f"Known: {', '.join(FORMS)}.")
    system, form, example = FORMS[kind]
    code = typed.strip().upper()
    if kind == "icd-10-cm" and len(code) > 3 and "." not in code:
        code = f"{code[:3]}.{code[3:]}"
    if not re.fullmatch(form, code):
        raise BadDecision(f"'{typed.strip()}' has not the form of {LABELS[kind]}.", f"It looks like this: {example}.")
    return Code(system=system, code=code, display=" ".join(display.split()), facts=facts)


def kind(system: str) -> str:
    """The kind of code of a URI, "" when it is not known."""
    return next((name for name, (uri, _, _) in FORMS.items() if uri == system), "")


def label(system: str) -> str:
    """The name of a code system by its URI."""
    return next((LABELS[kind] for kind, (uri, _, _) in FORMS.items() if uri == system), system)
