"""Consent and the shared decision, the time-out, the mark on the patient: as said."""

from __future__ import annotations

from dataclasses import replace

from pipeline import clauses, laterality, story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Sentence

KINDS = ("consent", "time_out", "site_marking")

_CONSENT = frozenset(
    {"consent", "consented", "consents", "risks", "alternatives", "agreed", "wishes", "elected", "opted", "guarantees"}
)
_DISCUSSED = frozenset(
    {"discussed", "explained", "talked", "counselled", "counseled", "understood", "understands", "agreed", "signed",
     "written", "obtained", "given", "gave", "informed", "including", "benefits", "proceed", "reviewed", "verbal",
     "consent", "consented", "confirmed", "accepted", "desired", "wished", "knows", "know", "aware", "accepts",
     "accept", "appreciates", "warned"}
)  # fmt: skip
_PAUSE = (("time", "out"), ("timeout",), ("team", "pause"), ("surgical", "pause"), ("safety", "pause"),
          ("who", "checklist"), ("who", "done"), ("who", "complete"), ("who", "completed"), ("safety", "checklist"),
          ("surgical", "checklist"), ("stop", "moment"))  # fmt: skip
_PAUSE_BY_WORD = {cue[0]: tuple(other for other in _PAUSE if other[0] == cue[0]) for cue in _PAUSE}
_CHECKED = frozenset({"confirmed", "verified", "checked", "agreed"})
_MARK = frozenset({"marked", "marking", "mark", "initialed", "initialled"})
_WHERE = frozenset({"site", "side", "limb", "leg", "arm", "patient", "correct", "awake", "ward", "holding", "initials",
                    "preoperatively", "arrow", "left", "right"})  # fmt: skip


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    paused = False
    ahead: Sentence | None = None
    for sentence in reading.sentences:
        facts += _consent(reading, sentence, grammar)
        pause = _led(_pause(reading, sentence, grammar), ahead, sentence, grammar)
        ahead = sentence
        facts += pause or (_confirmed(reading, sentence, grammar) if paused else [])
        paused = bool(pause)
        facts += _mark(reading, sentence, grammar) or ([] if pause else _level(reading, sentence, grammar))
    return facts


