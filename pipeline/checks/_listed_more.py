"""Further ways to tell the parts of a count: by what each was for ("seven reloads, five vascular, two for the
bronchus"), one with its size beside several ("a 10 mm port, three 5 mm ports, four in total"), so many in each of two
("one plate each side, four screws in each, eight screws"), drains one by one.

Each reader gives (number said, its noun, arithmetic) where the parts cannot come to the number.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline.checks._spoken_counts import JOINS, PLACES, VERBS, Head, count, heads, says_total
from pipeline.checks._told_names import SENT, predicates
from pipeline.records import Token

Told = tuple[int, str, str]

_ENDS = frozenset({".", ";", ")"})
_PART_WORDS = 4  # words of one part behind its number
_LAST = 5  # tokens of the last part
_PLACE_WORDS = 6  # of the place of all of them
# Said of some of them, not of a share: "five nodes, two positive, one necrotic".
_STATES = frozenset(
    "positive negative involved spare dead alive intact live broken more further left used unused extra visible loose "
    "free times of out x were was is are had went came failed misfired malfunctioned needed seen both all each "
    "hot blue dark enlarged suspicious palpable symptomatic asymptomatic patent occluded calcified".split()
)
_THEM = frozenset("them these those which whom the it course".split())
_TWO = frozenset({("each", "side"), ("either", "side"), ("both", "sides"), ("on", "both"), ("per", "side")})
_IN_EACH = frozenset({("in", "each"), ("into", "each"), ("per", "plate"), ("each", "plate"), ("on", "each")})
_NEAR, _STREAM = 3, 40  # tokens


def told(read: Sequence[Token]) -> Told | None:
    """The first that cannot come to its number. Pure."""
    return (_by_use(read) or _one_and_several(read) or _in_each_of_two(read) or _drains(read) or _drain_each_side(read)
            or _teeth(read) or _restated(read))  # fmt: skip


def _plural(token: Token) -> bool:
    plural = token.norm.endswith("s") and not token.norm.endswith(("ss", "us", "is"))
    return token.norm.isalpha() and len(token.norm) > 3 and plural and token.norm not in VERBS


def _by_use(read: Sequence[Token]) -> Told | None:
    for head in (*heads(read), *predicates(read)):
        parts, at = _shares(read, head)
        if len(parts) < 2 or sum(parts) == head.number:
            continue
        ends = at >= len(read) or read[at].norm in _ENDS
        # "..., three of tissue and one of fluid, to the lab"
        ends = ends or (read[at - 1].norm == "," and "and" in {token.norm for token in read[at - 1 - _LAST : at - 1]})
        if sum(parts) > head.number or ends:
            return head.number, head.noun, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {head.number}"
    return None


def _shares(read: Sequence[Token], head: Head) -> tuple[list[int], int]:
    """The parts that follow a count, and the token behind the last; none where one of them may be something else."""
    parts: list[int] = []
    at = _behind_its_place(read, head.last + 1)
    while at + 1 < len(read) and read[at].norm in JOINS - {"-", "with"}:
        while at + 1 < len(read) and read[at].norm in JOINS:
            at += 1
        number, after = count(read[at]), read[at + 1] if at + 1 < len(read) else None
        if number is None or after is None or says_total(read, at):
            break
        of_some = after.norm == "of" and at + 2 < len(read) and read[at + 2].norm not in _THEM
        sent = head.noun in SENT  # "six specimens, three swabs and three chips"
        other = (after.norm in _STATES and not of_some) or not after.norm.isalpha() or (_plural(after) and not sent)
        if other or after.norm in PLACES - {"to"}:
            return ([], at) if not parts else (parts, at)
        end = at + 1
        while end < len(read) and end - at <= _PART_WORDS and read[end].norm not in JOINS | _ENDS:
            if read[end].quantity is not None or (_plural(read[end]) and read[end - 1].norm != "the" and not sent):
                return [], at
            end += 1
        if end < len(read) and read[end].norm not in JOINS | _ENDS:
            return [], at
        parts.append(number)
        at = end
        if at < len(read) and read[at].norm in _ENDS:
            break
    return parts, at


def _behind_its_place(read: Sequence[Token], at: int) -> int:
    """The token behind the place or the fate of what was counted ("six screws on the plate, two locking ..."); the same
    token where neither is told."""
    if at >= len(read) or read[at].norm not in PLACES | VERBS | {"of", "for"}:
        return at
    end = at + 1
    while end < len(read) and end - at <= _PLACE_WORDS and read[end].norm.isalpha() and read[end].quantity is None:
        if read[end].norm in JOINS | {"one"}:
            break
        end += 1
    return end if end < len(read) and read[end].norm in (",", ":", "(") else at


def _one_and_several(read: Sequence[Token]) -> Told | None:
    """ "Umbilical 10 mm port, three 5 mm ports, 4 ports in total"."""
    for at, token in enumerate(read):
        said = count(token)
        if said is None or said < 2 or at + 1 >= len(read) or not (says_total(read, at) or _altogether(read, at)):
            continue
        noun = read[at + 1].norm
        if not _plural(read[at + 1]):
            continue
        start = max(0, at - _STREAM)
        singles = [place for place in range(start, at) if read[place].norm == noun.removesuffix("s")]
        several = [head for head in heads(read[:at]) if head.noun == noun and head.first >= start]
        sized = all(any(one.quantity is not None and one.quantity.dimension in ("length", "french", "gauge")
                        for one in read[max(0, place - _NEAR) : place]) for place in singles)  # fmt: skip
        counted = any(count(one) is not None for place in singles for one in read[max(0, place - _NEAR) : place]
                      if one.norm != "one")  # fmt: skip
        if not singles or not several or not sized or counted:
            continue
        parts = [1] * len(singles) + [head.number for head in several]
        if sum(parts) != said:
            return said, noun, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {said}"
    return None


def _altogether(read: Sequence[Token], at: int) -> bool:
    """ "Four ports altogether uterus as at twelve weeks": in speech without marks."""
    behind = [one.norm for one in read[at + 2 : at + 3]]
    return behind == ["altogether"] and not any(one.punctuation for one in read[:-1])


def _in_each_of_two(read: Sequence[Token]) -> Told | None:
    """ "One 4-hole plate each side, 4 screws 6 mm in each, 8 screws"."""
    norms = [token.norm for token in read]
    pairs = list(pairwise(norms))
    each = next((at for at, pair in enumerate(pairs) if pair in _IN_EACH), None)
    counted = list(heads(read))
    twice = next((at for at, pair in enumerate(pairs[:each]) if pair in _TWO), None) if each else None
    if each is None or twice is None:
        return _in_each(counted, each) if each is not None else None
    own = next((head for head in reversed(counted) if twice < head.first < each), None)
    total = next((head for head in counted if head.first > each), None)
    if own is None or total is None or own.noun != total.noun or total.first - each > _STREAM:
        return None
    if total.number in (2 * own.number, own.number):
        return None
    return total.number, total.noun, f"2 x {own.number} = {2 * own.number}, said: {total.number}"


def _in_each(counted: Sequence[Head], each: int) -> Told | None:
    """ "Three plates and two screws in each, so six screws"."""
    own = next((head for head in reversed(counted) if head.last == each - 1), None)
    total = next((head for head in counted if head.first > each and own is not None and head.noun == own.noun), None)
    holders = [head for head in counted if own is not None and head.last < own.first and own.first - head.last <= _NEAR]
    if own is None or total is None or not holders or total.first - each > _NEAR + _PART_WORDS:
        return None
    worked = own.number * holders[-1].number
    if total.number in (worked, own.number):
        return None
    return total.number, total.noun, f"{holders[-1].number} x {own.number} = {worked}, said: {total.number}"


_DRAINED = frozenset({"blake", "drain", "robinson", "redon", "jackson", "penrose", "redivac", "pigtail", "hemovac"})


def _drains(read: Sequence[Token]) -> Told | None:
    """ "15 Fr Blake to the axilla, 15 Fr Blake to the flap, 2 drains": sizes in French that lead a drain each."""
    total = next((at for at, token in enumerate(read[:-1]) if (count(token) or 0) > 1
                  and read[at + 1].norm in ("drains", "tubes")), None)  # fmt: skip
    if total is None or (total and read[total - 1].norm in ("x", "the")):
        return None
    single = [at for at, token in enumerate(read[:total]) if token.quantity is not None
              and token.quantity.dimension == "french" and count_before(read, at) is None
              and any(one.norm in _DRAINED for one in read[at + 1 : at + 1 + _NEAR])]  # fmt: skip
    others = [at for at in range(total) if (number := count(read[at])) is not None and number > 1]
    said = count(read[total]) or 0
    if len(single) < 2 or others or said == len(single):
        return None
    return said, "drains", f"{len(single)} told one by one, said: {said}"


def count_before(read: Sequence[Token], at: int) -> int | None:
    """The count right before a size ("two 15 Fr drains")."""
    number = count(read[at - 1]) if at else None
    return number if number is not None and number > 1 else None


def _drain_each_side(read: Sequence[Token]) -> Told | None:
    """ "One 12 Fr drain each side, 2 drains"."""
    for at, token in enumerate(read[:-1]):
        if token.norm != "drain" or (token.norm, read[at + 1].norm) not in (("drain", "each"), ("drain", "per"),
                                                                              ("drain", "either")):  # fmt: skip
            continue
        total = next((place for place in range(at + 2, min(len(read) - 1, at + _STREAM))
                      if (count(read[place]) or 0) > 1 and read[place + 1].norm == "drains"), None)  # fmt: skip
        said = count(read[total]) if total is not None else None
        if said is not None and said != 2:
            return said, "drains", f"2 x 1 = 2, said: {said}"
    return None


def _tooth(token: Token) -> int | None:
    """A tooth by the two digits of the FDI: 11 to 48, milk teeth 51 to 85 (ISO 3950)."""
    quantity = token.quantity
    if quantity is None or quantity.value is None or quantity.dimension or quantity.form not in ("number", "label"):
        return None
    row, place = divmod(int(quantity.value), 10)
    whole = quantity.value == int(quantity.value)
    return int(quantity.value) if whole and ((1 <= row <= 4 and 1 <= place <= 8) or (
        5 <= row <= 8 and 1 <= place <= 5)) else None  # fmt: skip


def _teeth(read: Sequence[Token]) -> Told | None:
    """ "Fifty four, fifty five, sixty four and seventy four, four teeth out": as many as were named before."""
    total = next((at for at, token in enumerate(read[:-1]) if (count(token) or 0) > 1
                  and read[at + 1].norm == "teeth"), None)  # fmt: skip
    if total is None:
        return None
    named = {tooth for at, token in enumerate(read[:total]) if (tooth := _tooth(token)) is not None
             and read[at + 1].norm in {",", "and", ".", ";", "below", "above", "upper", "lower", "too", "as", "also"}}
    said = count(read[total]) or 0
    if len(named) < _NEAR or said == len(named):
        return None
    return said, "teeth", f"{len(named)} named, said: {said}"


def _restated(read: Sequence[Token]) -> Told | None:
    """ "Two pairs to A2 and one pair to P2, three pairs of neochords": the noun again behind its parts, at the end."""
    counted: list[tuple[int, int, str]] = []
    for at, token in enumerate(read[:-2]):
        number, noun = count(token), read[at + 1].norm
        if number is None or not noun.isalpha() or len(noun) < _SHORTEST:
            continue
        counted.append((at, number, noun.removesuffix("s")))
    for place, (at, said, noun) in enumerate(counted):
        parts = [one for one in counted[:place] if one[2] == noun]
        first = parts[0][0] if parts else at
        between = [one for one in counted[:place] if one[0] >= first]
        if len(parts) < 2 or len(parts) != len(between) or at - first > _STREAM or read[at - 1].norm != ",":
            continue
        if any(one.norm in _ENDS for one in read[first:at]) or not all(
            read[one[0] + 2].norm in _TO_PLACE for one in parts
        ):
            continue
        worked = sum(one[1] for one in parts)
        if said > max(one[1] for one in parts) and said != worked:
            return said, read[at + 1].norm, f"{' + '.join(str(one[1]) for one in parts)} = {worked}, said: {said}"
    return None


_SHORTEST = 4  # letters
_TO_PLACE = frozenset({"to", "for", "on", "in", "at", "into", "from", "above", "below"})
