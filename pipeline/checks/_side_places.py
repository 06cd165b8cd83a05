"""How sides stand in the note: of two limbs told beside one another, of a remark, in a list, under a label, in turn."""

from __future__ import annotations

import re

from pipeline.checks._asides import is_treated
from pipeline.note import OperativeNote
from pipeline.records import Fact

TOGETHER = 20  # words


def each_limb(note: OperativeNote, fact: Fact, side: str | None) -> bool:
    """Whether the operated side is told of right before an order for the other."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None or side is None:
        return False
    at = fact.evidence.first - passage.evidence.first
    named = [one.evidence.last + 1 - passage.evidence.first for one in note.of("procedure") if passage.holds(one)]
    begins = max([0, at - _BEFORE, *(last for last in named if last <= at)])  # not the side of the operation's name
    return side in [word.strip(".,;:").lower() for word in passage.text.split()[begins:at]]


_BEFORE = 8  # words


def is_one_more(note: OperativeNote, fact: Fact, told: list[Fact]) -> bool:
    """ "Left below knee amputation for gangrene. ... Right foot ulcer dressed": another illness, told in passing, where
    the operated side has its own and nothing is cut."""
    if fact.kind != "diagnosis" or not told or fact.name in {one.name for one in told}:
        return False
    passage = next((at for at, one in enumerate(note.sections.description) if one.holds(fact)), 0)
    if not passage or note.sections.description[passage].section in _STATING:
        return False
    return not is_treated(note, fact.evidence, fact.laterality)


_STATING = frozenset({"diagnosis", "preop-diagnosis", "postop-diagnosis", "both-diagnoses", "indication", "procedure",
                      "consent"})  # fmt: skip


def under_label(note: OperativeNote, fact: Fact) -> bool:
    """ "R: mastectomy, 540 g." and "L: mastectomy, 610 g.": told behind the label of its side."""
    return any(one.holds(fact) and (match := _LABEL.match(one.text)) is not None and fact.laterality is not None
               and fact.laterality.startswith(match[1].lower()) for one in note.sections.description)  # fmt: skip


_LABEL = re.compile(r"(left|right|l|r)(?: (?:side|breast|knee|eye|ear|groin|hip|shoulder))?:", re.IGNORECASE)


def in_list(note: OperativeNote, fact: Fact) -> bool:
    return any(passage.section == "procedure" and passage.holds(fact) for passage in note.sections.description)


def in_one(note: OperativeNote, first: Fact, second: Fact) -> bool:
    """ "Right rectus recessed 5 mm, left rectus recessed 5.5 mm": told side by side, each with its own."""
    near = second.evidence.first - first.evidence.last <= TOGETHER
    if near and any(one.holds(first) and one.holds(second) for one in note.sections.description):
        return True
    return _in_turn(note, first, second)


_AGREED = re.compile(r"\b(?:consent\w*|time[- ]?out|marked|diagnosis|planned|booked|listed)\b", re.I)


def _in_turn(note: OperativeNote, first: Fact, second: Fact) -> bool:
    """ "Left tonsil out, dry. Right tonsil out.": two acts in the same words, in sentences that follow one another."""
    places = [next((at for at, one in enumerate(note.sections.description) if one.holds(fact)), None)
              for fact in (first, second)]  # fmt: skip
    if None in places or places[1] != (places[0] or 0) + 1 or in_list(note, first):
        return False
    if any(_AGREED.search(note.sections.description[at or 0].text) for at in places):
        return False
    words = [fact.evidence.heard.lower().strip(".,;:") for fact in (first, second)]
    return words[0] == words[1] and note.sections.description[places[0] or 0].section not in _TITLED


_TITLED = frozenset({"procedure", "preop-diagnosis", "postop-diagnosis", "diagnosis", "consent", "indication"})