def _led(pause: list[Fact], ahead: Sentence | None, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "... at one thirty four pm right elbow time out ten to two": in a stream of speech the side may stand before."""
    if not pause or pause[0].laterality is not None or ahead is None or not ahead.tokens or not sentence.tokens:
        return pause
    last = len(ahead.tokens) - 1
    site = next((m for m in base.mentions(ahead, "sites") if m.last == last), None)
    opens = pause[0].evidence.first == sentence.tokens[0].first == ahead.tokens[last].last + 1
    if site is None or not opens:
        return pause
    side = next((one.value for one in laterality.sides(ahead, grammar) if one.last == site.first - 1), None)
    return [replace(pause[0], laterality=side, body_site=site.id)] if side is not None else pause


def _level(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Level confirmed at L5-S1": stands beside the mark on the skin, so that it is held against the operation."""
    if not sentence.says(_CHECKED):
        return []
    norms = [token.norm for token in sentence.tokens]
    for index, norm in enumerate(norms):
        if norm in ("level", "levels") and _CHECKED & set(norms[index : index + 5]):
            first, last = _window(sentence, index)
            return [_told("site_marking", reading, sentence, first, last, index, grammar)]
    return []


def _consent(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    if not sentence.says(_OPENS):
        return []
    spots = [index for index, token in enumerate(sentence.tokens) if token.norm in _CONSENT]
    norms = {token.norm for token in sentence.tokens}
    shared = _shared_decision(sentence)
    if shared is not None:
        first, last = _window(sentence, shared)
        return [_told("consent", reading, sentence, first, last, shared, grammar)]
    if sentence.section == "consent" and not spots and sentence.tokens[0].norm in _HEADS:
        first = story.after_heading(sentence) or 0
        return [_told("consent", reading, sentence, 0, len(sentence.tokens) - 1, first, grammar)]
    if len(sentence.tokens) <= _SHORT and story.is_named_to_patient(sentence):
        return [_told("consent", reading, sentence, 0, len(sentence.tokens) - 1, 0, grammar)]
    if not spots or not (norms & _DISCUSSED or sentence.section == "consent"):
        return []
    if not norms & {"consent", "consented", "consents"} and not norms & {"risks", "alternatives"}:
        return []
    first, last = _window(sentence, spots[0])
    return [_told("consent", reading, sentence, first, last, spots[0], grammar)]


_HEADS = frozenset({"discussed", "counselled"})
_SHORT = 40  # tokens of a sentence that tells of nothing else
_TALKED = frozenset(
    {"discussed", "talked", "options", "alternatives", "offered", "explained", "counselled", "counseled"}
)
_CHOSE = frozenset({"chose", "opted", "elected", "preferred", "prefers", "decided", "wanted", "wished", "declined"})
_OPENS = _CONSENT | _CHOSE | _TALKED | {
    "signed", "mentioned", "outlined", "named", "knows", "understands", "appreciates",
}
_PATIENT = frozenset({"he", "she", "they", "patient", "parents", "mother", "father", "family", "couple"})


def _shared_decision(sentence: Sentence) -> int | None:
    """Where the patient chose among what was talked through: "we talked through a brace and a graft, and she chose the
    graft"; not what was chosen of screws."""
    norms = [token.norm for token in sentence.tokens]
    talk = next((at for at, norm in enumerate(norms) if norm in _TALKED or (
        norm in ("gone", "went") and norms[at + 1 : at + 2] in (["over"], ["through"]))), None)  # fmt: skip
    if talk is None:
        return None
    for at in range(talk + 1, len(norms)):
        if norms[at] == "signed" and "is" in norms[talk:at]:
            return talk
        joined = norms[at - 1] in ("and", "but", "then")
        if norms[at] in _CHOSE and set(norms[0 if joined else max(0, at - 3) : at]) & _PATIENT:
            return talk
    return None


def _pause(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    if not sentence.says(_PAUSE_BY_WORD.keys()):
        return []
    norms = [token.norm for token in sentence.tokens]
    for index, norm in enumerate(norms):
        for cue in _PAUSE_BY_WORD.get(norm, ()):
            if tuple(norms[index : index + len(cue)]) == cue:
                first, last = _window(sentence, index)
                return [_told("time_out", reading, sentence, first, last, index, grammar)]
    return []


def _confirmed(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Time out was done. The left shoulder was confirmed.": what the pause confirmed, in the next sentence; not what
    was checked later in a stream of speech ("bladder integrity checked")."""
    for index, token in enumerate(sentence.tokens[:_AHEAD]):
        if token.norm in _CHECKED:
            site = next((m for m in base.mentions(sentence, "sites") if abs(m.first - index) <= _NEAR), None)
            if site is not None:
                first, last = _window(sentence, index)
                return [_told("time_out", reading, sentence, first, last, site.first, grammar)]
    return []


def _mark(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    if not sentence.says(_MARK):
        return []
    norms = {token.norm for token in sentence.tokens}
    if not norms & _WHERE or sentence.section in ("description", "findings") and "surgeon" not in norms:
        return []
    for index, token in enumerate(sentence.tokens):
        near = {other.norm for other in sentence.tokens[max(0, index - 6) : index + 6]}
        if near & _PIECES or near & _TAGS and (
            [one.norm for one in sentence.tokens[index + 1 : index + 2]] in (["with"], ["by"])
        ):
            continue  # "put into the right sternomastoid, marked with a clip"
        if token.norm in _MARK and near & _WHERE and not near & {"lesion", "incision", "landmarks", "skin", "breast"}:
            first, last = _window(sentence, index)
            return [_told("site_marking", reading, sentence, first, last, index, grammar)]
    return []


_PIECES = frozenset({"specimen", "specimens", "horn", "pole", "margin", "margins", "orientation"})
_TAGS = frozenset({"clip", "clips", "stitch", "stitches", "suture", "sutures", "tattoo", "staple", "loop", "silk",
                   "nylon", "prolene"})  # fmt: skip


def _told(
    kind: str, reading: Reading, sentence: Sentence, first: int, last: int, at: int, grammar: Grammar
) -> Fact:
    if kind == "time_out":
        side, doubt = _said_with(sentence, at, grammar)
    else:
        side, doubt = laterality.side_for(sentence, at, at, grammar)
    if kind == "consent" and side is None and doubt is None:
        end = min(clauses.bounds(sentence, at)[1], at + _NEAR)
        near = {one.value for one in laterality.sides(sentence, grammar) if at < one.first < end}
        side = near.pop() if len(near) == 1 else None  # "consent checked RE"
    certainty = base.scope_at(sentence, "certainty", at, "affirmed")
    sites = {mention.id for mention in base.mentions(sentence, "sites") if first <= mention.first <= last}
    return base.make(kind, reading, sentence, first, last, text=story.words(sentence, first, last), laterality=side,
                     body_site=sites.pop() if len(sites) == 1 else None,
                     doubts=(doubt,) if doubt else (), status="performed",
                     certainty="negated" if certainty == "negated" and kind != "consent" else "affirmed")  # fmt: skip


_RIGHT_BEHIND = 3  # tokens
_OF_TIME_OUT = frozenset({"side", "at", "confirmed", "agreed", "checked", "done", ",", "."})


def _said_with(sentence: Sentence, at: int, grammar: Grammar) -> tuple[Laterality | None, str | None]:
    """The side said with the time-out: near it in its clause, or in a clause that says what was checked. "Time out
    nine twenty incision nine thirty the right breast is normal" names none."""
    near: set[Laterality | None] = set()
    right_behind = next((one for one in laterality.sides(sentence, grammar)
                         if at < one.first <= at + _RIGHT_BEHIND and all(
                             token.quantity is None for token in sentence.tokens[at:one.first])), None)  # fmt: skip
    behind = sentence.tokens[right_behind.last + 1 : right_behind.last + 2] if right_behind is not None else ()
    if right_behind is not None and behind and (behind[0].norm in _OF_TIME_OUT or behind[0].quantity is not None):
        return right_behind.value, None  # "time out right side eleven thirty five ... head turned to the left"
    for said in laterality.sides(sentence, grammar):
        low, end = clauses.bounds(sentence, said.first)
        checked = any(token.norm in _NAMED for token in sentence.tokens[low : min(end, said.last + _NEAR)])
        if any(token.norm in _CUT for token in sentence.tokens[at + 1 : said.first]):
            continue  # "time out thirteen thirty three skin left side transverse": of the cut
        numbers = [token.quantity for token in sentence.tokens[at + 1 : said.first] if token.quantity is not None]
        if not checked and sum(one.form == "clock" or one.unit is not None for one in numbers) > 1:
            continue  # "time out 08:22 first port 08:31 ... left ureter seen": told later
        site = next((m.last for m in base.mentions(sentence, "sites") if said.last < m.first <= said.last + 2), None)
        if site == at - 1:
            near.add(said.value)  # "at one thirty four pm right elbow time out ten to two"
        if -_BACK <= said.first - at <= _AHEAD and (low <= at < end or checked):
            near.add(said.value)
    if len(near) > 1:
        return None, "more than one side is said here"
    return (near.pop() if near else None), None


_BACK, _AHEAD, _NEAR = 12, 14, 7  # tokens
_CUT = frozenset({"skin", "incision", "knife", "cut", "incised"})
_NAMED = _CHECKED | _MARK | {"named", "read", "announced", "correct", "identified"}


def _window(sentence: Sentence, at: int) -> tuple[int, int]:
    """The sentence, or in a stream of speech the words around."""
    last = len(sentence.tokens) - 1
    marked = any(token.punctuation for token in sentence.tokens[:-1])
    if last < (_LONG if marked else _STREAM):
        return 0, last
    return max(0, at - 4), min(last, at + 10)


_LONG, _STREAM = 60, 25  # tokens of a sentence with marks within, and of one without any
