"""Said that there was none, and said that there was one."""

from __future__ import annotations

from pipeline.checks.base import called, finding, given, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "Drains, specimens, implants or a tourniquet were said not to be there, and told elsewhere in the note."

# What says "none", and the kinds that say otherwise.
_PAIRS = {
    "drain": ("drain", "drain_size"),
    "specimen": ("specimen", "specimen_count"),
    "device": ("device",),
    "tourniquet": ("tourniquet_pressure", "tourniquet_time"),
    "suture": ("suture",),
}
# Rows of drains.toml that nobody means with "no drain".
_NO_WOUND_DRAIN = frozenset({"urinary-catheter", "suprapubic-catheter", "nasogastric-tube", "pain-catheter", "t-tube",
                             "nephrostomy", "chest-tube", "external-ventricular-drain", "lumbar-drain"})  # fmt: skip
_WORDS = frozenset({"none", "nil", "no", ""})


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for kind, others in _PAIRS.items():
        none = next((fact for fact in note.of(kind) if fact.certainty == "negated" and _wholly(fact, kind)), None)
        if none is None:
            continue
        against = [fact for fact in given(note, *others) if _stands(fact)]
        if against:
            what = called(against[0], grammar) or shown(against[0])
            found.append(
                finding(
                    "none_but_said",
                    "warning",
                    f"No {kind} was said, but also: {what}.",
                    [none, *against],
                    ask="Say which is right.",
                )
            )
    return found


def _wholly(fact: Fact, kind: str) -> bool:
    """Whether a negation is about all of the kind ("no drains") and not about one ("no bile in the drain")."""
    if fact.status != "performed" or fact.body_site or fact.laterality:
        return False
    return (fact.name or "") in _WORDS | {kind, "implant"} and (fact.text or "").lower() in _WORDS | {kind, f"{kind}s"}


def _stands(fact: Fact) -> bool:
    if fact.name in _NO_WOUND_DRAIN:
        return False
    return fact.kind != "device" or fact.role == "implanted"
