"""Whether a predicted fact is the one of the truth: number, unit, name, side, status, certainty."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from functools import cache

from gold_truth import Expected

from pipeline import grammar
from pipeline.records import Fact
from pipeline.rows import Kind

# Kinds whose truth is complete, so that a fact that is not listed is an invented one (README, convention 5).
CLOSED = frozenset(
    [
        "procedure",
        "preop_diagnosis",
        "postop_diagnosis",
        "diagnosis",
        "anaesthesia",
        "position",
        "complication",
        "blood_loss",
        "specimen",
        "count",
        "drain",
        "medication",
        "harvest_site",
        "injection",
    ]
)
INSTRUCTIONS = frozenset({"aftercare", "follow_up", "next_step", "warning_sign"})
CLOCK_EVENTS = frozenset(
    [
        "in_room",
        "induction",
        "antibiotic",
        "time_out",
        "incision",
        "tourniquet_up",
        "tourniquet_down",
        "closure",
        "out_of_room",
    ]
)
# An "unit" of activity is written in several ways; one USP unit of heparin equals one IU since October 2009 (FDA).
SAME_UNIT = {"U": "[USP'U]", "[IU]": "[USP'U]", "[iU]": "[USP'U]", "{unit}": "[USP'U]", "{units}": "[USP'U]"}
SECONDS = {"s": 1, "min": 60, "h": 3600}
NOTHING = frozenset({"none", "nil", "zero", "negligible", "no", "not measurable"})
BRITISH = (
    ("anesthe", "anaesthe"), ("hemo", "haemo"), ("hema", "haema"), ("edema", "oedema"), ("tumor", "tumour"),
    ("fiber", "fibre"), ("estrogen", "oestrogen"), ("esophag", "oesophag"), ("cesarean", "caesarean"),
    ("ischem", "ischaem"), ("leukoc", "leucoc"), ("fetal", "foetal"), ("feces", "faeces"), ("hernior", "hernior"),
)  # fmt: skip
IDLE = frozenset(
    [
        "a",
        "an",
        "the",
        "of",
        "in",
        "on",
        "at",
        "to",
        "for",
        "with",
        "and",
        "or",
        "by",
        "from",
        "was",
        "were",
        "is",
        "are",
        "into",
        "then",
        "left",
        "right",
        "bilateral",
        "both",
        "no",
        "not",
        "patient",
        "dr",
        "doctor",
        "mr",
        "mrs",
        "miss",
        "missus",
        "mister",
        "sent",
    ]
)


@cache
def words_of(text: str) -> frozenset[str]:
    """The words that carry meaning, lower case, British, without a plural s."""
    text = text.lower().replace("-", " ").replace("_", " ").replace("'s", "")
    for american, british in BRITISH:
        text = text.replace(american, british)
    found = re.findall(r"[a-z0-9.]+", text)
    return frozenset(
        word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word.strip(".")
        for word in found
        if word not in IDLE
    )


@cache
def sayings(ident: str) -> tuple[str, ...]:
    """Every label and saying of the grammar rows of that id, and the id in words."""
    found = [ident]
    for table, rows in grammar.load().tables.items():
        if table not in ("kinds", "units", "profiles", "limits") and ident in rows:
            found.extend((rows[ident].name, *rows[ident].say))
    return tuple(found)


def alike(said: str, candidates: Iterable[str | None]) -> bool:
    """Whether any candidate names the same thing: one set of words holds the other, or they share half."""
    truth = words_of(said)
    for candidate in candidates:
        if candidate is None:
            continue
        other = words_of(candidate)
        if candidate.strip().lower() == said.strip().lower():
            return True
        if truth and other and (truth <= other or other <= truth or len(truth & other) * 2 >= len(truth | other)):
            return True
    return False


def names_of(fact: Fact) -> list[str | None]:
    """What a predicted fact may be called."""
    names: list[str | None] = [fact.text, *(sayings(fact.name) if fact.name else ())]
    if fact.name and fact.body_site:
        names.append(f"{fact.name} {fact.body_site}")
    if fact.text and fact.body_site:
        names.append(f"{fact.text} {fact.body_site}")
    names.append(fact.evidence.heard)
    return names


@cache
def shape(kind: str) -> str:
    """What the value of a kind is (row of grammars/kinds.toml)."""
    row = grammar.load().row("kinds", kind)
    assert isinstance(row, Kind)
    return row.value


def is_numeric(fact: Fact) -> bool:
    return fact.value is not None or fact.low is not None


def same_unit(truth: str | None, given: str | None) -> bool:
    def plain(unit: str | None) -> str | None:
        if unit is None:
            return None
        head, slash, rest = unit.partition("/")
        return SAME_UNIT.get(head, head) + slash + rest

    return plain(truth) == plain(given)


def same_amount(truth: Expected, fact: Fact) -> bool:
    """The number (or range) and its unit; a time may be in another unit of time."""
    if (truth.value, truth.low, truth.high) == (fact.value, fact.low, fact.high):
        return same_unit(truth.unit, fact.unit) or (truth.or_unit is not None and same_unit(truth.or_unit, fact.unit))
    if truth.unit in SECONDS and fact.unit in SECONDS and truth.value is not None and fact.value is not None:
        return abs(truth.value * SECONDS[truth.unit] - fact.value * SECONDS[fact.unit]) < Decimal("0.5")
    return False


def same_number(truth: Expected, fact: Fact) -> bool:
    return (truth.value, truth.low, truth.high) == (fact.value, fact.low, fact.high)


def same_concept(truth: Expected, fact: Fact) -> bool:
    """Name and text, where the kind's value is a concept or words (the README tells what stands where)."""
    kind = fact.kind
    if kind == "count":
        heard = f"{fact.text or ''} {fact.name or ''}".lower()
        return ("incorrect" in heard) == ("incorrect" in (truth.text or "")) and bool(heard.strip())
    if kind == "blood_loss" and truth.text:
        said = (fact.text or fact.name or fact.evidence.heard).lower()
        if truth.text in NOTHING:
            nothing = bool(NOTHING & set(re.findall(r"[a-z]+", said))) or fact.certainty == "negated"
            return fact.value == 0 or (not is_numeric(fact) and nothing)
        return not is_numeric(fact) and truth.text in said
    if truth.name == "none" or (kind == "blood_loss" and truth.text in NOTHING):
        if fact.certainty != "negated":
            return False
        if kind != "complication":
            return True
        # "No dural tear" does not say that there were no complications.
        plain = words_of(f"{fact.name or ''} {fact.text or ''}") - NOTHING - {"apparent", "immediate", "intraoperative"}
        return plain <= words_of(kind)
    if truth.name == "same":
        return "same" in f"{fact.name or ''} {fact.text or ''} {fact.evidence.heard}".lower()
    if kind in ("clock_time", "date", "spinal_level", "patient_identifier") and truth.text:
        given = (fact.text or "").lower().replace(" ", "")
        same = given == truth.text.lower().replace(" ", "")
        same = same or (kind == "spinal_level" and alike(truth.text, [fact.text]))
        if kind == "clock_time" and truth.name in CLOCK_EVENTS:
            return same and alike(truth.name, [fact.name])
        return same
    if shape(kind) == "code":
        squeeze = re.compile(r"[^a-z0-9]")
        return squeeze.sub("", (truth.text or truth.name or "").lower()) == squeeze.sub("", (fact.text or "").lower())
    if kind == "suture":
        size = truth.text is None or (fact.text or "").strip() == truth.text
        return size and (truth.name is None or alike(truth.name, names_of(fact)))
    if kind == "team_member":
        return alike(truth.text or "", [fact.text])
    if shape(kind) == "grade":
        return truth.name is None or alike(truth.name, names_of(fact))
    if kind.startswith("medication_") and truth.kind.startswith("medication_") and truth.numeric:
        # A dose under another drug is as wrong as another dose.
        return truth.name in (None, "mixture") or named(truth, fact)
    if shape(kind) in ("quantity", "count") and truth.numeric:
        return True
    said = truth.name or truth.text
    return said is None or alike(said, names_of(fact))


