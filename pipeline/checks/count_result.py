"""Swab, needle and instrument counts that are not right."""

from __future__ import annotations

import re
from dataclasses import replace

from pipeline.checks import _counted_back
from pipeline.checks._words import after, matches
from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding, Severity

MEANING = (
    "A count was said to be incorrect or still to be done, or only the first one to be correct, something to be "
    "missing or retained, a piece of a broken instrument to be left, a count as correct and incorrect, or "
    "other than what went out to have come back."
)

_THINGS = (
    r"(?:(?:raytec|lap(?:arotomy)?|surgical|suture|abdominal|gauze) )?(?:sponges?|swabs?|needles?|instruments?|packs?|"
    r"clamps?|blades?|gauzes?|laps|mops?|pledgets?|patties|patty|cottonoids?|forceps)"
)
_SHORT = re.compile(
    r"\bcounts? (?:\w+ ){0,3}(?:short|off|out by|wrong|discrepan\w+|did not (?:match|tally|agree)|didn't (?:match|"
    r"tally|agree)|mismatch\w*)\b|\bcount discrepanc\w+|"
    rf"\b{_THINGS}(?: (?:tip|point|fragment|piece|end|bit|half))? (?:is |was |were |are )?(?:still )?(?:missing|"
    r"unaccounted|lost|not (?:found|accounted|recovered|retrieved|seen)|never found|(?:could|can) ?(?:not|n't) be "
    r"(?:found|recovered|retrieved|located|seen)|couldn't be (?:found|recovered|retrieved|located)|"
    rf"(?:one |two |three )?short)\b|\b(?:missing|retained) (?:a |an |one |two )?{_THINGS}\b|"
    rf"\b{_THINGS} (?:is |was |were )?(?:retained|left behind)\b", re.I,
)  # fmt: skip
_WRONG = ("short", " off", "out by", "wrong", "discrepan", "match", "tally", "agree", "missing", "accounted", "lost",
          "not found", "never found", "be found", "recovered", "retrieved", "located", "not seen", "be seen",
          "retained", "left behind")  # fmt: skip
_BROKEN = re.compile(
    r"\b(?:broke|broken|snapped|sheared|fractured)\b(?:[ ,]+[\w.]+){0,8}?[ ,]+(?:(?:was |is |were )?(?:left|retained) "
    r"(?:in|inside|behind|where|within)|remains?|remained|stayed)", re.I,
)  # fmt: skip
_BREAKS = ("broke", "snapped", "sheared", "fractured")
_TOOL = re.compile(r"\b(?:drill|bit|wire|pin|needle|blade|tip|shaver|burr|reamer|screw|instrument|punch|cannula|driver|"
                   r"suture passer|anchor inserter|guide)\b", re.I)  # fmt: skip
_FOUND = re.compile(r"\b(?:found|recovered|located|retrieved|accounted for|resolved|reconciled)\b|"
                    r"\b(?:final|closing|last|second|repeat|third) (?:\w+ ){0,2}counts? (?:\w+ ){0,2}(?:correct|right|"
                    r"complete)\b|\bcounts? (?:\w+ ){0,4}then (?:\w+ )?correct\b", re.I)  # fmt: skip
_UNDONE = re.compile(
    rf"\b(?:counts?|{_THINGS})(?: count)? (?:is |was |are |were )?(?:still )?(?:pending|outstanding|awaited|to follow|"
    r"to be (?:done|completed|counted)|under way|not (?:yet )?(?:been )?(?:done|counted|taken|completed|finished))\b"
    r"(?! (?:as|because|since|for))|\b(?:pending|outstanding|awaiting) (?:the )?(?:\w+ ){0,2}counts?\b", re.I,
)  # fmt: skip
_OPEN = ("pending", "outstanding", "await", "to follow", "to be ", "under way", "not ")
# "Final count correct after the first was one short".
_ENDED = re.compile(r"\b(?:final|closing|last|second|repeat) (?:\w+ ){0,2}counts? (?:\w+ ){0,2}(?:correct|right|"
                    r"complete) after\b", re.I)  # fmt: skip
