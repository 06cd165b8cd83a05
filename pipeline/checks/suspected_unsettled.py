"""Something suspected of which nobody said whether it was there."""

from __future__ import annotations

import re
from dataclasses import replace

from pipeline import mentions
from pipeline.checks.base import called, finding, read
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding, Sentence
from pipeline.rows import Concept

MEANING = "A finding, diagnosis or complication was suspected, and never confirmed or ruled out."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    kinds = ("finding", "diagnosis", "preop_diagnosis", "postop_diagnosis", "complication")
    said = [fact for fact in note.of(*kinds) if fact.status in ("performed", "planned")]
    # "Same" after the operation confirms what was thought before it.
    confirmed = any(
        fact.name == "same" or (fact.text or "").lower() in ("same", "the same")
        for fact in note.of("postop_diagnosis")
        if fact.certainty == "affirmed"
    )
    found = _complications(note, grammar)
    places = [piece for one in found for piece in one.evidence]
    told: set[str] = set()
    for fact in said:
        what = fact.name or fact.text or ""
        if any(piece.first <= fact.evidence.first <= piece.last for piece in places):
            continue
        if fact.certainty != "suspected" or not what or what in told:
            continue
        if _settled(fact, said) or (confirmed and fact.kind == "preop_diagnosis"):
            continue
        told.add(what)
        found.append(
            finding(
                "suspected_unsettled",
                "warning" if fact.kind == "complication" else "note",
                f"{called(fact, grammar)} was suspected; whether it was there was not said.",
                [fact],
                ask="Say whether it was confirmed or not.",
            )
        )
    return found


# What was told of risks, or of why one operates, is no suspicion of what happened today.
_TALK = re.compile(r"\b(?:risks?|benefits|alternatives|discussed|explained|consent(?:ed)?|understands|including|"
                   r"patient (?:was|is) concerned)\b", re.I)  # fmt: skip
_ELSEWHERE = frozenset({"indication", "history", "imaging", "consent", "aftercare", "follow-up", "preop-diagnosis",
                        "postop-diagnosis", "both-diagnoses", "diagnosis", "findings"})  # fmt: skip
_GRAVE = frozenset({"organ", "systemic", "bone"})
_GRAVE_IDS = frozenset({"dural-tear", "nerve-injury", "vascular-injury", "haemorrhage"})
_UNSURE = re.compile(
    r"\b(?:suspect(?:ed|s)?|suspicion|possible|possibly|probable|questionable|query|queried|questioned|likely|"
    r"presumed|may have|might have|could have|"
    r"concerns? (?:for|about)|worried about|not sure|unsure|unclear|cannot exclude|can't exclude)\b", re.I,
)  # fmt: skip
_DOUBTS = ("suspect", "suspicion", "possibl", "probable", "question", "quer", "likely", "presumed", "may have",
           "might have", "could have", "concern", "worried about", "not sure", "unsure", "unclear",
           "exclude")  # fmt: skip
_MAY_HAVE = re.compile(
    r"\b(?:may|might|could) have (?:been )?(?:injured|nicked|torn|cut|perforated|stretched|damaged|punctured|entered|"
    r"breached|lacerated|burn(?:t|ed)|avulsed|broken|bruised|divided)\b", re.I,
)  # fmt: skip
_SETTLES = re.compile(
    r"\b(?:excluded|ruled out|no evidence|intact|confirmed|repaired|sutured|oversewn|negative|not found|no leak|"
    r"undamaged|uninjured|was not|were not|tested|none|(?:film|x-?ray|radiograph|cxr|ct|scan|test|dye|\w+gram) "
    r"(?:was |were |is |looked )?(?:clear|normal|fine|unremarkable|dry))\b", re.I,
)  # fmt: skip


def _complications(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """A complication that may have happened, read from the sentences: no fact holds what was only suspected."""
    passages = note.sections.description
    found: list[Finding] = []
    told: set[str] = set()
    for place, passage in enumerate(passages if note.says(*_DOUBTS) else ()):
        unsure = _UNSURE.search(passage.text)
        if unsure is None or _TALK.search(passage.text) or passage.section in _ELSEWHERE:
            continue
        what = _what(passage, grammar)
        if not what or what in told or _is_settled(note, passages[place:], what, unsure.end()):
            continue
        told.add(what)
        made = finding(
            "suspected_unsettled", "warning", f"{what} was suspected; whether it was there was not said.",
            ask="Say whether it was confirmed or not.", about=f"w{passage.evidence.first}",
        )  # fmt: skip
        found.append(replace(made, evidence=(passage.evidence,)))
    return found


def _what(passage: Passage, grammar: Grammar) -> str:
    """The complication that a sentence suspects, in its own words; "" for none."""
    rows = grammar.table("complications", Concept)
    sentence = mentions.mark(Sentence(0, tuple(read(passage))), grammar)
    for mention in sentence.mentions:
        row = rows.get(mention.id) if mention.table == "complications" else None
        if row is not None and (row.group in _GRAVE or row.id in _GRAVE_IDS):
            return " ".join(token.text for token in sentence.tokens[mention.first : mention.last + 1]).strip(".,")
    happened = _MAY_HAVE.search(passage.text)
    return happened[0] if happened is not None else ""


def _is_settled(note: OperativeNote, passages: list[Passage], what: str, after: int) -> bool:
    """Whether what was suspected is settled behind it, or stands as a complication that was told or denied."""
    words = {word for word in re.findall(r"[a-z]+", what.lower()) if len(word) > 3} - {"have", "been", "injury", "tear"}
    for place, passage in enumerate(passages):
        text = passage.text[after:] if place == 0 else passage.text
        near = place == 0 or words & set(re.findall(r"[a-z]+", text.lower())) or place == 1
        if near and _SETTLES.search(text):
            return True
    return any(
        what.lower() in fact.evidence.heard.lower()
        for fact in note.of("complication", "finding") if fact.certainty != "suspected" and fact.status == "performed"
    )  # fmt: skip


def _settled(fact: Fact, said: list[Fact]) -> bool:
    what = fact.name or fact.text
    return any((other.name or other.text) == what and other.certainty != "suspected" for other in said)
