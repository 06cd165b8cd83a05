"""Parts of a count, told in other ways than by names: one of each size, or a total behind them.

"Five ports: one 15 mm, one 12 mm and three 5 mm", "two screws above and two below, that's four screws", "upper right,
lower left and lower right, so three teeth". Each reader gives (arithmetic, whether it is sure) where the parts cannot
come to the number, else None.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline.checks._clock_places import hour
from pipeline.checks._spoken_counts import JOINS, PLACES, VERBS, Head, count, is_portal, says_total
from pipeline.records import Token

_ENDS = frozenset({".", ";"})
# Behind the parts and before their total. The strong ones tell a total whatever is counted, the others only where the
# thing is named again.
_STRONG = frozenset({"makes", "making", "total", "altogether", "totalling", "totaling"})
_LEADS = frozenset({"so", "that's", "thats", "=", "giving", "gives"})
_POINTS = frozenset({"the", "these", "those"})  # "the two stones were dusted": those that were told of before
_ONES = frozenset({"ones", "one", "others"})  # "two knotless ones"
_GOES_ON = frozenset(  # "and two out of ...", "one ten and three fives"
    "threes fives eights tens twelves more further out came went for was were just".split()
)
_JOINED = {(",", "a"), ("and", "a"), (",", "an"), ("and", "an")}
_SAID_OF = frozenset({"the", "this", "that", "each", "every", "same", "no", "per", "another"})
_IRREGULAR = {"teeth": "tooth", "feet": "foot", "biopsies": "biopsy"}
_ALL = frozenset({"altogether", "total", "overall"})
_STREAM = 20  # tokens from "each" to the total
_BEHIND = 6  # tokens between a total and its "in all"
_ARTICLE = 2  # words from "the" to its noun: "the kidney semirigid scope stone of seven" begins anew
_ITEM, _BETWEEN, _LIST, _BACK = 3, 4, 8, 60  # words of an item, before the parts, of an unmarked list; tokens back


def one_by_one(read: Sequence[Token], head: Head) -> str | None:
    """ "Three screws in the cup, one of 25 and one of 30 mm": every part is a count with a size or a place."""
    parts: list[int] = []
    between = last = 0
    at = head.last + 1
    while at < len(read):
        token, before = read[at], read[at - 1]
        if token.norm in _ENDS | _STRONG or before.norm in _STRONG | _LEADS:
            break
        number = count(token)
        if number is None or before.norm == "of":
            if not parts and not _size(token):
                between += 1
            if between > _BETWEEN + 1:
                return None
            at += 1
            continue
        if says_total(read, at):
            break
        leads = _leads(before) or at == head.last + 1
        if not leads or not _shares(read, at, sure=bool(parts) or before.norm in (":", "(")):
            if len(parts) > 1 and at - last > _LIST:
                break  # further on in a stream of speech: another matter
            return None
        parts.append(number)
        last = at
        at += 1
    if len(parts) < 2 or sum(parts) == head.number:
        return None
    return f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {head.number}"


def _leads(before: Token) -> bool:
    return before.norm in JOINS or before.norm == "another" or _size(before)


def _size(token: Token) -> bool:
    return token.quantity is not None and token.quantity.dimension in ("length", "french", "gauge")


def _shares(read: Sequence[Token], at: int, *, sure: bool) -> bool:
    """Whether the count at `at` is a share of what was counted before: with a size, "of" a size, or a place."""
    after, then = _at(read, at + 1), _at(read, at + 2)
    if after is None:
        return False
    if after.norm == "of":
        return then is not None and then.quantity is not None
    return _size(after) or (sure and after.norm in PLACES) or (after.norm in PLACES and after.norm != "of")


def _at(read: Sequence[Token], place: int) -> Token | None:
    return read[place] if place < len(read) else None


def summed(read: Sequence[Token]) -> tuple[int, str, str] | None:
    """ "Two screws above and two below, that's four screws": (total, its noun, the arithmetic)."""
    portal = next((at for at in range(len(read) - 1, -1, -1) if is_portal(read, at)), -1)
    read = read[portal + 1 :]  # "six R portals" names one and counts none
    for at, token in enumerate(read):
        said = count(token)
        end = None if said is None or said < 2 else _noun(read, at) or _noun_left_out(read, at)
        if said is None or end is None or _numbered(read, at):
            continue
        after = read[end]
        strong = _total(read, at, end) if end > at else "led"
        if strong is None:
            continue
        worked = _of_any(read, at) if after.norm in _ANY else None
        worked = worked or _worked(read, at, after.norm)
        if worked is not None and said in {2 * one for one in worked[1]} and "each" in _norms(read, at - _STREAM, at):
            continue  # "one cut on the outer and one on the inner side of each arm, so four cuts"
        if worked is None or said in worked[1] or _by_place(read, at) or (strong != "led" and said < max(worked[0])):
            continue
        if strong != "led" and len(worked[0]) < 2:
            continue
        first, *rest = worked[0]
        own = [place for place in range(at) if count(read[place]) == first and _has_noun(read, place, at, after.norm)]
        ones = sum(count(token) == 1 for token in read[own[0] if own else 0 : at]) - rest.count(1)
        if rest and said == first and sum(rest) <= said <= sum(rest) + ones:
            continue  # "three screws, one from behind and two from the side, three screws all up"
        if strong == "pointed" and (("these" not in _norms(read, at - 1, at) and said <= sum(worked[0]))
                                    or "of" in _norms(read, at - 2, at - 1)):  # fmt: skip
            continue  # "the two longer screws": some of them
        parts = worked[0]
        if len(parts) == 1 and read[at - 1].norm == "=" and "x" in _norms(read, at - _BETWEEN - 1, at):
            continue  # "3 plates x 4 screws = 12 screws"
        if 0 < said - sum(parts) <= sum(two in _JOINED for two in pairwise(_norms(read, _begins(read, at), at))):
            continue  # "one tear at one o'clock, one at eleven and a little round hole, three tears in all"
        return said, after.norm, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {said}"
    return None


def explains(read: Sequence[Token], at: int) -> bool:
    """Whether the things named before the count at a token come to it. Pure."""
    end = _noun(read, at)
    worked = _worked(read, at, read[end].norm) if end is not None else None
    return worked is not None and count(read[at]) in worked[1] or _by_place(read, at)


def _by_place(read: Sequence[Token], at: int) -> bool:
    """ "Six laterally and two medially, eight screws": counts with their places right before it."""
    parts: list[int] = []
    place = at - 1
    while place > 0:
        number = count(read[place - 1])
        if read[place].norm in PLACES and number is not None:
            parts.append(number)
            place -= 2
        elif read[place].norm in JOINS:
            place -= 1
        else:
            break
    return len(parts) > 1 and sum(parts) == count(read[at])


def _begins(read: Sequence[Token], at: int) -> int:
    """The first token behind the last full stop or semicolon before a token."""
    return max((place + 1 for place in range(at) if read[place].norm in _ENDS), default=0)


def _noun_left_out(read: Sequence[Token], at: int) -> int | None:
    """ "Three anchors on the inside and two outside, so six of them", "... and two from behind makes five": where the
    counted noun stands before a total that has none."""
    before, after = _norms(read, at - 1, at), _norms(read, at + 1, at + 4)
    whole = after[:2] in (["in", "all"], ["in", "total"]) or after[:1] in (["altogether"], ["total"])
    led = before[:1] in (["makes"], ["making"]) or (before and before[0] in _LEADS and (
        not after or after[0] in _ENDS | {","} | _TAKEN or after[:2] == ["of", "them"]
    ))  # fmt: skip
    told = before and before[0] in _LEADS | {",", ":"} and (whole or after == ["in", "the", "end"])
    last = next((number for place in range(at - 1, -1, -1) if (number := count(read[place])) is not None), None)
    if not (led or told) or last == count(read[at]):
        return None  # "so four anchors, four in all": the same again
    start = _begins(read, at)
    nouns = (_noun(read, place) for place in range(at - 1, start - 1, -1) if count(read[place]) is not None)
    return next((noun for noun in nouns if noun is not None and noun < at), None)


_TAKEN = frozenset({"out", "removed", "gone", "taken"})  # "two from the back and one from the front so three out"
# Words for things of any sort, which the parts name: "one button, one screw and one staple, so three implants".
_ANY = frozenset({"implants", "pieces", "devices", "things", "items", "components"})


def _of_any(read: Sequence[Token], total: int) -> tuple[list[int], set[int]] | None:
    """The same of counts of any things, each with a noun and no unit, one behind the other."""
    start = _begins(read, total)
    parts: list[int] = []
    for at in range(max(start, total - _BACK), total):
        number = count(read[at])
        after = read[at + 1].norm if at + 1 < total else ""
        if number is None or number > (count(read[total]) or 0):
            continue
        if _numbered(read, at):
            return None  # "tunnel nine one button": which of it counts is not clear
        if not after.isalpha() or after in PLACES | VERBS | JOINS | {"of", "by"}:
            continue
        if at and (_size(read[at - 1]) or read[at - 1].norm in ("by", "x", "size", "grade", "number", "to", "than")):
            continue
        parts.append(number)
    sums = {sum(parts[back:]) for back in range(len(parts))}
    return (parts, sums) if len(parts) > 1 else None


_NO_NOUN = PLACES | JOINS | VERBS | {"of"}


def _noun(read: Sequence[Token], at: int) -> int | None:
    """The plural noun that a count counts, an adjective between at most ("six mattress stitches")."""
    for place in range(at + 1, min(at + 3, len(read))):
        token = read[place]
        if token.punctuation or token.quantity is not None or token.norm in _NO_NOUN:
            return None
        if _plural(token):
            return place
    return None


def _numbered(read: Sequence[Token], at: int) -> bool:
    """Two bare numbers in a row count nothing ("an eleven thirteen sheath"); the second of "shell fifty four, two
    screws" does."""
    counts = at + 1 < len(read) and _plural(read[at + 1])
    if at + 2 < len(read) and read[at + 1].norm == "#number" and count(read[at + 1]) is None and _plural(read[at + 2]):
        return False  # "two five point five anchors"
    nears = (at + 1,) if counts else (at - 1, at + 1)
    return any(0 <= near < len(read) and read[near].norm == "#number" for near in nears)


