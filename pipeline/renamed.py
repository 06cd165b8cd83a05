"""Names that a spoken correction puts in the place of names: "lidocaine, sorry, bupivacaine", "prone, no, supine"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.correction_cues import cues, laid_otherwise, numbing
from pipeline.mentions import mark
from pipeline.records import Mention, Sentence, Strike, Token, Word
from pipeline.restated import FILLERS, REACH, SIDES, Cue, Draft, alike, led_anew, numbered_anew, said_by, together
from pipeline.rows import Drug


def is_renamed(tokens: Sequence[Token], old: int, cue: Cue, new: int) -> bool:
    """ "two grams of cefazolin sorry one gram of vancomycin": the thing is said anew together with its number."""
    _, loaded = cues()
    first = mark(Sentence(0, tuple(tokens[old + 1 : cue.first])), loaded).mentions
    second = mark(Sentence(0, tuple(tokens[new + 1 : new + 6])), loaded).mentions
    if not first or not second or second[0].first > 1 or tokens[new + 1].norm != "of":
        return False
    return any(one.table == two.table and one.id != two.id for one in first if one.first == first[0].first
               for two in second if two.first <= 1)  # fmt: skip


def named(draft: Draft, cue: Cue, out: Sequence[Draft]) -> tuple[int, Draft, int] | int | None:
    """(index of the new name, draft, index of the old) where a name of the same table replaces one before the cue; an
    index alone where its number is said anew too, from which all is taken back."""
    _, loaded = cues()
    tokens = draft.tokens
    ahead = tokens[cue.end : cue.end + 6]
    after = numbing(ahead, mark(Sentence(0, tuple(ahead)), loaded).mentions)
    if not after or any(not token.punctuation and token.norm not in FILLERS
                        for token in tokens[cue.end : cue.end + after[0].first]):  # fmt: skip
        return None
    first = after[0]
    tables = {mention.table for mention in after if mention.first == first.first}
    places = [(draft, tokens[: cue.first])] if any(not t.punctuation for t in tokens[: cue.first]) else []
    places += [(earlier, earlier.tokens) for earlier in reversed(out[-1:])] if not places else []
    for place, stretch in places:
        old = [m for m in numbing(stretch, mark(Sentence(0, tuple(stretch)), loaded).mentions) if m.table in tables]
        if old and any((m.table, m.id) in {(one.table, one.id) for one in old} for m in after
                       if m.first == first.first):  # fmt: skip
            return None  # "hyaluronate two mils. No, no hyaluronic acid": denied, and no other name for it
        if old and place is draft and numbered_anew(tokens, old[-1].last, cue, first.last):
            return old[-1].first
        if old and place is draft and (led := led_anew(tokens, old[-1].first, cue, first.last)) >= 0:
            return led
        if old:
            if len(old[-1:]) and old[-1].first != old[-1].last or first.first != first.last:
                return _phrase(place, old[-1].first, old[-1].last, draft, cue, first.first, first.last)
            return cue.end + first.first, place, old[-1].first
    return None


def operation_again(draft: Draft, cue: Cue, out: Sequence[Draft]) -> tuple[Draft, int] | None:
    """(draft, token) from which all is taken back where "no" stands between marks and two operations of one sort:
    "right total thyroidectomy ... no, right hemithyroidectomy", "medial meniscectomy. No, lateral meniscectomy"."""
    _, loaded = cues()
    lead = [token for token in draft.tokens[: cue.first] if not token.punctuation]
    place = draft if lead or not out else out[-1]
    stretch = draft.tokens[: cue.first] if place is draft else place.tokens
    ahead = draft.tokens[cue.end : cue.end + _AHEAD]
    new = [m for m in mark(Sentence(0, tuple(ahead)), loaded).mentions if m.table in _OPERATIONS]
    if not new or any(token.norm not in FILLERS | SIDES for token in ahead[: new[0].first]):
        return None
    end = max((at for at, token in enumerate(stretch) if not token.punctuation), default=-1)
    for old in mark(Sentence(0, tuple(stretch)), loaded).mentions:
        if old.last == end and old.table == new[0].table and old.id != new[0].id and _of_one_sort(
            stretch[old.last].norm, ahead[new[0].last].norm
        ):
            sided = {token.norm for token in ahead[: new[0].first]} & SIDES
            lead_side = old.first and stretch[old.first - 1].norm in SIDES
            return place, old.first - 1 if sided and lead_side else old.first
    return None


_AHEAD = 8  # tokens from a "no" on
_OPERATIONS = frozenset({"procedures", "acts"})
_ENDING = 6  # letters that two names of operations of one sort end in ("thyroidectomy", "hemithyroidectomy")


def _of_one_sort(one: str, other: str) -> bool:
    return len(one) >= _ENDING and one[-_ENDING:] == other[-_ENDING:]


def numbered_again(draft: Draft, cue: Cue, out: Sequence[Draft]) -> tuple[int, Draft, int] | None:
    """(index of the new number, draft, index of the old) where words are said again with another number behind them:
    "cefazolin two grams, tranexamic acid one gram. Correction, cefazolin three grams". What was said of other things in
    between stays."""
    tokens, at = draft.tokens, cue.end
    words: list[str] = []
    while at < len(tokens) and not _is_value(tokens[at]):
        norm = tokens[at].norm
        if norm in (".", ";", "?") or len(words) > _NAMED_BY or tokens[at].quantity is not None:
            return None  # "third four, no wait, the third was five": by its ordinal
        words += [norm] if norm not in FILLERS else []
        at += 1
    if at >= len(tokens) or not words:
        return None
    lead = any(not token.punctuation for token in tokens[: cue.first])
    places = [(draft, tokens[: cue.first])] if lead else [(one, one.tokens) for one in reversed(out[-2:])]
    for place, stretch in places:
        for old in range(len(stretch) - 1, 0, -1):
            if _is_value(stretch[old]) and alike(stretch[old], tokens[at]) and _led_by(stretch, old, words):
                return at, place, old
    return None


_NAMED_BY = 4  # words


def _is_value(token: Token) -> bool:
    return token.quantity is not None and token.quantity.form != "ordinal"


def _led_by(tokens: Sequence[Token], at: int, words: Sequence[str]) -> bool:
    """Whether these words, and small ones, stand right before a token."""
    left, at = list(words), at - 1
    while left and at >= 0:
        if tokens[at].norm == left[-1]:
            left.pop()
        elif tokens[at].norm not in FILLERS or tokens[at].norm in (".", ";"):
            return False
        at -= 1
    return not left


def of_its_class(draft: Draft, cue: Cue) -> tuple[int, Draft, int] | int | None:
    """What `named` finds where a drug stands right before the cue and one of its class right behind."""
    _, loaded = cues()
    told, drugs = draft.tokens[: cue.first], loaded.table("drugs", Drug)
    end = max((at for at, token in enumerate(told) if not token.punctuation), default=-1)
    old = [m.id for m in mark(Sentence(0, tuple(told)), loaded).mentions if m.table == "drugs" and m.last == end]
    behind = [token for token in draft.tokens[cue.end : cue.end + 5] if not token.punctuation]
    new = [m.id for m in mark(Sentence(0, tuple(behind)), loaded).mentions if m.table == "drugs" and m.first == 0]
    alike_in = old and new and old[0] != new[0] and set(drugs[old[0]].classes) & set(drugs[new[0]].classes)
    return named(draft, cue, ()) if alike_in else None


def other_drug(draft: Draft, cue: Cue, out: Sequence[Draft]) -> tuple[int, Draft, int] | int | None:
    """ "Eighteen mils of half percent levobupivacaine no bupivacaine half percent": a drug with a number of its own
    takes back the one of its class right before the "no". "Prone no lateral": nobody lies both ways."""
    _, loaded = cues()
    tokens = draft.tokens
    place = draft if any(not token.punctuation for token in tokens[: cue.first]) or not out else out[-1]
    if (laid := laid_otherwise(place.tokens if place is not draft else tokens[: cue.first], tokens, cue)) is not None:
        return _phrase(place, *laid[0], draft, cue, *laid[1])  # "Position: prone. No, supine."
    if not any(token.quantity is not None for token in tokens[cue.end + 1 : cue.end + 5]):
        return None
    new = [m for m in mark(Sentence(0, tuple(tokens[cue.end : cue.end + 4])), loaded).mentions
           if m.table == "drugs" and m.first == 0]  # fmt: skip
    told = tokens[: cue.first] if new else ()
    old = [m for m in mark(Sentence(0, tuple(told)), loaded).mentions if m.table == "drugs"]
    if not old or not new or new[0].id == old[-1].id:
        return None
    if any(token.quantity is None and not token.punctuation and token.norm != "of"
           for token in tokens[old[-1].last + 1 : cue.first]):  # fmt: skip
        return None
    numbered = any(token.quantity is not None for token in tokens[max(0, old[-1].first - 3) : cue.first])
    after, drugs = cue.end + new[0].last + 1, loaded.table("drugs", Drug)
    alike_in = set(drugs[old[-1].id].classes) & set(drugs[new[0].id].classes)
    if not numbered or not alike_in or after >= len(tokens) or tokens[after].quantity is None:
        return None
    if numbered_anew(tokens, old[-1].last, cue, new[0].last):
        return old[-1].first
    last, first = old[-1], new[0]
    if last.first != last.last or first.first != first.last:
        return _phrase(draft, last.first, last.last, draft, cue, first.first, first.last)
    return cue.end, draft, last.first


def _phrase(
    place: Draft, first: int, last: int, draft: Draft, cue: Cue, new_first: int, new_last: int
) -> tuple[int, Draft, int]:
    """Names of several words are put together into one token each, so that one replaces the other."""
    tokens = draft.tokens
    begin, end = cue.end + new_first, cue.end + new_last
    if place is draft or end > begin:
        tokens[begin : end + 1] = [together(tokens[begin : end + 1])]
    place.tokens[first : last + 1] = [together(place.tokens[first : last + 1])]
    shift = last - first if place is draft else 0
    return begin - shift, place, first


def strike_named(draft: Draft, cue: Cue, out: Sequence[Draft], words: Sequence[Word]) -> int | None:
    """ "Forty of kenalog scratch the kenalog": takes out the thing that is named again, with its number and what was
    said of it up to the next thing; None where nothing of that name was said before."""
    tokens = draft.tokens
    again = [m for m in _things(tokens[cue.end : cue.end + _NAME]) if m.first == 0]
    if not again or (cue.first and tokens[cue.first - 1].norm in _TOLD):
        return None
    end = cue.end + again[0].last + 1
    place = draft if any(not token.punctuation for token in tokens[: cue.first]) or not out else out[-1]
    stretch = tokens[: cue.first] if place is draft else place.tokens
    told = _things(stretch)
    ids = {(m.table, m.id) for m in again}
    old = next((m for m in reversed(told) if (m.table, m.id) in ids and len(stretch) - m.first <= REACH), None)
    if old is None:
        return None
    first, stop = _of_it(stretch, old.first), old.last + 1
    while stop < len(stretch) and not stretch[stop].punctuation and not any(m.first == stop for m in told):
        stop += 1
    said = said_by(words, tokens[cue.first : end])
    strike = Strike(said_by(words, stretch[first:stop]), said, first)
    if place is draft:
        draft.tokens = [*tokens[:first], *tokens[stop : cue.first], *tokens[end:]]
        draft.strikes.append(strike)
        return first
    place.tokens = [*stretch[:first], *stretch[stop:]]
    if not any(not token.punctuation for token in place.tokens):
        place.tokens = []
    place.strikes.append(strike if place.tokens else replace(strike, at=0))
    draft.tokens = [*tokens[: cue.first], *tokens[end:]]
    return cue.first


_NAME = 5  # tokens
# Behind these it is told of a deed, and nobody is asked to take anything back ("we cancel the drain check").
_TOLD = frozenset("we i you they to not never will must can could should would had have then".split())
_BEFORE_IT = frozenset({"a", "an", "the", "of", "another", "one"})


def _of_it(tokens: Sequence[Token], first: int) -> int:
    """Where a thing begins with its number and article: "forty milligrams of kenalog", "a Blake drain"."""
    while first and (tokens[first - 1].quantity is not None or tokens[first - 1].norm in _BEFORE_IT):
        first -= 1
    return first


def _things(tokens: Sequence[Token]) -> list[Mention]:
    return [m for m in mark(Sentence(0, tuple(tokens)), cues()[1]).mentions if m.table in _THINGS]


_THINGS = frozenset({"drugs", "devices", "drains", "dressings", "sutures", "procedures", "acts", "specimens"})
