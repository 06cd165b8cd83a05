"""Words taken back by a "not": named again ("Synvisc, sorry not Synvisc, the Durolane"), or denied right behind a cue
("a hemovac was placed, correction, no drain was placed", "we sent it to the lab, no, we did not send it")."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.correction_cues import cues
from pipeline.mentions import mark
from pipeline.records import Mention, Sentence, Strike, Token, Word
from pipeline.restated import APOLOGIES, SIDES, Cue, Draft, said_by

_LONGEST, _BETWEEN = 4, 6  # words of a name; tokens between a name and the "not"
_APOLOGY = frozenset("sorry no wait oh correction i mean meant er um actually it's its was it is that scratch".split())
_ARTICLES = frozenset({"a", "an", "the"})
_LEADS_NEW = frozenset({"but", "it", "was", "it's", "rather", "used", "we", "actually"})
# "Medial, not medial enough", "left, not left alone": nothing is put in its place.
_GOES_ON = frozenset(
    "enough and or only as to in at on of by with for so alone just today yet needed used seen".split()
)


def take_back(draft: Draft, words: Sequence[Word]) -> None:
    """Takes out what is named again behind a "not", with the "not", where another name follows."""
    at = 0
    while at < len(draft.tokens):
        if draft.tokens[at].norm == "not" and (span := _named_again(draft.tokens, at)) is not None:
            first, old_end, new = span
            tokens = draft.tokens
            struck = Strike(said_by(words, tokens[first:old_end]), said_by(words, tokens[old_end:new]), first)
            draft.tokens = [*tokens[:first], *tokens[new:]]
            draft.strikes.append(struck)
            at = first
        at += 1


def _named_again(tokens: Sequence[Token], at: int) -> tuple[int, int, int] | None:
    """(first token of the name, index after it, first token of what takes its place) about a "not"."""
    begin = at + 1 + (at + 1 < len(tokens) and tokens[at + 1].norm in _ARTICLES)
    end = at
    while end > max(0, at - _BETWEEN) and (tokens[end - 1].punctuation or tokens[end - 1].norm in _APOLOGY):
        end -= 1
    for length in range(min(_LONGEST, end), 0, -1):
        first = end - length
        old, again = _said(tokens[first:end]), _said(tokens[begin : begin + length])
        if old != again or not any(token.norm.isalpha() or token.quantity is not None for token in tokens[first:end]):
            continue
        new = begin + length
        sorry = any(token.norm in ("sorry", "wait", "correction", "mean", "oh") for token in tokens[end:at])
        if not sorry and not _is_name(tokens[first:end]):
            return None  # "who had not had", "grade two not two plus"
        while new < len(tokens) and (tokens[new].norm in (",", ";", "-", "–", "—", "...") or (
            tokens[new].norm in _LEADS_NEW
        )):
            new += 1
        if new >= len(tokens) or tokens[new].punctuation or tokens[new].norm in _GOES_ON:
            return None
        if first and tokens[first - 1].norm in _ARTICLES and tokens[new].norm in _ARTICLES:
            first -= 1
        return first, end, new
    return None


def _is_name(tokens: Sequence[Token]) -> bool:
    """Whether these words are the name of something, or a side."""
    named = mark(Sentence(0, tuple(tokens)), cues()[1]).mentions
    return tokens[-1].norm in SIDES or any(m.last == len(tokens) - 1 for m in named)


def _said(tokens: Sequence[Token]) -> list[str]:
    return [token.text.lower().strip(".,;:") for token in tokens]


_NOTHING = frozenset({"no", "nothing", "none"})
_DENIES = frozenset({"not", "didn't", "don't", "doesn't", "never", "wasn't", "weren't"})
_WHO = frozenset("we i it they he she that this".split())
_THINGS = frozenset("drains specimens drugs devices sutures dressings injectates procedures acts anaesthesia "
                    "closures".split())  # fmt: skip
_STREAM = 10  # tokens that such a correction reaches back in speech without marks
_SURE = APOLOGIES | {"correction", "scratch that", "strike that", "delete that", "cancel that", "no no"}


def denied(draft: Draft, cue: Cue) -> tuple[int, int] | None:
    """(first token of what was said and is denied behind the cue, index from which speech goes on); None where the cue
    is no such correction."""
    tokens = draft.tokens
    begin = cue.end
    while begin < len(tokens) and tokens[begin].punctuation:
        begin += 1
    if begin >= len(tokens) or not cue.first:
        return None
    if tokens[begin].norm in _DENIES and cue.phrase.split()[-1] in ("was", "is"):
        return _denied_deed(tokens, cue, begin)  # "no it was not sent": the cue holds the subject
    if cue.phrase.endswith(" no") and begin == cue.end and _is_again(tokens, cue):
        begin -= 1  # "microfracture, sorry, no microfracture": its "no" denies
    if tokens[begin].norm in _NOTHING and cue.phrase in _SURE:
        return _denied_thing(tokens, cue, begin)
    if tokens[begin].norm in _WHO:
        return _denied_deed(tokens, cue, begin)
    return None


def _is_again(tokens: Sequence[Token], cue: Cue) -> bool:
    """Whether the thing right behind a cue is one that was named before it."""
    told = {(m.table, m.id) for m in _things(tokens[: cue.first])}
    return any(not m.first and (m.table, m.id) in told for m in _things(tokens[cue.end : cue.end + _BETWEEN]))


def _denied_thing(tokens: Sequence[Token], cue: Cue, begin: int) -> tuple[int, int] | None:
    """ "A medium hemovac was placed, correction, no drain": a thing of the same sort, or nothing at all."""
    told = _things(tokens[: cue.first])
    if not told or cue.first - told[-1].last > _STREAM:
        return None
    new = [m for m in _things(tokens[begin + 1 : begin + 4]) if not m.first]
    same = [m for m in told if any(m.table == one.table for one in new)]
    if not new and tokens[begin].norm in ("nothing", "none"):
        same = told
    return None if not same else (_clause(tokens, same[-1].first), begin)


def _denied_deed(tokens: Sequence[Token], cue: Cue, begin: int) -> tuple[int, int] | None:
    """ "We send it to the lab, no, we do not send it", "a drain went in, no wait it did not"."""
    ahead = tokens[begin : begin + 4]
    no = next((n for n, token in enumerate(ahead) if token.norm in _DENIES), None)
    if no is None:
        return None
    after = begin + no + 1
    told = _things(tokens[max(0, cue.first - _STREAM) : cue.first])
    first = _clause(tokens, told[-1].first + max(0, cue.first - _STREAM) if told else cue.first - 1)
    if after >= len(tokens) or tokens[after].punctuation:
        return first, after  # the denial says nothing else: it goes too
    verb = tokens[after].norm[:4]
    again = {(m.table, m.id) for m in _things(tokens[after : after + _BETWEEN])}
    same = bool(told) and (told[-1].table, told[-1].id) in again  # "we gave cefazolin, no, we did not give cefazolin"
    return (first, begin) if same or any(t.norm[:4] == verb for t in tokens[first : cue.first]) else None


def _clause(tokens: Sequence[Token], at: int) -> int:
    """Where what was told of a thing begins: at the mark before it; in a stream, behind the thing named before it."""
    named = mark(Sentence(0, tuple(tokens[:at])), cues()[1]).mentions
    floor = max([0, *(m.last + 1 for m in named if m.table != "general" and m.last < at - 1)])
    first = at - tokens[at].punctuation
    while first > floor and not tokens[first - 1].punctuation and at - first < _STREAM:
        first -= 1
    return first


def _things(tokens: Sequence[Token]) -> list[Mention]:
    return [m for m in mark(Sentence(0, tuple(tokens)), cues()[1]).mentions if m.table in _THINGS]