def same_side(truth: Expected, fact: Fact, sides: frozenset[str]) -> bool:
    if truth.laterality == "none":
        return fact.laterality is None
    if truth.laterality is None:
        return fact.laterality is None or fact.laterality in sides
    if shape(fact.kind) == "text" and fact.laterality is None:
        return truth.laterality in (fact.text or "").lower()  # what is kept word for word keeps its side
    return fact.laterality == truth.laterality


def same_status(truth: Expected, fact: Fact) -> bool:
    if truth.role == "avoid":
        return fact.role == "avoid" or fact.certainty == "negated" or fact.status == "planned"
    if fact.kind in INSTRUCTIONS and truth.kind in INSTRUCTIONS:
        return fact.status != "historical"
    ahead = ("planned", "conditional")
    return fact.status == truth.status or (truth.optional and truth.status in ahead and fact.status in ahead)


def same_certainty(truth: Expected, fact: Fact) -> bool:
    if truth.role == "avoid" or truth.kind in INSTRUCTIONS:
        return True
    if truth.kind == "blood_loss" and (truth.text in NOTHING or truth.value == 0):
        return True
    if truth.certainty == "negated" and (fact.name or "").startswith("no-"):
        return True  # a row such as "no-leak" holds the negation in its name
    return fact.certainty == truth.certainty


