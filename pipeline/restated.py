"""What a spoken correction works with: sentences in the making, values that are alike, words said again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from pipeline.records import Evidence, Quantity, Strike, Token, Word
from pipeline.rows import Correction
from pipeline.units import Said, read_unit

SIDES = frozenset({"left", "right", "bilateral", "bilaterally", "both", "lefthand", "righthand"})
# Never ordinary speech right before a value.
APOLOGIES = frozenset({
    "sorry", "oh sorry", "no sorry", "sorry no", "excuse me", "no excuse me", "oops", "whoops", "my bad", "my mistake",
    "pardon", "pardon me", "no pardon", "i beg your pardon", "beg your pardon", "apologies", "no wait", "wait no",
    "let me rephrase", "that is wrong", "that's wrong", "no hang on", "hang on no", "no hold on", "hold on no",
    "no wait a minute", "no wait a second", "my apologies", "i misspoke", "i misspoke there", "sorry i misspoke",
    "i tell a lie", "no i tell a lie", "i am wrong", "i'm wrong", "no i'm wrong", "i was wrong", "that is not right",
    "that's not right", "no that's not right",
})  # fmt: skip
BETWEEN, FEW_BETWEEN = 5, 3  # words between a value and the cue ("two grams of cefazolin, sorry, three grams")
REACH = 14  # tokens of a clause that "scratch that" may take back
_ENDS_VALUE = frozenset("of was were is are in at to and for then given used".split())
_NUMERIC = frozenset({"number", "range", "fraction"})


@dataclass(frozen=True, slots=True)
class Cue:
    row: Correction
    phrase: str
    first: int
    end: int


@dataclass(slots=True)
class Draft:
    """A sentence in the making. `heading`: a line of its own that belongs to the next."""

    tokens: list[Token]
    strikes: list[Strike] = field(default_factory=list)
    heading: bool = False


def gap(tokens: Sequence[Token], index: int, end: int) -> int:
    """Words (no punctuation) between a token and the cue."""
    return sum(not token.punctuation for token in tokens[index + 1 : end])


def alike(old: Token, new: Token) -> bool:
    if new.norm in SIDES:
        return old.norm in SIDES
    first, second = old.quantity, new.quantity
    if first is None or second is None or first.form == "ordinal":
        return False
    if second.form == "suture" and first.form == "number" and not first.dimension:
        return second.text == f"{first.value}-0"  # "three nylon, sorry, three oh nylon"
    if first.form in _NUMERIC and second.form in _NUMERIC:
        return first.dimension == second.dimension or first.unit is None or second.unit is None
    return first.form == second.form or {first.form, second.form} <= {"label", "roman", "number", "times"}


def is_of_other_sort(old: Token, new: Token) -> bool:
    """Whether a value stands between a bare new number and what it could be like: a time of day, a pair, a code."""
    first, second = old.quantity, new.quantity
    if first is None or second is None or second.unit is not None or second.form not in _NUMERIC:
        return False
    return first.form in ("clock", "pair", "date")


def together(tokens: Sequence[Token]) -> Token:
    if len(tokens) == 1:
        return tokens[0]
    return Run(" ".join(t.text for t in tokens), " ".join(t.norm for t in tokens), tokens[0].first, tokens[-1].last,
                None, False, tuple(tokens))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Run(Token):
    """Several tokens as one while a correction is settled."""

    parts: tuple[Token, ...] = ()


def parted(tokens: Sequence[Token]) -> list[Token]:
    flat: list[Token] = []
    for token in tokens:
        flat += token.parts if isinstance(token, Run) else (token,)
    return flat


def trimmed(tokens: list[Token]) -> list[Token]:
    """Without the punctuation that only set the correction apart."""
    while tokens and tokens[-1].punctuation:
        tokens = tokens[:-1]
    return tokens


def inherit(old: Token, new: Token) -> Token:
    """A bare number that replaces one with a unit keeps the unit that was said with it."""
    first, second = old.quantity, new.quantity
    if first is None or second is None or second.form not in _NUMERIC or second.unit is not None or first.unit is None:
        return new
    taken = replace(second, unit=first.unit, said_unit=first.said_unit, dimension=first.dimension)
    return replace(new, norm=f"#{first.dimension}", quantity=taken)


def repeated_after(old: Sequence[Token], at: int, end: int, new: Sequence[Token], start: int) -> int:
    """How many words after the old value are said again after the new one ("left knee" ... "right knee")."""
    count = 0
    while (
        at + 1 + count < end
        and start + 1 + count < len(new)
        and old[at + 1 + count].norm == new[start + 1 + count].norm
        and not old[at + 1 + count].punctuation
        and old[at + 1 + count].quantity is None
    ):
        count += 1
    return count


def said_by(words: Sequence[Word], tokens: Sequence[Token]) -> Evidence:
    first, last = min(token.first for token in tokens), max(token.last for token in tokens)
    spoken = list(_within(words, first, last))
    starts = [word.start for word in spoken if word.start is not None]
    ends = [word.end for word in spoken if word.end is not None]
    sure = [word.confidence for word in spoken if word.confidence is not None]
    return Evidence(first, last, min(starts, default=None), max(ends, default=None),
                    " ".join(word.heard or word.text for word in spoken), min(sure, default=None))  # fmt: skip


def _within(words: Sequence[Word], first: int, last: int) -> Iterator[Word]:
    return (word for word in words if word.last >= first and word.id <= last)


def may_skip(tokens: Sequence[Token], index: int, cue: Cue, new: int, between: int) -> bool:
    """Whether a weak cue may reach over the words after the old value ("two grams of cefazolin sorry three grams")."""
    old, fresh = tokens[index].quantity, tokens[new].quantity
    if tokens[new].norm in SIDES and cue.phrase == "no" and between <= BETWEEN:
        # "right hip core decompression, no, left hip": set off on both sides, with the same part behind the side
        set_off = cue.end < len(tokens) and tokens[cue.first - 1].punctuation and tokens[cue.end].punctuation
        return set_off and repeated_after(tokens, index, cue.first, tokens, new) > 0
    if fresh is None or old is None:
        return False
    if cue.phrase in APOLOGIES:
        return between <= BETWEEN
    after = tokens[new + 1].norm if new + 1 < len(tokens) else "."
    ends = not after[0].isalpha() or after in _ENDS_VALUE
    return between <= FEW_BETWEEN and fresh.unit is not None and old.unit == fresh.unit and ends


def like_before(tokens: Sequence[Token], cue: Cue, new: int) -> bool:
    """Whether a value like the new one stands before the cue."""
    return any(alike(token, tokens[new]) for token in tokens[max(0, cue.first - REACH) : cue.first])


def rival(draft: Draft, cue: Cue, new: int, target: tuple[Draft, int]) -> bool:
    """Whether the nearest value has another unit, and one before it the unit of the new one: either may be meant."""
    fresh, old = draft.tokens[new].quantity, target[0].tokens[target[1]].quantity
    if fresh is None or old is None or old.unit is None or fresh.unit == old.unit:
        return False
    before = target[0].tokens[max(0, target[1] - REACH) : target[1]]
    if fresh.unit is None:  # "two five millimetre ports, correction three": the ports or their size
        return any(token.quantity is not None and token.quantity.form == "number" and not token.quantity.dimension
                   for token in before[-2:])  # fmt: skip
    return any(token.quantity is not None and token.quantity.unit == fresh.unit for token in before)


def unit_only(draft: Draft, cue: Cue) -> tuple[int, Said] | None:
    """(index of the value, unit) where only a unit is said anew ("ten milligrams I mean micrograms")."""
    tokens = draft.tokens
    start = cue.end
    while start < len(tokens) and tokens[start].norm in (",", "..."):
        start += 1
    said = read_unit(tokens, start, False) if start < len(tokens) else None
    if said is None or (cue.phrase == "no" and not _is_apart(tokens, cue, said.end)):
        return None
    for index in range(cue.first - 1, max(-1, cue.first - BETWEEN - 2), -1):
        quantity = tokens[index].quantity
        if quantity is not None:
            other = quantity.form in ("number", "range", "fraction") and quantity.unit != said.ucum
            if cue.phrase == "no" and "time" in (quantity.dimension, said.dimension) and (
                quantity.dimension != said.dimension
            ):
                return None  # "four weeks no rotation"
            return (index, said) if other else None
    return None


def _is_apart(tokens: Sequence[Token], cue: Cue, end: int) -> bool:
    """ "Four millimetres, no, centimetres": the value right before the cue, and nothing that the unit could be of."""
    back = cue.first - 1
    while back > 0 and tokens[back].norm == ",":
        back -= 1
    after = tokens[end].norm if end < len(tokens) else "."
    return tokens[back].quantity is not None and (after in _ENDS_VALUE or not after[0].isalpha())


def other_unit(draft: Draft, cue: Cue, index: int, said: Said, words: Sequence[Word]) -> int:
    """The value with the unit that was said anew; the old one stands in the strikes."""
    tokens = draft.tokens
    old = tokens[index]
    assert old.quantity is not None
    named = " ".join(token.text for token in tokens[said.start : said.end])
    fresh = replace(old.quantity, unit=said.ucum, said_unit=named, dimension=said.dimension)
    back, heard = said_by(words, [old]), said_by(words, tokens[cue.first : cue.end])
    middle = trimmed(list(tokens[index + 1 : cue.first]))
    draft.tokens = [
        *tokens[:index], replace(old, norm=f"#{said.dimension}", quantity=fresh), *middle, *tokens[said.end :]
    ]  # fmt: skip
    draft.strikes.append(Strike(back, heard, index))
    return index + 1 + len(middle)


def numbered_anew(tokens: Sequence[Token], last: int, cue: Cue, named: int) -> bool:
    """ "cefazolin two grams sorry cefuroxime one gram": the number after the name is said anew too."""
    fresh = next((t for t in tokens[cue.end + named + 1 : cue.end + named + 4] if t.quantity is not None), None)
    return fresh is not None and any(alike(token, fresh) for token in tokens[last + 1 : cue.first])


def led_anew(tokens: Sequence[Token], first: int, cue: Cue, named: int) -> int:
    """ "One litre of saline no sorry irrigation eleven litres": where the number that leads to the name before stands,
    where one is said anew behind the name; -1 if there is none."""
    if first < 2 or tokens[first - 1].norm != "of" or tokens[first - 2].quantity is None:
        return -1
    fresh = next((t for t in tokens[cue.end + named + 1 : cue.end + named + 3] if t.quantity is not None), None)
    return first - 2 if fresh is not None and alike(tokens[first - 2], fresh) else -1


_BY = frozenset({"by", "x", "×"})


def _is_pair(tokens: Sequence[Token], at: int) -> bool:
    """Whether two plain numbers that "by" joins begin at a token."""
    ends = [tokens[index].quantity if 0 <= index < len(tokens) else None for index in (at, at + 2)]
    return all(one is not None and one.form in _NUMERIC for one in ends) and tokens[at + 1].norm in _BY


def _pair_before(tokens: Sequence[Token], cue: Cue, new: int) -> int | None:
    """Where the pair begins that the one behind the cue takes the place of; None where there is none."""
    if not _is_pair(tokens, new):
        return None
    sure = cue.phrase != "no"
    for at in range(cue.first - 3, max(-1, cue.first - 5 - FEW_BETWEEN), -1):
        between = tokens[at + 3 : cue.first]
        if not sure and not all(token.punctuation for token in between) and not _is_again(between, tokens, new + 3):
            return None  # "ten by six and no five by five lesion"
        if _is_pair(tokens, at):
            last = tokens[at + 2].quantity
            fresh = tokens[new + 2].quantity
            if last is None or fresh is None:
                return None
            return at if fresh.unit is None or last.unit is None or fresh.dimension == last.dimension else None
    return None


def _is_again(said: Sequence[Token], tokens: Sequence[Token], start: int) -> bool:
    """Whether words are said again from a token on."""
    return bool(said) and [token.norm for token in said] == [t.norm for t in tokens[start : start + len(said)]]


def pair_replaced(draft: Draft, cue: Cue, new: int, words: Sequence[Word]) -> int | None:
    """ "Eighteen by fourteen millimetres, make that eighteen by twelve": takes the old pair and the cue out, and gives
    the index from which to go on; None where no two pairs stand about the cue."""
    tokens = draft.tokens
    old = _pair_before(tokens, cue, new)
    if old is None:
        return None
    middle = trimmed(list(tokens[old + 3 : cue.first]))
    if _is_again(middle, tokens, new + 3):
        middle = []  # "three by eighteen stent no three point five by eighteen stent"
    moved = [inherit(tokens[old], tokens[new]), tokens[new + 1], inherit(tokens[old + 2], tokens[new + 2])]
    struck, said = said_by(words, tokens[old : old + 3]), said_by(words, tokens[cue.first : cue.end])
    tail = list(tokens[new + 3 :])
    head = list(tokens[:old])
    closing = not tail or tail[0].punctuation
    draft.tokens = [*head, *moved, *middle, *tail] if closing else [*head, *middle, *moved, *tail]
    at = len(head) if closing else len(head) + len(middle)
    draft.strikes = [*draft.strikes, Strike(struck, said, at)]
    return at + len(moved)


FILLERS = frozenset(
    ", : . ... … ; - — the a an it is was at to that of in with about be for and side i mean sorry doctor sister nurse "
    "sir madam".split()
)


def said_again(tokens: Sequence[Token], cue: Cue) -> int:
    """Index of the word before the cue that is said again right after it ("counts not done, I mean, counts
    correct"); -1 if there is none."""
    new = next((token for token in tokens[cue.end : cue.end + 4] if token.norm not in FILLERS), None)
    if new is None or len(new.norm) < 4 or (new.quantity is not None and new.quantity.form != "ordinal"):
        return -1
    for index in range(cue.first - 1, max(-1, cue.first - 9), -1):
        if tokens[index].norm == new.norm:
            return index
    return -1


def counted_again(tokens: Sequence[Token], cue: Cue, new: int) -> int:
    """Index of a bare number before the cue, with the noun that the new number counts right behind it and another value
    between it and the cue: all from there is said anew. -1 if there is none."""
    after = tokens[new + 1].norm if new + 1 < len(tokens) else ""
    quantity = tokens[new].quantity
    if len(after) < 4 or not after.isalpha() or quantity is None or quantity.unit is not None or after in FILLERS:
        return -1
    for index in range(cue.first - 1, max(-1, cue.first - 1 - BETWEEN), -1):
        old = tokens[index].quantity
        if old is not None and old.unit is None and tokens[index + 1].norm == after:
            between = any(token.quantity is not None for token in tokens[index + 1 : cue.first])
            return index if between else -1
    return -1


def listed_again(tokens: Sequence[Token], cue: Cue, new: int) -> int:
    """Where a row of bare numbers right before the cue begins that another row as long takes the place of ("draws were
    five five and four, no, five five and five"); -1 where no two such rows stand about the cue."""
    fresh = _row(tokens, new, 1)
    back = cue.first - 1
    while back > 0 and tokens[back].punctuation:
        back -= 1
    old = _row(tokens, back, -1)
    if len(fresh) < 2 or len(old) != len(fresh):
        return -1
    closing = tokens[old[0]].quantity
    if all(token.norm != "and" for token in tokens[old[-1] : back]) and (closing is None or closing.unit is None):
        return -1  # "50, 60, sorry, 55 and 65": the row was still under way
    return old[-1] if all(alike(tokens[a], tokens[b]) for a, b in zip(reversed(old), fresh, strict=True)) else -1


def _row(tokens: Sequence[Token], at: int, step: int) -> list[int]:
    """Where the numbers of a row stand, from one of its ends on, over commas and "and"."""
    found: list[int] = []
    while 0 <= at < len(tokens):
        quantity = tokens[at].quantity
        if quantity is not None and quantity.form == "number":
            found.append(at)
        elif tokens[at].norm not in (",", "and") or not found:
            break
        at += step
    return found


def timed_again(tokens: list[Token], cue: Cue, new: int) -> None:
    """Makes a bare number behind the cue a time of day where the last value before it is one: "incision at 0912, should
    read 0921", "in the room at seven forty, my mistake, seven fourteen"."""
    fresh = tokens[new].quantity
    old = next((t.quantity for t in reversed(tokens[: cue.first]) if t.quantity is not None), None)
    if old is None or old.form != "clock" or fresh is None or fresh.form != "number" or fresh.unit is not None:
        return
    if fresh.value is None or fresh.value != int(fresh.value) or not (fresh.value >= 100 or fresh.text[:1] == "0"):
        return
    hour, minute = divmod(int(fresh.value), 100)
    if hour < 24 and minute < 60:
        time = Quantity(form="clock", text=f"{hour:02d}:{minute:02d}")
        tokens[new] = replace(tokens[new], norm="#clock", quantity=time)


def worded_again(tokens: Sequence[Token], cue: Cue) -> bool:
    """Whether a longer word before the cue is said again right after it ("with epinephrine correction without
    epinephrine"): a correction, though of what is unclear."""
    earlier = {token.norm for token in tokens[max(0, cue.first - 5) : cue.first] if len(token.norm) > 3}
    return any(token.norm in earlier for token in tokens[cue.end : cue.end + 4])


def graded_again(tokens: Sequence[Token], cue: Cue) -> int:
    """Index of a word with a bare number right before the cue, where word and number are said anew right behind it
    ("Geissler three no Geissler two"); -1 if there is none. "Grade two, no grade three lesions" tells of none."""
    at, back = cue.end, cue.first - 1
    while at < len(tokens) and tokens[at].punctuation:
        at += 1
    while back > 0 and tokens[back].punctuation:
        back -= 1
    if at + 1 >= len(tokens) or back < 1 or tokens[back - 1].norm != tokens[at].norm or len(tokens[at].norm) < 3:
        return -1
    old, fresh = tokens[back].quantity, tokens[at + 1].quantity
    if old is None or fresh is None or old.unit or fresh.unit or {old.form, fresh.form} - _LEVELS:
        return -1
    after = tokens[at + 2].norm if at + 2 < len(tokens) else "."
    return -1 if after in _OF_GRADE else back - 1


_LEVELS = frozenset({"number", "range", "roman", "label"})
_OF_GRADE = frozenset("lesion lesions changes change area areas damage defect defects or seen anywhere to".split())


def rejoined(out: list[Draft], draft: Draft, cue: Cue) -> Cue:
    """ "Geissler three. No. Geissler two.": the sentence before is taken in where its end is said anew."""
    if cue.first or not out or not out[-1].tokens or out[-1].heading:
        return cue
    lead = [token for token in out[-1].tokens if not token.punctuation or token.norm != "."]
    moved = Cue(cue.row, cue.phrase, len(lead), cue.end + len(lead))
    if graded_again([*lead, *draft.tokens], moved) < 0:
        return cue
    before = out.pop()
    draft.tokens, draft.strikes = [*lead, *draft.tokens], [*before.strikes, *draft.strikes]
    return moved