_RIGHT = re.compile(rf"\b(?:counts?|{_THINGS}) (?:\w+ ){{0,3}}(?:correct|right|complete|ok|okay|fine)\b", re.I)
_NOT_FOUND = re.compile(r"\bnot (?:be )?(?:found|recovered|located|retrieved|accounted)", re.I)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    said = [fact for fact in note.of("count") if fact.status == "performed"]
    wrong = [fact for fact in said if _wrong(fact)]
    if not wrong:
        return (_in_words(note) or _piece_left(note) or _undone(note) or _only_first(note, said)
                or _not_all_back(note))  # fmt: skip
    last = said[-1]
    settled = not _wrong(last) and last.evidence.first > wrong[-1].evidence.first
    settled = settled or any(
        passage.holds(wrong[-1]) and _settled(after(note, passage)) for passage in note.sections.description
    )
    return [
        finding(
            "count_result",
            "warning" if settled else "blocking",
            f"The count ({called(wrong[-1], grammar, 'count')}) was said to be incorrect"
            + (", later to be correct." if settled else "."),
            [*wrong, last] if settled and last is not wrong[-1] else wrong,
            ask="Say what was found, and how the count ended." if settled else "Count again and say the result.",
        )
    ]


def _wrong(fact: Fact) -> bool:
    result = (fact.text or "").lower()
    negated = fact.certainty == "negated"
    if fact.name in ("incorrect", "missing") or result in ("incorrect", "missing", "wrong"):
        return not negated
    return negated and result in ("correct", "")


def _settled(text: str) -> bool:
    return bool(_FOUND.search(text)) and not _NOT_FOUND.search(text)


def _in_words(note: OperativeNote) -> list[Finding]:
    """ "The swab count was one short", "a needle is missing", "a retained needle on the film"."""
    if any("foreign-body" in (fact.name or "") or "foreign body" in (fact.text or "") for fact in note.of("procedure")):
        return []  # what an earlier operation left is what this one is for
    for passage, match in matches(note, _SHORT, _WRONG):
        if _settled(after(note, passage, match.start())) or _ENDED.search(passage.text[: match.start()]):
            return [_told(passage, match[0], "note", "Say what was found, and how the count ended.")]
        return [_told(passage, match[0], "blocking", "Count again and say the result.")]
    return []


def _piece_left(note: OperativeNote) -> list[Finding]:
    """ "The drill bit broke, two millimetres were left in the bone"."""
    ask = "Say what was left and where, that the count allows for it, and that the patient is told."
    return [_told(passage, match[0], "warning", ask) for passage, match in matches(note, _BROKEN, _BREAKS)
            if _TOOL.search(passage.text[: match.end()])][:1]  # fmt: skip


def _undone(note: OperativeNote) -> list[Finding]:
    """ "Needle count pending", and no count said to be correct after that."""
    return [_told(passage, match[0], "warning", "Count, and say the result.")
            for passage, match in matches(note, _UNDONE, _OPEN)
            if not _RIGHT.search(after(note, passage, match.end()))][:1]  # fmt: skip


_FIRST = re.compile(r"\b(?:initial|first|opening|pre-?op\w*|starting|baseline) "
                    r"(?:(?!and |final |closing |last |second )[\w,]+ ){0,4}$", re.I)  # fmt: skip


def _only_first(note: OperativeNote, said: list[Fact]) -> list[Finding]:
    """ "Initial count correct", and no count at the end."""
    told = [one for fact in said for one in (fact.evidence, *fact.also)]
    for one in told:
        held = (p for p in note.sections.description if p.evidence.first <= one.first <= p.evidence.last)
        passage = next(held, None)
        at = passage.text.find(one.heard) if passage is not None else -1
        if passage is None or at < 0 or not _FIRST.search(passage.text[:at]):
            return []
    return [finding("count_result", "warning", "Only the count before the operation was said to be correct.", said,
                    ask="Say the count at the end.")] if told else []  # fmt: skip


def _not_all_back(note: OperativeNote) -> list[Finding]:
    """ "Needles: ten out, nine back, correct"."""
    return [
        replace(finding("count_result", "warning", "What was counted out and back is not the same.", [],
                        arithmetic=arithmetic, ask="Count again and say the result.",
                        about=f"w{passage.evidence.first}"), evidence=(passage.evidence,))
        for passage, arithmetic in _counted_back.wrong(note)
    ][:1]  # fmt: skip


def _told(passage: Passage, words: str, severity: Severity, ask: str) -> Finding:
    about = f"w{passage.evidence.first}"
    made = finding("count_result", severity, f"Of a count was said: “{words}”.", ask=ask, about=about)
    return replace(made, evidence=(passage.evidence,))
