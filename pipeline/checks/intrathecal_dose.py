"""What was given into the spine against what may be given there: a tenth of what is given elsewhere."""

from __future__ import annotations

import re

from pipeline.checks.base import NOT_GIVEN, amount, finding, shown, span
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding
from pipeline.rows import Drug

MEANING = "A dose said of a spinal anaesthetic is far above what is given intrathecally."

_SPINAL = re.compile(
    r"\b(?:spinal|intrathecal(?:ly)?|subarachnoid)\b(?! (?:canal|cord|level|fusion|stenosis|surgery))", re.I
)
_ELSEWHERE = re.compile(r"\b(?:intravenous\w*|iv|infiltrat\w*|local|portals?|wound|block|then|plus|and)\b|[.;+]", re.I)
_INTO = re.compile(
    r"\b(?:into|at|around|in|to) the (?!spin|intrathecal|subarach)\w+|\binfiltrat\w*|\bintravenous\w*", re.I
)
_AHEAD = 5  # words behind the dose
_REACH = 12  # words behind the word for it


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    found: list[Finding] = []
    for fact in note.of("medication_dose"):
        row = limit(grammar, note.profile, "intrathecal", drug=fact.name or "")
        if row is None or row.high is None or fact.certainty == "negated" or fact.role in NOT_GIVEN:
            continue
        said = span(fact, row.unit)
        if said is None or said.low is None or said.low <= row.high:
            continue
        if any(passage.holds(fact) and _is_intrathecal(passage, fact) for passage in note.sections.description):
            name = drugs[fact.name or ""].name
            found.append(
                finding(
                    "intrathecal_dose",
                    "warning",
                    f"{name}: {shown(fact)} is far above what is given into the spine.",
                    [fact],
                    arithmetic=f"{shown(fact)} against at most {amount(row.high, row.unit)} ({row.source})",
                    ask="Say the dose again, with its unit.",
                )
            )
    return found


def _is_intrathecal(passage: Passage, fact: Fact) -> bool:
    """Whether the word for it stands right before the dose, with no other way of giving between."""
    words = passage.text.split()
    at = fact.evidence.first - passage.evidence.first
    lead = " ".join(words[max(0, at - _REACH) : at + 1])
    places = [match.end() for match in _SPINAL.finditer(lead)]
    own = _SPINAL.search(fact.evidence.heard) is not None
    if not places and not own:
        return False
    behind = lead[places[-1] :] if places else ""
    ahead = " ".join(words[at : at + len(fact.evidence.heard.split()) + _AHEAD])
    return _ELSEWHERE.search(behind) is None and _INTO.search(ahead) is None