def _plural(token: Token) -> bool:
    if token.norm in _IRREGULAR:
        return True
    return len(token.norm) > 3 and token.norm.isalpha() and token.norm.endswith("s") and not token.norm.endswith("ss")


def _total(read: Sequence[Token], at: int, noun: int) -> str | None:
    """How the count at `at` is said to be a total: "led", "bare" where it only stands at the end; None if not."""
    before = [token.norm for token in read[max(0, at - 2) : at]]
    if before[-1:] == ["used"] and "so" in _norms(read, at - 4, at - 1):
        return "led"  # "so we used four anchors"
    if before and (before[-1] in _STRONG | _LEADS
                   or before in (["that", "is"], ["total", "of"], ["which", "is"], ["total", ":"])):  # fmt: skip
        return "led"
    behind: list[str] = []
    for token in read[noun + 1 : noun + 1 + _BEHIND]:
        if token.punctuation or count(token) is not None:
            break
        behind.append(token.norm)
    used = behind[1:] if behind[:1] and behind[0] in _TAKEN | VERBS else behind  # "four anchors used altogether"
    whole = any(pair in _WHOLE for pair in pairwise(behind)) or not _ALL.isdisjoint(used[:1] + behind[-1:])
    if whole or behind[:3] == ["in", "the", "end"]:
        return "led"
    end = _at(read, noun + 1)
    sized = end is not None and end.norm == "of" and noun + 2 < len(read) and _size(read[noun + 2])
    if before[-1:] == [","] and (end is None or end.norm in _ENDS or sized):
        return "bare"
    return "pointed" if before[-1:] and before[-1] in _POINTS and noun == at + 1 else None


