"""A number said together with the one that it is not: "thirty, not forty", "not fifty but one hundred millilitres".

What is denied so is no value and leaves the tokens; the strike shows it beside the number that holds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.records import Evidence, Strike, Token, Word
from pipeline.restated import SIDES, Draft, alike, inherit, said_by
from pipeline.units import read_unit

_DENIES = (("not",), ("and", "not"), ("instead", "of"), ("rather", "than"))
_OPENS = frozenset(cue[0] for cue in _DENIES)
_FORMS = frozenset({"number", "range", "fraction"})
_NEAR = 2  # words that may stand between a number and the one denied after it ("thirty millimetre screw, not forty")


def settle(draft: Draft, words: Sequence[Word]) -> None:
    """Takes every denied number of a draft out; where two numbers follow the denial, both values stay in doubt."""
    _settle_echoes(draft, words)
    index = 0
    while index < len(draft.tokens):
        if draft.tokens[index].norm not in _OPENS:
            index += 1
            continue
        length = next((len(cue) for cue in _DENIES if _norms(draft.tokens, index, len(cue)) == cue), 0)
        denied = index + length
        if length and denied < len(draft.tokens) and draft.tokens[denied].norm in ("a", "an", "the"):
            denied += 1
        if length and _is_number(draft.tokens, denied):
            _deny(draft, words, index, denied)
        index += 1


# What was said is said again to put it right: "four, did I say four, I meant six", "four, not four, six millilitres".
_ECHOES = (("did", "i", "say"), ("i", "said"), ("no", "not"), ("not",))
_ECHO_OPENS = frozenset(cue[0] for cue in _ECHOES)
_PUTS_RIGHT = frozenset(", ? . i meant mean it is was but it's rather make that".split())
_TO_ECHO, _TO_RIGHT = 3, 5  # tokens


def across(drafts: Sequence[Draft], words: Sequence[Word]) -> list[Draft]:
    """ "Sixty minutes. Did I say sixty? It was forty eight.": said in sentences of their own, which become one."""
    told: list[Draft] = []
    left = list(drafts)
    while left:
        draft = left.pop(0)
        if told and _norms(draft.tokens, 0, 3) == ("did", "i", "say") and not told[-1].strikes:
            pieces = [told[-1], draft, *left[:1]]
            one = Draft([token for piece in pieces for token in piece.tokens], heading=told[-1].heading)
            _settle_echoes(one, words)
            if one.strikes:
                told[-1] = one
                left = left[1:]
                continue
        told.append(draft)
    return told


def _settle_echoes(draft: Draft, words: Sequence[Word]) -> None:
    """Takes out a value or a side that is said, said again behind "did I say" or "not", and followed by another."""
    for index in range(1, len(draft.tokens)):
        if draft.tokens[index].norm not in _ECHO_OPENS:
            continue
        length = next((len(cue) for cue in _ECHOES if _norms(draft.tokens, index, len(cue)) == cue), 0)
        again = index + length
        if not length or again >= len(draft.tokens) or not _is_value(draft.tokens[again]):
            continue
        tokens = draft.tokens
        told = [at for at in range(max(0, index - _TO_ECHO), index) if _is_value(tokens[at])]
        noun = told and tokens[told[-1] + 1].norm  # "two anchors, did I say two anchors, three anchors"
        right = next((at for at in range(again + 1, min(len(tokens), again + 1 + _TO_RIGHT))
                      if tokens[at].norm not in _PUTS_RIGHT and not (at == again + 1 and tokens[at].norm == noun)),
                     0)  # fmt: skip
        if not told or not right or not _is_value(tokens[right]) or not alike(tokens[again], tokens[right]):
            continue
        old = told[-1]
        same = _is_the_same(tokens[again], tokens[old]) or _is_the_same(tokens[old], tokens[again])
        if same or tokens[old].quantity is None and tokens[old].norm == tokens[again].norm:
            holds = inherit(tokens[old], tokens[right])
            struck = Strike(said_by(words, [tokens[old]]), said_by(words, tokens[old + 1 : right]), old)
            draft.strikes.append(struck)
            draft.tokens = [*tokens[:old], holds, *tokens[right + 1 :]]
            return


def _is_value(token: Token) -> bool:
    return token.norm in SIDES or (token.quantity is not None and token.quantity.form in _FORMS)


def _norms(tokens: Sequence[Token], index: int, length: int) -> tuple[str, ...]:
    return tuple(token.norm for token in tokens[index : index + length])


def _is_number(tokens: Sequence[Token], index: int) -> bool:
    quantity = tokens[index].quantity if index < len(tokens) else None
    return quantity is not None and quantity.form in _FORMS and quantity.comparator is None


def _deny(draft: Draft, words: Sequence[Word], cue: int, denied: int) -> None:
    """`cue`: index of the word that denies; `denied`: of the number after it."""
    tokens = draft.tokens
    before = _before(tokens, cue, tokens[denied])
    end = denied + 1
    parted = end < len(tokens) and tokens[end].norm in (",", "but")
    after = end + parted if _is_number(tokens, end + parted) and alike(tokens[denied], tokens[end + parted]) else -1
    led = parted and tokens[end].norm == "but"
    if before >= 0 and after < 0:
        _between(draft, words, before, cue, denied)
    elif after > 0 and tokens[cue].norm == "not" and (led or (before < 0 and parted)):
        _take_out(draft, words, cue, denied, after)
    elif before >= 0 and after > 0 and not led:
        # "five millilitres not two three millilitres": what holds was not said clearly
        spoken = said_by(words, [tokens[denied]])
        _take_out(draft, words, cue, denied, after)
        at = draft.tokens[cue].first
        draft.strikes.append(Strike(Evidence(at, at, None, None, ""), replace(spoken, heard=f"not {spoken.heard}"), cue,
                                    False))  # fmt: skip


def _before(tokens: Sequence[Token], cue: int, denied: Token) -> int:
    """Index of the number that stands right before the denial, over a comma and up to two words; -1 if none does."""
    words = 0
    for index in range(cue - 1, max(-1, cue - 2 - _NEAR), -1):
        if _is_number(tokens, index):
            return index if alike(tokens[index], denied) else -1
        words += not tokens[index].punctuation
        if words > _NEAR or tokens[index].norm in (".", ";", "and", "but", "is", "was", "were"):
            return -1
    return -1


def _between(draft: Draft, words: Sequence[Word], kept: int, cue: int, denied: int) -> None:
    """ "Thirty, not forty, millimetres": the unit may be said with either."""
    tokens = draft.tokens
    holds = inherit(tokens[denied], tokens[kept])
    start = cue - 1 if tokens[cue - 1].norm == "," else cue
    rest = list(tokens[denied + 1 :])
    at = 1 if rest and rest[0].norm == "," else 0
    said = read_unit(rest, at, False) if at < len(rest) else None
    quantity = holds.quantity
    if said is not None and quantity is not None and quantity.unit is None:
        named = " ".join(token.text for token in rest[said.start : said.end])
        quantity = replace(quantity, unit=said.ucum, said_unit=named, dimension=said.dimension)
        holds = replace(holds, norm=f"#{said.dimension}", quantity=quantity)
        rest = rest[said.end :]
    draft.strikes.append(Strike(said_by(words, [tokens[denied]]), said_by(words, tokens[cue:denied]), kept))
    draft.strikes += [
        Strike(Evidence(tokens[at].first, tokens[at].first, None, None, ""),
               said_by(words, tokens[cue : denied + 1]), at, False)
        for at in range(kept - 1) if _is_number(tokens, at) and _is_the_same(tokens[at], tokens[denied])
    ]  # fmt: skip
    draft.tokens = [*tokens[:kept], holds, *tokens[kept + 1 : start], *rest]


def _is_the_same(earlier: Token, denied: Token) -> bool:
    """ "Three anchors two point nine millimetres ... the anchors were two point four not two point nine": said before,
    and taken back far behind it."""
    one, other = earlier.quantity, denied.quantity
    return one is not None and other is not None and one.value == other.value is not None and (
        other.unit is None or one.unit == other.unit
    )


def _take_out(draft: Draft, words: Sequence[Word], cue: int, denied: int, after: int) -> None:
    tokens = draft.tokens
    draft.strikes.append(Strike(said_by(words, [tokens[denied]]), said_by(words, tokens[cue:denied]), cue))
    draft.tokens = [*tokens[:cue], *tokens[after:]]
