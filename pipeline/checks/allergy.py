"""A drug given to which an allergy was said."""

from __future__ import annotations

import re

from pipeline.checks.base import NOT_GIVEN, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug

MEANING = "A drug was given to which, or to the group of which, an allergy was said."

# Groups that allergies are said for, and how their members are named. WHO INN stems.
_STEMS = {"penicillin": ("cillin",), "sulfa": ("sulfa",), "sulpha": ("sulfa",), "cephalosporin": ("cef", "ceph"),
          "macrolide": ("thromycin",), "quinolone": ("floxacin",), "opioid": ("morphine", "codone")}  # fmt: skip


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    allergies = [fact for fact in note.of("allergy") if fact.certainty == "affirmed" and fact.status != "other_person"]
    found: list[Finding] = []
    told: set[tuple[str, str]] = set()
    for fact in note.of("medication"):
        drug = drugs.get(fact.name or "")
        given = fact.certainty == "affirmed" and fact.status in ("performed", "planned") and fact.role not in NOT_GIVEN
        if drug is None or not given:
            continue
        for allergy in allergies:
            if _named(allergy, drug) and (drug.id, allergy.id) not in told:
                told.add((drug.id, allergy.id))
                found.append(
                    finding(
                        "allergy",
                        "blocking",
                        f"An allergy was said ({allergy.text or allergy.name}), and {drug.name} is in the note as "
                        f"{'given' if fact.status == 'performed' else 'to be given'}.",
                        [allergy, fact],
                        ask="Say which is right.",
                    )
                )
    return found


def _named(allergy: Fact, drug: Drug) -> bool:
    words = set(re.findall(r"[a-z]+", f"{allergy.text or ''} {allergy.name or ''}".lower()))
    words |= {word.removesuffix("s") for word in words}
    if any(set(phrase.split()) <= words for phrase in drug.say):
        return True
    names = " ".join((drug.id, *drug.say))
    return any(word in words and any(stem in names for stem in stems) for word, stems in _STEMS.items())