_WHOLE = (("in", "total"), ("in", "all"), ("all", "told"), ("all", "up"))


def _norms(read: Sequence[Token], first: int, last: int) -> list[str]:
    return [token.norm for token in read[max(0, first) : max(0, last)]]


def _worked(read: Sequence[Token], total: int, noun: str) -> tuple[list[int], set[int]] | None:
    """(the parts, every sum that they allow) of the things that are named before their total; None where unclear."""
    start = _begins(read, total)
    start = max(start, total - _BACK)
    parts: list[int] = []
    alone = 0
    led = any(read[at].norm in _singular(noun) | {noun} and read[at + 1].norm == ":" for at in range(start, total - 1))
    for at in range(start, total):
        token = read[at]
        if token.norm in _singular(noun) and not _counted(read, start, at):
            alone += 1
        number = count(token)
        if token.norm == "another" and (parts or alone) and at + 1 < total and (
            count(read[at + 1]) is None or _size_again(read, at + 1)
        ):  # fmt: skip
            number = 1  # "one from the antrum, another from the body"
        if _is_next(read, at, sum(parts) + alone):
            number = 1  # "one medially, another one laterally and a third in front"
        after_hour = hour(read, at - 1)  # "one anchor at eleven, one at twelve, one at one"
        if number is None or hour(read, at) or (
            _numbered(read, at) and not after_hour and token.norm != "another"
        ) or (
            token.norm == "one" and not _has_noun(read, at, total, noun) and not (parts or alone)
        ) or number > max(_TENS, count(read[total]) or 0):
            continue  # "two distal, thirty two and thirty four, so four screws": lengths
        if (number == 1 and at - start > 1 and count(read[at - 2]) is not None and read[at - 1].norm.isalpha()
                and read[at - 1].norm not in JOINS and not _has_noun(read, at, total, noun)):  # fmt: skip
            continue  # "one cortical one"
        placed = at > start and read[at - 1].norm in PLACES and _at(read, at + 1) is not None and (
            read[at + 1].norm in PLACES | _MIDDLE
        )  # "one anchor medial one central and one lateral"
        leads = placed or token.norm == "another" or after_hour or _leads(read[at - 1])
        leads = leads or _is_next(read, at, sum(parts) + alone)
        if led and not parts and read[at - 1].norm == ":" and _shares(read, at, sure=True):
            parts.append(number)  # "Pedicle screws: 12 on the left and 10 on the right, 22 screws"
            continue
        again = token.norm == "another" and number == 1 and _size_again(read, at + 1)
        shared = at + 3 < total and read[at + 1].norm in PLACES and read[at + 2].norm in JOINS and (
            count(read[at + 3]) is not None and _has_noun(read, at + 3, total, noun)
        )  # "two proximal and two distal locking screws"
        if shared or _has_noun(read, at, total, noun) or again or ((parts or alone) and leads and _goes_on(read, at)):
            parts.append(number)
        elif parts and leads and token.norm != "another":
            return None  # counts something else, or goes on in a way that is not understood
    listed = _listed(read, start, total, noun) if not parts else None
    if listed is not None:
        return [1] * listed, {listed}
    if not parts or (len(parts) == 1 and not alone):
        return None
    shown = parts + [1] * alone
    return shown, {sum(parts), sum(parts) + alone, *(sum(parts[back:]) for back in range(1, len(parts) - 1))}