def faults(truth: Expected, fact: Fact, sides: frozenset[str]) -> list[str]:
    """What is wrong with a prediction of this truth, in words; empty when it is right."""
    found = []
    if truth.numeric or is_numeric(fact):
        # A zero loss said as a word ("none") or as a number is the same.
        word_for_zero = truth.kind == "blood_loss" and not truth.numeric and fact.value == 0
        if not word_for_zero and not same_amount(truth, fact):
            found.append("unit" if same_number(truth, fact) else "value")
    if not same_concept(truth, fact):
        found.append("name")
    if not same_side(truth, fact, sides):
        found.append("side")
    if not same_status(truth, fact):
        found.append("status")
    if not same_certainty(truth, fact):
        found.append("certainty")
    return found


def named(truth: Expected, fact: Fact) -> bool:
    """Whether the fact is about the right thing (the drug of a dose, the event of a time)."""
    said = truth.name or truth.text
    return said is None or alike(said, [fact.text, fact.name, *(sayings(fact.name) if fact.name else ())])


def told_as_diagnosis(truth: Expected, fact: Fact) -> bool:
    """Whether a plain diagnosis repeats what the truth has as a diagnosis, a finding or a complication."""
    kinds = ("preop_diagnosis", "postop_diagnosis", "diagnosis", "finding", "complication", "indication", "measurement")
    said = truth.name or truth.text
    settled = (truth.status, truth.certainty) == (fact.status, fact.certainty)
    return truth.kind in kinds and settled and said is not None and alike(said, names_of(fact))


def hits(absent: Expected, fact: Fact) -> bool:
    """Whether a prediction is what the truth says must not be there."""
    if absent.numeric:
        loose = absent.kind in ("measurement", "duration") and absent.unit is None
        kind = is_numeric(fact) and fact.unit is None if loose else fact.kind == absent.kind
        return (
            kind
            and same_number(absent, fact)
            and (absent.unit is None or same_unit(absent.unit, fact.unit))
            and fact.status == absent.status
            and fact.certainty == absent.certainty
            and (absent.laterality in (None, fact.laterality))
        )
    if fact.kind != absent.kind or fact.status != absent.status or fact.certainty != absent.certainty:
        return False
    if absent.laterality not in (None, fact.laterality):
        return False
    if absent.name in (None, "none") or absent.text:
        return same_concept(absent, fact)
    wanted = words_of(absent.name)
    said = [fact.text, *(sayings(fact.name) if fact.name else ())]
    return any(wanted <= words_of(name) for name in said if name)


def told_as_not_done(absent: Expected, fact: Fact) -> bool:
    """Whether a prediction says of what must not be there that it was not done, or not yet."""
    undone = fact.status not in ("performed", absent.status) or fact.certainty not in ("affirmed", absent.certainty)
    claim = (absent.status, absent.certainty) == ("performed", "affirmed")
    return claim and undone and hits(absent, replace(fact, status=absent.status, certainty=absent.certainty))  # type: ignore[arg-type]


def judged(fact: Fact) -> bool:
    """Whether a fact that is not in the truth counts as invented. What was before the operation is not of the note."""
    if fact.status in ("historical", "other_person"):
        return False
    return is_numeric(fact) or fact.kind in CLOSED or fact.kind == "clock_time"
