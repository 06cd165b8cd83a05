"""What came before the operation: indication, imaging, history. In the words that were said; never a finding."""

from __future__ import annotations

from itertools import pairwise

from pipeline import pictures, story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Scope, Sentence

KINDS = ("indication", "imaging", "history")

_PRESENTS = frozenset(
    {"presents", "presented", "complains", "complaining", "complained", "suffers", "suffering", "refractory",
     "conservative", "nonoperative", "failing", "symptomatic", "indicated"}
)  # fmt: skip
_NOT_BEFORE = frozenset({"aftercare", "follow-up", "description", "findings", "specimens", "complications"})
_CONSENT = frozenset({"risks", "consent", "consented", "alternatives"})
_PAST = ("year", "age", "month", "historical", "historical-before", "other-person", "other-person-before",
         "section:history")  # fmt: skip

_HEADING_ONLY = frozenset({"history", "and", "indication", "indications", "background", "brief", "clinical", "the"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        kind = _kind(sentence)
        if kind == "imaging" and sentence.section != "imaging":
            spans = pictures.spans(sentence)
        else:
            spans = ((0, len(sentence.tokens) - 1),) if kind is not None else ()
        facts += [fact for first, last in spans for fact in _whole(reading, sentence, kind or "", first, last)]
        if kind != "history":
            facts += _past_parts(reading, sentence)
    return facts


_COMES = frozenset({"comes", "came"})


def _kind(sentence: Sentence) -> str | None:
    """What a whole sentence is, if it is one of these at all."""
    if sentence.says(_CONSENT) or any(scope.rule == "conditional" and scope.first == 0 for scope in sentence.scopes):
        return None
    if pictures.spans(sentence):
        return "imaging"
    if sentence.section == "history":
        return "history"
    if sentence.section == "indication":
        return "indication"
    comes = sentence.says(_COMES) and any(
        a.norm in _COMES and b.norm == "with" for a, b in pairwise(sentence.tokens[:12])
    )
    if sentence.section not in _NOT_BEFORE and (_presents(sentence) or comes) and len(sentence.tokens) <= 60:
        return "indication"
    return None


def _presents(sentence: Sentence) -> bool:
    """Whether a word tells why; "an osteotomy was not indicated" tells what was left out."""
    norms = [token.norm for token in sentence.tokens] if sentence.says(_PRESENTS) else []
    return any(norm in _PRESENTS and not _HARD & set(norms[at + 1 : at + 4])
               and norms[max(0, at - 1) : at] not in _NO_REASON for at, norm in enumerate(norms))  # fmt: skip


_HARD = frozenset("challenge challenges difficulty difficulties problem problems challenging difficult".split())
_NO_REASON = (["not"], ["as"], ["when"], ["where"], ["if"])  # "to the ward as indicated"


def _whole(reading: Reading, sentence: Sentence, kind: str, begins: int, last: int) -> list[Fact]:
    first = story.after_heading(sentence) if sentence.section else begins
    if first is None or first > last:
        return []
    first = max(first, begins)
    text = story.words(sentence, first, last)
    if not any(letter.isalpha() for letter in text):
        return []
    if all(token.punctuation or token.norm in _HEADING_ONLY for token in sentence.tokens[first:]):
        return []  # "History and gross findings:", cut at the second heading
    status = "historical" if kind == "history" else "performed"
    others = [scope.first for scope in sentence.scopes if scope.value == "other_person"]
    if others and (kind == "history" or min(others) <= first + _LED_BY):
        status = "other_person"
    elif others:  # "indication fetal distress her sister had a dystocia": up to the sister
        last = max(first, min(others) - 1)
    site = next((mention.id for mention in base.mentions(sentence, "sites")), None)
    return [base.make(kind, reading, sentence, first, last, text=text, status=status, certainty="affirmed",
                      body_site=site)]  # fmt: skip


def _past_parts(reading: Reading, sentence: Sentence) -> list[Fact]:
    """Parts of other sentences that a cue of the past or of another person governs, if they name a thing."""
    facts: list[Fact] = []
    for scope in sentence.scopes:
        if scope.axis != "status" or scope.rule not in _PAST:
            continue
        named = [
            mention
            for mention in base.mentions(sentence, "diagnoses", "procedures", "findings", "complications", *(
                ("acts", "devices") if scope.rule in ("year", "age", "month") else ()))
            if scope.first <= mention.first and mention.last <= scope.last
        ]
        if not named and not _speaks_of_past(sentence, scope):
            continue
        first, last = _since(sentence, scope), max(named[-1].last, scope.first) if named else _trimmed(sentence, scope)
        if scope.rule in ("year", "age", "month") or scope.last - last <= _FEW:
            last = max(last, scope.last)
        while last > first and sentence.tokens[last].punctuation:
            last -= 1
        facts.append(
            base.make("history", reading, sentence, first, last, text=story.words(sentence, first, last),
                      status=scope.value,
                      certainty=base.scope_at(sentence, "certainty", named[0].first if named else first, "affirmed"))
        )  # fmt: skip
    return facts


_HISTORY = frozenset({"history", "hx", "h"})
_BEFORE = frozenset({"previous", "prior", "past", "prev"})
_KNOWN = frozenset({"known", "childhood"})
_OPERATIONS = ("ectomy", "otomy", "plasty", "scopy", "rrhaphy", "desis", "ostomy")
_WORK = frozenset({"operation", "operations", "surgery", "surgeries", "procedures", "injections", "trauma", "injury",
                   "injuries", "fractures", "episodes", "reconstruction", "repair", "replacement", "release",
                   "fusion", "fixation", "decompression", "scope", "stent", "graft", "transplant"})  # fmt: skip
_LONGEST = 14  # tokens


def _speaks_of_past(sentence: Sentence, scope: Scope) -> bool:
    """Whether a past that names nothing of the grammar is told as such: "a history of giving way", "mother had ..."."""
    said = [token.norm for token in sentence.tokens[scope.first : scope.first + 6]]
    opens = scope.first == 0 and said[0] in _BEFORE | _KNOWN
    if scope.last - scope.first < 1:
        return False
    if scope.rule == "other-person":
        return True
    if sentence.section in _NOT_BEFORE and not opens:
        return False
    if scope.rule == "year":
        return scope.last - scope.first > _FEW and sentence.section != "findings"
    if scope.rule == "historical-before":
        return scope.last - scope.first > _FEW - 1
    worked = any(norm in _WORK or norm.endswith(_OPERATIONS) for norm in said)
    known = said[0] in _KNOWN and len(said) > _FEW - 1
    return scope.rule == "historical" and (said[0] in _HISTORY or known or (said[0] in _BEFORE and (opens or worked)))


_LED_BY = 2  # tokens before another person
_FEW = 3  # tokens


def _since(sentence: Sentence, scope: Scope) -> int:
    """The first token, with how long it has been: "a two year history of giving way"."""
    before = sentence.tokens[scope.first - 1].quantity if scope.first else None
    return scope.first - (before is not None and before.dimension == "time")


def _trimmed(sentence: Sentence, scope: Scope) -> int:
    last = min(scope.last, scope.first + _LONGEST)
    while last > scope.first and (sentence.tokens[last].punctuation or sentence.tokens[last].norm in _LOOSE):
        last -= 1
    return last


_LOOSE = frozenset({"and", "or", "but", "the", "a", "with", "in", "of", "for", "at"})
