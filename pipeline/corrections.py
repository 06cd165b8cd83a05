"""Settles spoken corrections: what was taken back leaves the tokens and stands in `strikes`.

A cue of grammars/corrections.toml counts only where it can be one: "correction of deformity" and "no drains" are
ordinary speech. What replaces something must be like it (a volume for a volume, a side for a side, a drug for a
drug). Where it stays unclear what is taken back nothing is removed, and the strike says so (`clear` is False).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.correction_cues import corrected_things, counts_between, cues, next_cue
from pipeline.records import Evidence, Strike, Token, Word
from pipeline.renamed import is_renamed, named, numbered_again, of_its_class, operation_again, other_drug, strike_named
from pipeline.restated import (
    APOLOGIES,
    FEW_BETWEEN,
    FILLERS,
    REACH,
    SIDES,
    Cue,
    Draft,
    Run,
    alike,
    counted_again,
    gap,
    graded_again,
    inherit,
    is_of_other_sort,
    like_before,
    listed_again,
    may_skip,
    other_unit,
    pair_replaced,
    parted,
    rejoined,
    repeated_after,
    rival,
    said_again,
    said_by,
    timed_again,
    trimmed,
    unit_only,
    worded_again,
)
from pipeline.said_not import denied, take_back

_PAUSES = frozenset({",", ";", ":", ".", "...", "…", "-", "—", "?", "!"})
# Words after or before which a cue is ordinary speech.
_ORDINARY_AFTER = frozenset(
    "of was is were are for loss osteotomy and in with to obtained achieved on by factor had has been could would "
    "will can".split()
)
_ORDINARY_BEFORE = frozenset(
    "the a an full good complete adequate deformity angular surgical further this some any no valgus varus "
    "excellent partial rotational final of for after".split()
)
_WEAK = frozenset({
    "no", "nope", "wrong", "disregard", "sorry", "rather", "excuse me", "make it", "should be", "actually no", "oops",
    "should read",
})  # fmt: skip
_SURE = frozenset({"make-that", "correction"})
# May restate or go on: both values stay, in doubt.
_HESITANT = "actually"  # id of the row


def settle(drafts: Sequence[Draft], words: Sequence[Word]) -> list[Draft]:
    """The drafts with every correction settled; emptied ones keep no tokens."""
    by_first, _ = cues()
    out: list[Draft] = []
    pending = list(drafts)
    for draft in pending:
        take_back(draft, words)
    while pending:
        draft = pending.pop(0)
        start = 0
        while True:
            cue = next_cue(draft.tokens, start, by_first)
            if cue is None:
                break
            alone = _is_alone(draft, cue) and pending and cue.row.action == "replace"
            if alone and not _is_answer(out, cue, pending[0]):
                following = pending.pop(0)
                draft.tokens = [*draft.tokens, *following.tokens]
            cue = rejoined(out, draft, cue)
            held = [(item, list(item.tokens), list(item.strikes)) for item in (*out[-2:], draft)]
            start = _apply(draft, cue, out, words)
            for item, tokens, strikes in held:
                _relocate(item, tokens, len(strikes))
        out.append(draft)
    for draft in out:
        if all(token.punctuation for token in draft.tokens):
            draft.tokens = []
    _rehome(out)
    return out


def _relocate(draft: Draft, before: Sequence[Token], known: int) -> None:
    """Earlier strikes follow their token when a later correction moves it."""
    if not draft.strikes[:known]:
        return
    places = {id(token): index for index, token in enumerate(draft.tokens)}
    for number, strike in enumerate(draft.strikes[:known]):
        if 0 <= strike.at < len(before):
            draft.strikes[number] = replace(strike, at=places.get(id(before[strike.at]), len(draft.tokens)))


def _is_alone(draft: Draft, cue: Cue) -> bool:
    return all(token.punctuation for token in (*draft.tokens[: cue.first], *draft.tokens[cue.end :]))


def _is_answer(out: Sequence[Draft], cue: Cue, following: Draft) -> bool:
    """ "Drain? No. Specimen? None.": a bare no behind a question, and no other value behind it."""
    asked = bool(out) and out[-1].tokens[-1:] and out[-1].tokens[-1].norm == "?"
    return bool(asked) and cue.phrase == "no" and all(token.quantity is None for token in following.tokens)


def _apply(draft: Draft, cue: Cue, out: list[Draft], words: Sequence[Word]) -> int:
    """Carries one cue out; the index from which to look for the next."""
    tokens = draft.tokens
    before = tokens[cue.first - 1].norm if cue.first else "."
    after = tokens[cue.end].norm if cue.end < len(tokens) else "."
    apart = before in _PAUSES and (after in _PAUSES or cue.end == len(tokens) or tokens[cue.end].quantity is not None
                                   or after in SIDES)  # fmt: skip
    ordinary = before in _ORDINARY_BEFORE or before in corrected_things()
    if (after in _ORDINARY_AFTER and cue.row.id in ("correction", "scratch-that") and not apart) or (
        ordinary and cue.row.id in ("correction", "scratch-that", "or-rather")
    ):
        return cue.end
    if cue.row.action == "strike_sentence":
        return _strike_sentence(draft, cue, out, words)
    if cue.row.action == "strike_named":
        return cue.end if (at := strike_named(draft, cue, out, words)) is None else at
    if cue.phrase == "no" and apart and (again_from := operation_again(draft, cue, out)) is not None:
        return _operation(draft, cue, *again_from, words)
    if (back := denied(draft, cue)) is not None:
        first, rest = back
        mark = [token for token in tokens[cue.first - 1 : cue.end] if token.norm == ","][:1]
        _restart(draft, Cue(cue.row, cue.phrase, cue.first, rest), first, words)
        if first and not draft.tokens[first - 1].punctuation:
            draft.tokens[first:first] = mark  # "arthroscopy, no microfracture"
        return first
    new = _replacement(tokens, cue)
    weak = cue.phrase in _WEAK
    if new is not None:
        timed_again(tokens, cue, new)
        if (row := listed_again(tokens, cue, new)) >= 0:
            return _restart(draft, cue, row, words)  # "five five and four, no, five five and five"
    if new is not None and (after_pair := pair_replaced(draft, cue, new, words)) is not None:
        return after_pair
    if new is None and cue.row.action == "replace" and cue.row.id != _HESITANT and (apart or not weak) and (
        (renumbered := numbered_again(draft, cue, out)) is not None
    ):
        return _replace(draft, cue, *renumbered, words)
    if new is None and (apart or cue.phrase != "no") and (drug := of_its_class(draft, cue)) is not None:
        return _anew(draft, cue, drug, words)  # "20 mL of lidocaine, wait, bupivacaine"
    if cue.row.id == _HESITANT:
        if new is not None and tokens[new].quantity is not None and like_before(tokens, cue, new):
            draft.strikes.append(_unclear(tokens, cue, words))
        return cue.end
    if (again := graded_again(tokens, cue) if new is None else counted_again(tokens, cue, new)) >= 0:
        return _restart(draft, cue, again, words)  # "six draws of ten mils no eight draws of ten mils"
    if new is not None:
        target = _target(draft, cue, new, out, weak)
        if target is not None and rival(draft, cue, new, target):
            draft.strikes.append(_unclear(tokens, cue, words))
            return cue.end
        if target is not None and target[0] is draft and is_renamed(tokens, target[1], cue, new):
            return _restart(draft, cue, target[1], words)
        if target is not None:
            adjacent = target[0] is draft and gap(tokens, target[1], cue.first) <= FEW_BETWEEN
            place, old = target
            again = repeated_after(place.tokens, old, len(place.tokens), tokens, new) > 0  # "strike that: six holes"
            if cue.row.action == "replace" or adjacent or (place is not draft and again):
                end = _replace(draft, cue, new, *target, words)
                if target[0] is not draft and target[0].tokens[-1:] and target[0].tokens[-1].norm == "?":
                    target[0].tokens = target[0].tokens[:-1]  # "12 mL? No, 10 mL": asked and answered
                return end
    elif (unit := unit_only(draft, cue)) is not None:
        return other_unit(draft, cue, *unit, words)
    if cue.row.action == "strike_last":
        if new is None and (again := said_again(tokens, cue)) >= 0:
            return _restart(draft, cue, again, words)  # "grade three scratch that grade two"
        return _strike_last(draft, cue, out, words)
    sided = new is not None and tokens[new].norm in SIDES
    if cue.phrase == "no" and (new is None or sided) and (other := other_drug(draft, cue, out)) is not None:
        return _anew(draft, cue, other, words)
    set_off = apart and cue.phrase in ("no", "rather") or (
        cue.phrase == "actually no" and all(token.punctuation for token in tokens[cue.end : new])
    )
    if weak and set_off and new is not None and (tokens[new].quantity is not None or cue.phrase != "no"):
        if any(alike(token, tokens[new]) for token in tokens[: cue.first]):
            draft.strikes.append(_unclear(tokens, cue, words))
    elif cue.phrase in APOLOGIES and new is not None and tokens[new].quantity is not None:
        if like_before(tokens, cue, new):
            draft.strikes.append(_unclear(tokens, cue, words))
    elif (not weak or cue.phrase in APOLOGIES) and (cue.row.id != "i-mean" or (new is not None and apart)):
        if new is None and (again := said_again(tokens, cue)) >= 0:
            return _restart(draft, cue, again, words)
        name = None if new is not None else named(draft, cue, out)
        if name is not None:
            return _anew(draft, cue, name, words)
        if (apart and not weak) or (cue.row.id in _SURE and new is not None) or worded_again(tokens, cue):
            draft.strikes.append(_unclear(tokens, cue, words))
    elif cue.row.id == "i-mean" and new is None:
        if (again := said_again(tokens, cue)) >= 0:
            return _restart(draft, cue, again, words)
        name = named(draft, cue, out)
        if name is not None:
            return _anew(draft, cue, name, words)
    return cue.end


def _anew(draft: Draft, cue: Cue, name: tuple[int, Draft, int] | int, words: Sequence[Word]) -> int:
    if isinstance(name, int):
        return _restart(draft, cue, name, words)
    return _replace(draft, cue, *name, words)


def _replacement(tokens: Sequence[Token], cue: Cue) -> int | None:
    """Index of the value or side that is said after the cue, over a few small words."""
    for index in range(cue.end, min(cue.end + 5, len(tokens))):
        token = tokens[index]
        if (token.quantity is not None and token.quantity.form != "ordinal") or token.norm in SIDES:
            return index
        if token.norm not in FILLERS and (cue.phrase == "no" or token.norm not in _INTO):
            return None
    return None


_INTO = frozenset({"on", "from", "into", "over", "through", "under"})  # "on the right, excuse me, on the left side"


def _target(draft: Draft, cue: Cue, new: int, out: Sequence[Draft], weak: bool) -> tuple[Draft, int] | None:
    """(draft, token index) of the nearest earlier value that is like the new one."""
    fresh = draft.tokens[new]
    counter = counts_between(draft.tokens, cue.first, fresh)
    for index in range(cue.first - 1, -1, -1):
        if index == counter:
            continue  # "one mil in each of the six syringes, no, sorry, half a mil"
        if is_of_other_sort(draft.tokens[index], fresh):
            return None  # "two grams at eight ten incision ... no wait four": not the grams
        if alike(draft.tokens[index], fresh):
            same = [at for at in range(index - 1, -1, -1) if alike(draft.tokens[at], fresh)
                    and _is_of_same_noun(draft.tokens, at, draft.tokens, new)]  # fmt: skip
            if same and not _is_of_same_noun(draft.tokens, index, draft.tokens, new):
                return draft, same[0]
            between = gap(draft.tokens, index, cue.first)
            again = repeated_after(draft.tokens, index, cue.first, draft.tokens, new)
            if weak and again < between and not may_skip(draft.tokens, index, cue, new, between):
                return None
            return draft, index
    if weak and cue.first and cue.phrase != "should be":
        return None
    lead = [token for token in draft.tokens[: cue.first] if not token.punctuation]
    if lead:
        return None
    for earlier in reversed(out[-2:]):
        told = [at for at in range(len(earlier.tokens) - 1, -1, -1) if alike(earlier.tokens[at], fresh)]
        # "a five mil burr to two millimetres. No, three millimetre burr": what is of the same thing
        same = [at for at in told if _is_of_same_noun(earlier.tokens, at, draft.tokens, new)]
        if told:
            return earlier, (same or told)[0]
    return None


def _is_of_same_noun(tokens: Sequence[Token], at: int, said: Sequence[Token], new: int) -> bool:
    """Whether two numbers are of one thing that is named right behind each: "five mil burr", "three millimetre burr",
    "ten mils of lidocaine", "twelve of lidocaine"."""
    one, other = _noun_behind(tokens, at), _noun_behind(said, new)
    return bool(one) and one == other


def _noun_behind(tokens: Sequence[Token], at: int) -> str:
    behind = [token.norm for token in tokens[at + 1 : at + 4] if token.norm not in ("of", "the", "#fraction")]
    return behind[0].rstrip("s") if behind and behind[0].isalpha() and behind[0] not in FILLERS else ""


def _operation(draft: Draft, cue: Cue, place: Draft, index: int, words: Sequence[Word]) -> int:
    """As `_restart`, where what is taken back may end the sentence before."""
    if place is draft:
        return _restart(draft, cue, index, words)
    struck, said = place.tokens[index:], draft.tokens[cue.first : cue.end]
    place.tokens = place.tokens[:index]
    place.strikes.append(Strike(said_by(words, struck), said_by(words, said), max(0, index - 1)))
    draft.tokens = draft.tokens[cue.end :]
    while draft.tokens and draft.tokens[0].punctuation:
        draft.tokens = draft.tokens[1:]
    return 0


def _restart(draft: Draft, cue: Cue, index: int, words: Sequence[Word]) -> int:
    """Takes back everything from a word to the cue, after which it is said again."""
    tokens = draft.tokens
    struck, rest = tokens[index : cue.first], tokens[cue.end :]
    while rest and rest[0].punctuation:
        rest = rest[1:]
    draft.tokens = [*tokens[:index], *rest]
    draft.strikes.append(Strike(said_by(words, struck), said_by(words, tokens[cue.first : cue.end]), index))
    return index


def _replace(draft: Draft, cue: Cue, new: int, place: Draft, old: int, words: Sequence[Word]) -> int:
    """Takes the old value and the cue out. What is said after the new one decides where the new one goes: alone, it
    takes the place of the old; with words of its own, it stays where it was said."""
    tokens = draft.tokens
    shrunk = sum(len(t.parts) - 1 for t in tokens[:new] if isinstance(t, Run) and place is draft)
    cue_first, cue_end = cue.first - shrunk, cue.end - shrunk
    fresh = inherit(place.tokens[old], tokens[new])
    repeated = repeated_after(place.tokens, old, cue_first if place is draft else len(place.tokens), tokens, new)
    struck = place.tokens[old : old + 1 + repeated]
    said = said_by(words, tokens[cue_first:cue_end])
    back = said_by(words, parted(struck))
    tail = tokens[new + 1 + repeated :]
    closing = next((token for token in tail if not token.punctuation), None) is None or tail[0].punctuation
    moved = parted([fresh, *tokens[new + 1 : new + 1 + repeated]])
    if closing and place is draft:
        head = parted(tokens[:old])
        middle = trimmed(parted(tokens[old + 1 + repeated : cue_first]))
        draft.tokens = [*head, *moved, *middle, *parted(tail)]
        draft.strikes = [*draft.strikes, Strike(back, said, len(head))]
        return len(head) + len(moved) + len(middle)
    if closing:
        head = parted(place.tokens[:old])
        place.tokens = [*head, *moved, *parted(place.tokens[old + 1 + repeated :])]
        place.strikes.append(Strike(back, said, len(head)))
        rest = parted(tail)
        draft.tokens = rest if any(not token.punctuation for token in rest) else []
        return 0
    if place is draft:
        head = [*parted(tokens[:old]), *trimmed(parted(tokens[old + 1 + repeated : cue_first]))]
    else:
        place.tokens = parted([*place.tokens[:old], *place.tokens[old + 1 + repeated :]])
        head = parted(tokens[:cue_first])
    draft.tokens = [*head, *moved, *parted(tail)]
    draft.strikes = [*draft.strikes, Strike(back, said, len(head))]
    return len(head) + len(moved)


def _strike_last(draft: Draft, cue: Cue, out: Sequence[Draft], words: Sequence[Word]) -> int:
    """ "Scratch that": by itself it takes the sentence before it; inside one, what was said of that sentence."""
    tokens = draft.tokens
    lead = [token for token in tokens[: cue.first] if not token.punctuation]
    if not lead:
        return _strike_sentence(draft, cue, out, words)
    if len(lead) > REACH or any(token.norm in (",", ";") for token in tokens[: cue.first - 1]):
        draft.strikes.append(_unclear(tokens, cue, words))
        return cue.end
    return _strike_sentence(draft, cue, out, words)


def _strike_sentence(draft: Draft, cue: Cue, out: Sequence[Draft], words: Sequence[Word]) -> int:
    tokens = draft.tokens
    said = said_by(words, tokens[cue.first : cue.end])
    lead = tokens[: cue.first]
    rest = tokens[cue.end :]
    while rest and rest[0].punctuation:
        rest = rest[1:]
    if any(not token.punctuation for token in lead):
        back = said_by(words, lead)
    else:
        earlier = next((item for item in reversed(out) if item.tokens), None)
        if earlier is None:
            draft.strikes.append(_unclear(tokens, cue, words))
            return cue.end
        back = said_by(words, earlier.tokens)
        draft.strikes += [replace(strike, at=0) for strike in earlier.strikes]
        earlier.tokens, earlier.strikes = [], []
    draft.tokens = rest
    draft.strikes.append(Strike(back, said, 0 if rest else -1))
    return 0


def _rehome(out: Sequence[Draft]) -> None:
    """Strikes of an emptied sentence go to the sentence before it (or the next), past its last token, so that they
    are shown there and claimed by no fact."""
    for index, draft in enumerate(out):
        if draft.tokens or not draft.strikes:
            continue
        near = next((item for item in reversed(out[:index]) if item.tokens), None) or next(
            (item for item in out[index:] if item.tokens), None
        )
        if near is not None:
            near.strikes += [replace(strike, at=len(near.tokens)) for strike in draft.strikes]
            draft.strikes = []


def _unclear(tokens: Sequence[Token], cue: Cue, words: Sequence[Word]) -> Strike:
    """A correction that does not say what it takes back: nothing is removed."""
    at = tokens[cue.first].first
    return Strike(Evidence(at, at, None, None, ""), said_by(words, tokens[cue.first : cue.end]), cue.first, False)
