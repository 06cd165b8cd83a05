"""Questions put to the team, in speech without marks: "nurse is that the forty or the eighty vial it is the forty".

What is asked is no value. Where the answer is another number, it takes the place of the one that was asked about; where
nobody answers, the number stays and is in doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.records import Strike, Token, Word
from pipeline.restated import Draft, alike, inherit, said_by

_CALLED = frozenset("sister nurse doctor sir madam okay ok please".split())
_INVERTED = frozenset("is was are were did do have has shall should".split())
_SUBJECTS = frozenset("that it this we you they i there".split())
_YES = frozenset("yes yeah yep correct right exactly okay ok".split())
_NO = frozenset({"no", "nope"})
_TELLS = frozenset({"is", "was", "are", "were", "'s"})
_BETWEEN = frozenset("the a an about or doctor sister nurse sir madam just only".split())
_NUMBERS = frozenset({"number", "range", "fraction"})
_ASKED, _NOUNS, _EARLIER = 5, 2, 16  # tokens: to the number, behind it, and back to what is asked about
DOUBT = "asked, and no answer was heard"


def settle(draft: Draft, words: Sequence[Word]) -> None:
    """Takes what was asked out of a draft; an answer that differs replaces the value asked about."""
    if _INVERTED.isdisjoint([token.norm for token in draft.tokens]):
        return
    index = 0
    while index + 2 < len(draft.tokens):
        if draft.tokens[index].norm in _INVERTED and _is_asked(draft.tokens, index):
            asked = _numbers(draft.tokens, index)
            if asked:
                _settle(draft, words, index, asked)
        index += 1


def _is_asked(tokens: Sequence[Token], index: int) -> bool:
    """Whether a verb stands before its subject right behind somebody who is spoken to, or at the very beginning."""
    if tokens[index + 1].norm not in _SUBJECTS:
        return False
    return not index or tokens[index - 1].norm in _CALLED or tokens[index - 1].norm in (".", "?")


def _is_number(token: Token) -> bool:
    return token.quantity is not None and token.quantity.form in _NUMBERS


def _numbers(tokens: Sequence[Token], index: int) -> list[int]:
    """The numbers that are asked about: the first one, and what "or" joins to it."""
    first = next((at for at in range(index + 2, min(index + 2 + _ASKED, len(tokens))) if _is_number(tokens[at])), None)
    if first is None or any(token.punctuation for token in tokens[index:first]):
        return []
    found = [first]
    at = first + 1
    while at + 1 < len(tokens) and tokens[at].norm == "or":
        at += 1 + (tokens[at + 1].norm in ("the", "a"))
        if at >= len(tokens) or not _is_number(tokens[at]):
            break
        found.append(at)
        at += 1
    return found


def _settle(draft: Draft, words: Sequence[Word], start: int, asked: list[int]) -> None:
    tokens = draft.tokens
    start -= start > 0 and tokens[start - 1].norm in _CALLED
    answer, yes = _answer(tokens, asked)
    if answer is None:
        if not yes:
            for at in asked:
                quantity = tokens[at].quantity
                assert quantity is not None
                tokens[at] = replace(tokens[at], quantity=replace(quantity, doubts=(*quantity.doubts, DOUBT)))
            return
        if len(asked) > 1:
            return
        answer = asked[0]
    earlier = _asked_about(tokens, start, asked)
    place = asked[0] if earlier is None else earlier
    old, new = tokens[place], inherit(tokens[place], tokens[answer])
    same = _value(old) == _value(new)
    holds = old if same else new
    if earlier is None:
        nouns = list(tokens[asked[-1] + 1 : _noun_end(tokens, asked[-1] + 1)]) if answer != asked[0] else []
        head, middle = list(tokens[:start]), [holds, *nouns]
    else:
        head, middle = [*tokens[:earlier], holds, *tokens[earlier + 1 : start]], []
    kept = {id(token) for token in (*head, *middle)}
    out = [token for token in tokens[start : answer + 1] if id(token) not in kept and token is not tokens[answer]]
    if not same:
        cue = [token for token in out if token is not old] or out
        draft.strikes.append(Strike(said_by(words, [old]), said_by(words, cue), start if earlier is None else earlier))
    elif out and head:
        head[-1] = replace(head[-1], last=max(head[-1].last, max(token.last for token in out)))
    elif out and middle:
        middle[0] = replace(middle[0], first=min(token.first for token in out))
    draft.tokens = [*head, *middle, *tokens[answer + 1 :]]


def _value(token: Token) -> object:
    quantity = token.quantity
    return None if quantity is None else (quantity.value, quantity.low, quantity.high)


def _noun_end(tokens: Sequence[Token], at: int) -> int:
    """Index behind the nouns that an asked number counts."""
    for _ in range(_NOUNS):
        if at < len(tokens) and tokens[at].norm.isalpha() and tokens[at].norm not in _YES | _NO | {"it", "that"}:
            at += 1
    return at


def _answer(tokens: Sequence[Token], asked: list[int]) -> tuple[int | None, bool]:
    """(place of the number that answers, whether a bare yes does): "no doctor it was nine", "it is the forty", "yes".
    """
    at = _noun_end(tokens, asked[-1] + 1)
    said = at < len(tokens) and tokens[at].norm in _YES | _NO
    yes = said and tokens[at].norm in _YES
    while at < len(tokens) and tokens[at].norm in _YES | _NO | _BETWEEN:
        at += 1
    if at + 1 < len(tokens) and tokens[at].norm in ("it", "that", "this") and tokens[at + 1].norm in _TELLS:
        at += 2
        while at < len(tokens) and tokens[at].norm in _BETWEEN:
            at += 1
        if at < len(tokens) and _is_number(tokens[at]) and alike(tokens[asked[0]], tokens[at]):
            return at, False
        return None, yes
    if said and not yes and at < len(tokens) and _is_number(tokens[at]) and alike(tokens[asked[0]], tokens[at]):
        return at, False
    return None, yes


def _asked_about(tokens: Sequence[Token], start: int, asked: list[int]) -> int | None:
    """The value before the question that is asked about: the nearest one with the same number."""
    said = [quantity for at in asked if (quantity := tokens[at].quantity) is not None]
    values = {value for quantity in said for value in (quantity.value, quantity.low, quantity.high)} - {None}
    for at in range(start - 1, max(-1, start - 1 - _EARLIER), -1):
        quantity = tokens[at].quantity
        if _is_number(tokens[at]) and quantity is not None and quantity.value in values:
            return at
    return None
