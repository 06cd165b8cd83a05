"""Where a spoken correction begins and ends: the phrases of grammars/corrections.toml in a row of tokens."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import TypeAlias

from pipeline import grammar
from pipeline.mentions import mark, split_phrase
from pipeline.records import Mention, Sentence, Token
from pipeline.restated import SIDES, Cue
from pipeline.rows import Correction

_BARE = frozenset({"no", "rather", "actually", "wait"})  # a cue behind a cue only where a number follows
Cues: TypeAlias = dict[str, tuple[tuple[tuple[str, ...], Correction], ...]]


@lru_cache(maxsize=2)
def cues() -> tuple[Cues, grammar.Grammar]:
    """Phrases by their first word, longest first."""
    loaded = grammar.load()
    table: dict[str, list[tuple[tuple[str, ...], Correction]]] = {}
    for row in loaded.table("corrections", Correction).values():
        for phrase in row.say:
            words = tuple(phrase.split())
            table.setdefault(words[0], []).append((words, row))
    ordered = {word: tuple(sorted(items, key=lambda item: -len(item[0]))) for word, items in table.items()}
    return ordered, loaded


@lru_cache(maxsize=1)
def corrected_things() -> frozenset[str]:
    """What an operation corrects by its name ("hammertoe correction"): no word is taken back there."""
    _, loaded = cues()
    names = [split_phrase(phrase) for table, _, phrase in loaded.phrases() if table in ("procedures", "acts")]
    return frozenset(words[at - 1] for words in names for at, word in enumerate(words) if at and word == "correction")


def next_cue(tokens: Sequence[Token], start: int, by_first: Cues) -> Cue | None:
    for index in range(start, len(tokens)):
        if tokens[index].norm not in by_first or tokens[index].quantity is not None:
            continue
        cue = _cue_at(tokens, index, by_first)
        while cue is not None and (further := _goes_on(tokens, cue, by_first)) is not None:
            cue = Cue(further.row, further.phrase, cue.first, further.end)
        if cue is not None:
            return cue
    return None


def _cue_at(tokens: Sequence[Token], index: int, by_first: Cues) -> Cue | None:
    for phrase, row in by_first.get(tokens[index].norm, ()):
        if phrase[0] == "make" and index and tokens[index - 1].norm in _RECKONS:
            continue  # "I make that twenty one": what it comes to
        end = _match(tokens, index, phrase)
        if end:
            return Cue(row, " ".join(phrase), index, end)
    return None


_RECKONS = frozenset({"i", "we", "they"})


def _goes_on(tokens: Sequence[Token], cue: Cue, by_first: Cues) -> Cue | None:
    """The cue right behind a cue that only announces it ("no wait, make that", "hold on, no")."""
    at = cue.end
    while at < len(tokens) and tokens[at].punctuation:
        at += 1
    if cue.row.action != "replace" or at >= len(tokens):
        return None
    further = _cue_at(tokens, at, by_first)
    if further is None or further.row.action in ("strike_sentence", "strike_named"):
        return None
    if further.phrase in _BARE and (further.end >= len(tokens) or tokens[further.end].quantity is None):
        return None  # "sorry, no drains"
    return further


def _match(tokens: Sequence[Token], index: int, phrase: tuple[str, ...]) -> int:
    """Index after the phrase, over commas ("no, make that"); 0 if it does not stand here."""
    at = index
    for number, word in enumerate(phrase):
        while number and at < len(tokens) and tokens[at].norm == ",":
            at += 1
        if at >= len(tokens) or tokens[at].norm != word:
            return 0
        at += 1
    return at


_LYING = frozenset({"supine", "prone", "lateral-decubitus", "beach-chair", "sitting-position", "lithotomy"})
_NAMED = 4  # tokens
_BROKEN_OFF = frozenset({",", ";", "-", "—", "–", "..."})
_PLACES = frozenset({"sites", "approaches", "anaesthesia", "sutures"})
_NUMBING = frozenset({"spinal", "epidural", "general", "local", "sedation"})
_WAYS = frozenset("anterior posterior medial lateral superior inferior proximal distal upper lower".split())
_ANSWERS = frozenset({"yes", "no", "none", "ok", "fine", "clear", "normal"})


def laid_otherwise(
    told: Sequence[Token], tokens: Sequence[Token], cue: Cue
) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """ "Prone no lateral position": (first, last) of the two ways to lie at the end of what was told before a "no" and
    right behind it, the second counted from the end of the cue; None where there are none. A "no" that is set off on
    both sides takes back a place, a way in or an anaesthetic too ("from the calcaneus - no, iliac crest"), and a
    direction for another ("anterior portal - no, posterior")."""
    end = len(told)
    while end and told[end - 1].punctuation:
        end -= 1
    start = max(0, end - _NAMED)
    after = tokens[cue.end].norm if cue.end < len(tokens) else ""
    set_off = end < len(told) and told[-1].norm in _BROKEN_OFF and after == ","
    loaded = cues()[1]
    old = [m for m in mark(Sentence(0, tuple(told[start:end])), loaded).mentions
           if _replaceable(m, set_off) and start + m.last == end - 1]  # fmt: skip
    if set_off and not old and told[end - 1].norm in _NUMBING:
        old = [Mention("anaesthesia", told[end - 1].norm, end - 1 - start, end - 1 - start)]
    skip = next((n for n, token in enumerate(tokens[cue.end : cue.end + _NAMED]) if not token.punctuation), 0)
    begin = cue.end + skip
    sided = set_off and begin < len(tokens) and tokens[begin].norm in SIDES
    ahead = tokens[begin + sided : begin + sided + _NAMED]
    new = [m for m in mark(Sentence(0, tuple(ahead)), loaded).mentions
           if _replaceable(m, set_off) and m.first == 0] if old else []  # fmt: skip
    pairs = [(one, two) for one in old for two in new if one.table == two.table]
    if not pairs:
        lies = any(mention.table == "positions" for mention in old)
        return _directed(told, end, tokens, cue.end, skip, lies) if set_off else None
    one, two = pairs[-1]
    if one.id == two.id or (set_off and _is_list(tokens, begin + sided + two.last + 1)):
        return None
    first = start + one.first
    if sided and first and told[first - 1].norm in SIDES:
        first -= 1
    return (first, end - 1), (skip, skip + sided + two.last)


def numbing(tokens: Sequence[Token], found: Sequence[Mention]) -> list[Mention]:
    """The mentions with those of bare words of anaesthesia that no row holds alone ("the anaesthetic was spinal")."""
    bare = [Mention("anaesthesia", token.norm, index, index) for index, token in enumerate(tokens)
            if token.norm in _NUMBING and not any(m.first <= index <= m.last for m in found)]  # fmt: skip
    return sorted([*found, *bare], key=lambda mention: mention.first) if bare else list(found)


def _replaceable(mention: Mention, set_off: bool) -> bool:
    if mention.table == "positions":
        return mention.id in _LYING
    borne = mention.table == "aftercare" and "weight-bearing" in mention.id
    return set_off and (borne or mention.table in _PLACES)


def _directed(
    told: Sequence[Token], end: int, tokens: Sequence[Token], behind: int, skip: int, lies: bool
) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """A direction alone behind the "no": it takes the place of the one before it, or of the way to lie."""
    at = behind + skip
    if at >= len(tokens) or tokens[at].norm not in _WAYS or (at + 1 < len(tokens) and not tokens[at + 1].punctuation):
        return None
    if lies and tokens[at].norm == "lateral":
        first = end - 1 - (end > 1 and told[end - 1].norm == "chair")
        return (first, end - 1), (skip, skip)
    ways = [index for index in range(max(0, end - _NAMED), end) if told[index].norm in _WAYS]
    return ((ways[-1], ways[-1]), (skip, skip)) if ways and told[ways[-1]].norm != tokens[at].norm else None


def _is_list(tokens: Sequence[Token], at: int) -> bool:
    """Whether answers go on: "pain in the knee, no, hip, yes"."""
    return any(token.norm in _ANSWERS for token in tokens[at : at + 2])


def counts_between(tokens: Sequence[Token], end: int, new: Token) -> int:
    """The nearest number before `end`, where it counts what is named behind it and one of the sort of the new value
    stands before it; -1 if there is none."""
    fresh = new.quantity
    if fresh is None or fresh.unit is None:
        return -1
    numbers = [at for at in range(end) if tokens[at].quantity is not None]
    near = tokens[numbers[-1]].quantity if numbers else None
    if near is None or near.form != "number" or near.dimension or numbers[-1] + 1 >= end:
        return -1
    counted = tokens[numbers[-1] + 1].norm
    before = (tokens[at].quantity for at in numbers[-1 - _COUNTED : -1])
    alike_before = any(one is not None and one.dimension == fresh.dimension for one in before)
    return numbers[-1] if alike_before and counted.isalpha() and counted.endswith("s") else -1


_COUNTED = 2  # values back to the one that is restated