def _size_again(read: Sequence[Token], at: int) -> bool:
    """ "A twelve millimetre port at the navel, another twelve on the right": a size that was said before."""
    own = read[at].quantity
    return own is not None and any(
        token.quantity is not None and token.quantity.dimension == "length" and token.quantity.value == own.value
        for token in read[max(0, at - _BACK) : at]
    )


def _is_next(read: Sequence[Token], at: int, sofar: int) -> bool:
    """ "And a third in front": one more, told off by its number."""
    quantity = read[at].quantity
    told = quantity is not None and quantity.form == "ordinal" and quantity.value == sofar + 1 and sofar > 0
    return told and at > 0 and read[at - 1].norm in ("a", "the")


_MIDDLE = frozenset({"central", "centrally", "middle", "between"})
_OF_BACK, _TENS = 5, 10  # tokens; a number that is more than this and than the total is no part of it


def _goes_on(read: Sequence[Token], at: int) -> bool:
    """Whether a count that follows another one is of the same things: with a size, a place, "more", "ones"."""
    after = _norms(read, at + 1, at + 4)
    ones = {token.text.lower().strip(",.") for token in read[at + 1 : at + 4]} & _ONES
    if after[:1] == ["of"] and any(token.norm == "of" for token in read[max(0, at - _OF_BACK) : at]):
        return True  # "three samples of fluid and two of synovium"
    return _shares(read, at, sure=False) or bool(after and (after[0] in _GOES_ON or ones))


def _singular(noun: str) -> set[str]:
    if noun in _IRREGULAR:
        return {_IRREGULAR[noun]}
    return {noun[:-1], noun[:-2] if noun.endswith("es") else noun[:-1], f"{noun[:-3]}y" if noun.endswith("ies") else ""}


def _has_noun(read: Sequence[Token], at: int, total: int, noun: str) -> bool:
    """Whether the count is followed by the thing itself, a size or an adjective or two between ("one medial pin")."""
    names = _singular(noun) | {noun} - {""}
    for place in range(at + 1, min(at + 5, total)):
        token = read[place]
        if token.norm in names:
            return True
        if token.punctuation or count(token) is not None or token.norm in JOINS | VERBS | {"of"}:
            return False
        if place == at + 1 and _plural(token) and noun not in _ANY:
            return False  # "four shaves axilla first node": a count of others
    return False


def _counted(read: Sequence[Token], start: int, at: int) -> bool:
    """Whether a thing in the singular was counted, or is one that was named before."""
    for place in range(at - 1, max(start, at - 4) - 1, -1):
        if (read[place].norm in _SAID_OF and at - place <= _ARTICLE) or count(read[place]) is not None:
            return True
        if read[place].punctuation:
            return False
    return False


def _listed(read: Sequence[Token], start: int, total: int, noun: str) -> int | None:
    """ "Removal of wisdom teeth, upper right, upper left and lower right, so ...": how many were told off."""
    end = total - 1 if read[total - 1].norm in _LEADS else total
    if end < 2 or read[end - 1].norm != "," or not any(token.norm == noun for token in read[start:end]):
        return None
    groups: list[list[Token]] = [[]]
    for token in read[start : end - 1]:
        if token.norm in (",", ":", "and"):
            groups.append([])
        else:
            groups[-1].append(token)
    first = next((at for at, group in enumerate(groups) if any(token.norm == noun for token in group)), None)
    items = groups[first + 1 :] if first is not None else []
    if len(items) < 2 or read[end - 2 - len(items[-1])].norm != "and":
        return None
    if any(not 1 <= len(item) <= _ITEM or any(token.norm in VERBS - {"left"} or token.quantity for token in item)
           for item in items):  # fmt: skip
        return None
    return len(items)
