"""Whether a second operation, on the other side, is told on purpose: another side there is no slip of the tongue.

"Right knee arthroscopy and injection of the left knee" with a disease of either, two shoulders that each got their own
dose, "the left knee was injected too, as agreed". What was agreed on before (consent, time-out, marking) is never
explained away. Words that announce a second operation: common practice, no source.
"""

from __future__ import annotations

import re

from pipeline.checks._asides import around
from pipeline.checks._level_roles import AGREED
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Laterality

_ILL = ("preop_diagnosis", "postop_diagnosis", "diagnosis", "indication")
_DONE = ("procedure", "act", "injection", "injection_volume", "medication", "medication_dose", "medication_volume")
_HARVEST = ("harvest_site", "draw", "draw_count", "harvest_total")
_INJECTED = frozenset({"injection", "injection_volume"})
_OWN_DOSE = 30  # words from an injection to the dose that is its own
_ANNOUNCED = re.compile(
    r"\b(?:as (?:agreed|planned|discussed|consented|requested)|at (?:his|her|their) (?:own )?(?:wish|request)|"
    r"(?:in |at |during |under )?the same (?:sitting|session|anaesthetic|anesthetic|anaesthesia|anesthesia|time)|"
    r"same (?:sitting|session)|in addition|additionally|separate|separately|as well|also|"
    r"while (?:he|she|the patient) (?:was|is) asleep|while asleep|"
    r"second (?:procedure|operation)|took the opportunity)\b"
)


def announced(note: OperativeNote, operated: Fact, fact: Fact) -> bool:
    """Whether `fact`, on the other side than `operated`, is of a second operation that was told as one. Pure."""
    if fact.kind in AGREED or note.of(*_HARVEST) or fact.laterality is None or operated.laterality is None:
        return False
    if fact.kind not in _ILL and tells_both(note):
        return True
    return _in_title(note, operated.laterality, fact.laterality) or _own_dose(note, operated, fact) or (
        fact.kind not in ("preop_diagnosis", "postop_diagnosis")
        and _ANNOUNCED.search(around(note, fact.evidence, fact.laterality)) is not None
    )


def tells_both(note: OperativeNote) -> bool:
    """Whether the name of the operation says that something is done on the other side too ("and a biopsy of the testis
    on the other side", "two sides: I did the right, she the left"). Pure."""
    if note.of(*_HARVEST):
        return False
    opening = " ".join(one.text.lower() for one in _titles(note)[:_OPENING])
    if _GRAFT.search(opening) is not None:
        return False
    return _TOO.search(opening) is not None or any(_names_two(one) for one in _titles(note)[:1])


def _names_two(title: Passage) -> bool:
    """ "Op: right scarf and Akin, left 2nd toe PIP fusion": two operations, each with its side and its own words."""
    if title.section != "procedure":
        return False
    told = [(match[1].lower(), match[2].lower()) for match in _SIDED.finditer(_TITLE_ENDS.split(title.text)[0])]
    said = [(_FULL.get(side, side), noun) for side, noun in told]
    nouns = {side: {noun for one, noun in said if one == side} for side in ("left", "right")}
    return all(nouns.values()) and not nouns["left"] & nouns["right"]


# In speech without marks the diagnosis and the people follow in the same breath.
_TITLE_ENDS = re.compile(r"\b(?:diagnos[ei]s|dx|surgeon|mister|missus|miss|mr|mrs|ms|patient)\b", re.I)
_SIDED = re.compile(
    r"\b(left|right|(?-i:[LR])) ((?!lateral|decubitus|side|handed|arm|thigh|hand dominant)[\w-]{3,})", re.I
)
_FULL = {"l": "left", "r": "right"}


_OPENING = 3  # sentences
_TOO = re.compile(
    r"\band (?:an? )?[\w ]{3,40} (?:on|of|in) the (?:other|opposite|contralateral) (?:side|\w+)\b|\btwo sides\b|"
    r"\b(?:the )?right\b.{1,60}\b(?:other surgeon|doctor|dr\.?|mr\.?|miss|ms) [\w' ]{2,25} the left\b|"
    r"\bcontralateral (?!graft|hamstring|donor|harvest)\w+"
)
_GRAFT = re.compile(r"\b(?:graft|hamstring|donor|harvest)\w*\b")


def _titles(note: OperativeNote) -> list[Passage]:
    """The name of the operation, which may go on in the sentence behind its heading: "Op: phaco OD. Intravitreal
    bevacizumab OS, same sitting."; without a heading, what the narration opens with."""
    told = note.sections.description
    headed = [one for at, one in enumerate(told)
              if one.section == "procedure" or (at and told[at - 1].section == "procedure")]  # fmt: skip
    return headed or list(told[:_OPENING])


def _in_title(note: OperativeNote, side: Laterality, other: Laterality) -> bool:
    """Whether the name of the operation tells both sides, and each has a disease of its own."""
    ill = {one.laterality for one in note.of(*_ILL) if one.certainty == "affirmed"
           and around(note, one.evidence, one.laterality)}  # fmt: skip
    titles = _titles(note)
    return {side, other} <= ill and any(_tells(note, one, side) for one in titles) and any(
        _tells(note, one, other) for one in titles
    )


def _tells(note: OperativeNote, title: Passage, side: Laterality) -> bool:
    return any(one.side == side for one in title.sides) or any(
        fact.laterality == side and title.holds(fact) for fact in note.of(*_DONE)
    )


def _own_dose(note: OperativeNote, operated: Fact, fact: Fact) -> bool:
    """Whether either side was injected, and the drug of the one was given again, with a dose of its own, for the
    other."""
    first = [one for one in note.of("act", "injection") if one.name in _INJECTED
             and one.laterality == operated.laterality]  # fmt: skip
    second = [one for one in note.of("act", "injection") if one.name in _INJECTED
              and one.laterality == fact.laterality]  # fmt: skip
    doses = note.of("medication_dose", given=True)
    if fact.name not in _INJECTED and fact.kind not in _ILL:
        return False
    return any(
        one.evidence.first < two.evidence.first and any(
            two.evidence.first < dose.evidence.first <= two.evidence.last + _OWN_DOSE
            and any(earlier.name == dose.name and one.evidence.first < earlier.evidence.first < two.evidence.first
                    for earlier in doses)
            for dose in doses
        )
        for one in first for two in second
    ) or _by_side(doses, operated.laterality, fact.laterality)  # fmt: skip


def _by_side(doses: list[Fact], side: Laterality | None, other: Laterality | None) -> bool:
    """Whether a drug has doses on either side, each said there."""
    told = {(dose.name, dose.laterality) for dose in doses}
    return any((name, side) in told and (name, other) in told for name, _ in told)
