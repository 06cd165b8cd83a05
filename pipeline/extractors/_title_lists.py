"""Operations in their own words that a title lists beside others, and those that a sentence tells as done."""

from __future__ import annotations

from pipeline import laterality
from pipeline.extractors import _operation_words as words
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

_FIRST = 2  # sentences that may be a title without a heading
_FINITE = frozenset("was were had has have is are did we i he she they then presents presented".split())
_JOINS = frozenset({",", ";", ":", "+", "&", "and", "plus", "/", ".", ")", "with", "then"})


def listed(reading: Reading, sentence: Sentence, taken: list[Fact], grammar: Grammar) -> list[Fact]:
    """What a title names beside what is `taken` from it already."""
    if sentence.section != "procedure" and (sentence.section or sentence.index >= _FIRST):
        return []
    held = [(fact.evidence.first, fact.evidence.last) for fact in taken]
    facts: list[Fact] = []
    for head in words.heads(sentence, grammar, title=True):
        low, high = _part(sentence, head)
        first, last = words.phrase(sentence, head, low, high)
        first = words.whole_title(sentence, first, low)
        token = sentence.tokens[head]
        if any(one <= token.first and token.last <= other for one, other in held):
            continue
        if any(t.norm in _FINITE for t in sentence.tokens[low : high + 1]) or (
            sentence.section != "procedure" and any(t.norm in _FINITE for t in sentence.tokens[:first])
        ):
            continue
        if not _stands(sentence, first, last, head, grammar, one_side=last > first):
            continue
        made = words.fact(reading, sentence, first, last, grammar)
        whole = words.is_whole(sentence, head, grammar)
        if made.laterality is None and sentence.section != "procedure" and not whole:
            continue  # without a heading and without a side: a step as well
        facts.append(made)
        held.append((made.evidence.first, made.evidence.last))
    return facts


def _part(sentence: Sentence, head: int) -> tuple[int, int]:
    """The part of a list that a head stands in."""
    tokens = sentence.tokens
    low, high = head, head
    while low > 0 and tokens[low - 1].norm not in _JOINS - {"and", "/"} and not (
        tokens[low - 1].norm == "and" and _ends_name(sentence, low - 1)
    ):
        low -= 1
    while high + 1 < len(tokens) and tokens[high + 1].norm not in _JOINS - {",", "/", ")"}:
        high += 1
    return low, high


def _ends_name(sentence: Sentence, joint: int) -> bool:
    """Whether what is joined by "and" is an operation with words of its own: not "reduction and fixation"."""
    return joint > 1 and not sentence.tokens[joint - 2].punctuation


def _stands(
    sentence: Sentence, first: int, last: int, head: int, grammar: Grammar, *, one_side: bool = False
) -> bool:
    """Whether a phrase is an operation of today with what it is done to. `one_side`: the only side of its title may be
    its side, wherever it stands."""
    follows = sentence.tokens[head + 1].norm if head + 1 < len(sentence.tokens) else "."
    whole = words.is_whole(sentence, head, grammar)
    return (
        (whole or words.is_of_something(sentence, first, last, head, grammar) or (
            one_side and laterality.only_side(sentence, 0, len(sentence.tokens) - 1, grammar, donors=False) is not None
        ))
        and words.is_affirmed(sentence, head)
        and not words.is_led_away(sentence, first, last)
        and follows not in _NAMES_ANOTHER
        and not any(m.first == first for m in base.mentions(sentence, "positions"))
    )


# "Graft site", "repair kit": the word names something else.
_NAMES_ANOTHER = frozenset(
    "site sites kit set tray needle forceps specimen specimens scar wound margin margins time angle distance pressure "
    "volume depth length team clinic date portal portals instruments screw plate suture sutures".split()
)
_DONE_BY = frozenset("did do doing performed perform performing underwent made make making undertook carried".split())
_CALLED = frozenset({"operation", "procedure", "surgery", "today", "this", "it", "today's"})
_IS = frozenset({"is", "was", "'s", "will"})
_DONE_AFTER = frozenset({"performed", "carried", "done", "undertaken", "completed"})
_NEAR = 4  # words from a verb to the phrase


def told(
    reading: Reading, sentence: Sentence, taken: list[Fact], grammar: Grammar
) -> list[tuple[Fact, bool, bool]]:
    """What a sentence tells as the operation: "we did a core biopsy of the right breast", "a left subtalar revision was
    performed", "the operation is ...", each with what "and" joins to it; whether its word is one of operations
    only, and whether it is called the operation."""
    facts: list[tuple[Fact, bool, bool]] = []
    end = -2
    held = [(fact.evidence.first, fact.evidence.last) for fact in taken]
    for head in words.heads(sentence, grammar, title=False):
        token = sentence.tokens[head]
        if any(one <= token.first and token.last <= other for one, other in held):
            continue
        first, last = words.phrase(sentence, head)
        joined = facts and first - end <= _NEAR and any(
            token.norm in ("and", "plus") for token in sentence.tokens[end + 1 : first]
        )
        called = _is_called(sentence, first)
        one_side = last > first and (called or sentence.index < _FIRST)
        if not (joined or _is_told(sentence, first, last)) or not _stands(
            sentence, first, last, head, grammar, one_side=one_side
        ):
            continue
        whole = words.is_whole(sentence, head, grammar)
        facts.append((words.fact(reading, sentence, first, last, grammar), whole, called))
        end = last
    return facts


def _is_called(sentence: Sentence, first: int) -> bool:
    """ "The operation was ...", "this is a ..." at the beginning."""
    before = [token.norm for token in sentence.tokens[max(0, first - _NEAR) : first]]
    called = set(before) & _IS and not _CALLED.isdisjoint(
        token.norm for token in sentence.tokens[max(0, first - _NEAR - 3) : first]
    )
    return bool(called) and (sentence.index < _FIRST or "operation" in before or "procedure" in before)


def _is_told(sentence: Sentence, first: int, last: int) -> bool:
    before = [token.norm for token in sentence.tokens[max(0, first - _NEAR) : first]]
    if not _DONE_BY.isdisjoint(before):
        return True
    if _is_called(sentence, first):
        return True
    after = [token.norm for token in sentence.tokens[last + 1 : last + 1 + _NEAR]]
    return bool({"was", "were"} & set(after[:2])) and not _DONE_AFTER.isdisjoint(after)


def things(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """An operation that its title names by what is put in, with its side: "cannulated screws left femoral neck",
    "T-tubes replaced both ears"."""
    if sentence.index or sentence.section not in ("", "procedure"):
        return []
    named = next((m for m in base.mentions(sentence, "devices", "drains") if m.first <= _SOON), None)
    if named is None or any(True for _ in base.mentions(sentence, "procedures")):
        return []
    tokens = sentence.tokens
    last = named.last
    while last + 1 < len(tokens) and not tokens[last + 1].punctuation and tokens[last + 1].quantity is None and (
        tokens[last + 1].norm not in _ENDS_TITLE
    ):
        last += 1
    first = next((at for at in range(named.first, -1, -1) if at == 0 or tokens[at - 1].punctuation), 0)
    inner = tokens[first : last + 1]
    if len(inner) > _LONGEST or any(token.norm in _FINITE or token.quantity is not None for token in inner):
        return []
    sided = laterality.only_side(sentence, first, last, grammar)
    if sided is None or not words.is_affirmed(sentence, named.first) or words.is_led_away(sentence, first, last):
        return []
    return [words.fact(reading, sentence, first, last, grammar)]


_SOON, _LONGEST = 5, 10  # tokens
_ENDS_TITLE = frozenset("under with for using via and in by at general spinal local supine".split())
