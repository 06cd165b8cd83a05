"""The side that a number was said with: "four mL on the left and two on the right", "left 3 mL, right 2 mL"."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline import denied_sides, donor_sides, sidewords
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Sentence
from pipeline.sidewords import Side

_SIDES: dict[str, Laterality] = {"left": "left", "right": "right", "lefthand": "left", "righthand": "right"}
_INITIALS: dict[str, Laterality] = {"l": "left", "r": "right"}
_SAID = frozenset(_SIDES) | frozenset(_INITIALS)
_AFTER_BARE = frozenset("from on in into at and to for left right the then on".split())  # else the bare number counts
_NO_SIDES = frozenset(  # after "left": a verb
    "in over behind with us was were there the a an intact alone open undisturbed attached long exposed uncovered for "
    "at as standing untouched free home some it them him her to no out under so".split()
)


def side_of(sentence: Sentence, index: int, grammar: Grammar) -> Laterality | None:
    """The side that the words right around a number give it, where the sentence gives numbers sides of their own.

    None where fewer than two sides are said, or where a comma or "and" parts the number from every side. A side on
    either hand of the number is settled by what the sentence said first, a side or a number.
    """
    own = sentence.tokens[index].quantity
    if not told(sentence, grammar) or (own is not None and own.unit in _OF_PATIENT and (own.value or 0) > _SPECIMEN):
        return None
    known: dict[int, Laterality | None] = sentence.memo.setdefault("numbers-sides", {})
    if index not in known:
        beside = parallel(sentence, grammar).get(index)
        known[index] = beside[0] if beside is not None else _side_of(sentence, index, grammar)
    return known[index]


def parallel(sentence: Sentence, grammar: Grammar) -> dict[int, tuple[Laterality, int]]:
    """{number: (its side, the number of the other side that is told alike)} where two sides have like rows of numbers:
    "R 58 min, L 63", "40 mg of this and 4 mL of that in the left knee, 20 mg and 3 mL in the right"."""
    found: dict[int, tuple[Laterality, int]] | None = sentence.memo.get("parallel-sides")
    if found is None:
        found = sentence.memo["parallel-sides"] = {}
        sides = _sides(sentence, grammar)
        places = sorted(sides.keys() - _of_other_day(sentence, sides))
        for one, other in pairwise(places):
            rows = _rows(sentence, places, one, other) if sides[one] != sides[other] else None
            for at, like in zip(*rows, strict=True) if rows is not None else ():
                found[at], found[like] = (sides[one], like), (sides[other], at)
    return found


def _rows(sentence: Sentence, sides: list[int], one: int, other: int) -> tuple[list[int], list[int]] | None:
    """The numbers of two sides that follow each other, where they are as many of the same dimensions."""
    tokens = sentence.tokens
    first = next((at for at in range(one - 1, -1, -1) if tokens[at].norm in _PARTS), -1)
    last = next((at for at in range(other + 1, len(tokens)) if tokens[at].norm in _ENDS), len(tokens))
    last = min([last, *(at for at in sides if at > other)])
    before, between = _amounts(sentence, first, one), _amounts(sentence, one, other)
    after = _amounts(sentence, other, last)
    if between and after and not before:
        rows = between, after
    elif before and between and not after and all(_closes(sentence, at) for at in (one, other)):
        rows = before, between
    else:
        return None
    if len(rows[0]) != len(rows[1]) or len(rows[0]) > _ROW:
        return None
    far = any(abs(at - side) > _FAR for row, side in zip(rows, (one, other), strict=True) for at in row)
    alike = all(_alike(sentence, a, b, (one, other)) for a, b in zip(*rows, strict=True))
    return rows if alike and not far else None


def _amounts(sentence: Sentence, first: int, last: int) -> list[int]:
    """The numbers between two tokens; the strength of what is given is of both sides."""
    found = [(at, quantity) for at in range(first + 1, last) if (quantity := sentence.tokens[at].quantity) is not None
             and quantity.form not in ("date", "level", "ordinal")]  # fmt: skip
    return [at for at, quantity in found if quantity.unit != "%"] or [at for at, _ in found]


def _closes(sentence: Sentence, side: int) -> bool:
    """Whether a side stands behind what it is of: "in the left knee", "4 mL left"."""
    tokens = sentence.tokens
    at = side - 1 - (tokens[side - 1].norm in ("the", "his", "her"))
    return tokens[at].norm in _WHERE | _ON or (at == side - 1 and tokens[at].quantity is not None)


def _alike(sentence: Sentence, one: int, other: int, sides: tuple[int, int]) -> bool:
    """Whether two numbers are of one dimension, or one that leaves its unit out stands right beside its side."""
    said, like = sentence.tokens[one].quantity, sentence.tokens[other].quantity
    if said is None or like is None or said.form not in _FORMS or like.form not in _FORMS:
        return False
    beside = [min(abs(at - side) for side in sides) <= _BESIDE for at in (one, other)]
    bare = [quantity.dimension == "" for quantity in (said, like)]
    return said.dimension == like.dimension or (any(bare) and all(
        near or not left_out for near, left_out in zip(beside, bare, strict=True)
    ))


_FORMS = frozenset({"number", "range", "fraction"})
_PARTS = frozenset({",", ";", ".", ":", "("})
_ENDS = frozenset({";", ".", ")"})
_ROW = 3  # numbers of one side


_OF_PATIENT = ("kg", "a")  # "eighty kilos left inguinal hernia": weight and age are of the patient
_SPECIMEN = 5  # kg, the most that anything that is taken out weighs


def _side_of(sentence: Sentence, index: int, grammar: Grammar) -> Laterality | None:
    sides = _sides(sentence, grammar)
    tokens = sentence.tokens
    if (one := _in_turn(sentence, index, sides)) is not None:
        return one
    given = {sides[at - 1] for at, token in enumerate(tokens) if token.quantity is not None and at - 1 in sides}
    if index - 1 in sides and {"left", "right"} <= given and all(
        at + 1 < len(tokens) and tokens[at + 1].quantity is not None for at in sides if at < index
    ):
        return sides[index - 1]  # "left forty milligrams of this, right two millilitres of that"
    numbers = [at for at in range(len(sentence.tokens)) if _is_like(sentence, index, at)]
    if not numbers:
        return None
    if index and sentence.tokens[index - 1].norm == "both" and max(sides) < index:
        return "bilateral"  # "left 21 min, right 14 min, both 300 mmHg"
    for bounds in (_BOUNDS, _BOUNDS - {","}):
        linked = {at: _linked(sentence, at, sides, numbers, bounds) for at in numbers}
        led = not _told_before(sentence, min(sides), numbers)
        if not led:  # "two hundred right and one eighty left cement four millilitres": the side is of the number before
            taken = {at: sides.get(_side_before(at, sides, numbers)) for at in numbers}
            linked = {at: (-1 if taken[at] else before, after) for at, (before, after) in linked.items()}
        first = min(sides)
        if led:
            linked = {at: (before, after if at > first else -1) for at, (before, after) in linked.items()}
        own = {
            at: sides.get(_nearer(sentence, numbers, at, before, after) if led else after if after >= 0 else before)
            for at, (before, after) in linked.items()
        }  # fmt: skip
        told = sides.keys() - _of_other_day(sentence, sides)
        own = {at: side if side in {sides[one] for one in told} else None for at, side in own.items()}
        before, after = linked.get(index, (-1, -1))
        went = led and 0 <= before and 0 <= after == _nearer(sentence, numbers, index, before, after)
        if went or {"left", "right"} <= set(own.values()):
            return own.get(index)
    return None


def _in_turn(sentence: Sentence, index: int, sides: dict[int, Laterality]) -> Laterality | None:
    """ "Tourniquet left twenty two minutes right thirty five": the side right before a number, where each of two sides
    stands right before its own and no number before them."""
    first = index if index - 3 not in sides else index - 2
    places = (first - 1, first + 1)
    if first - 1 < 1 or not all(at in sides for at in places) or first + 2 >= len(sentence.tokens):
        return None
    tokens = sentence.tokens
    like = all(tokens[at].quantity is not None for at in (first, first + 2)) and tokens[first - 2].quantity is None
    return sides[index - 1] if like and sides[places[0]] != sides[places[1]] and index - 1 in sides else None


def labelled(sentence: Sentence, index: int, grammar: Grammar) -> Laterality | None:
    """The side that heads the part of a list that a number stands in: "R: 18 Fr sheath, L: 14 Fr sheath"."""
    if not told(sentence, grammar):
        return None
    sides = _sides(sentence, grammar)
    for at in range(index - 1, 0, -1):
        norm = sentence.tokens[at].norm
        if norm == ":" and at - 1 in sides:
            return sides[at - 1]
        if norm in _BOUNDS:
            return None
    return None


def _told_before(sentence: Sentence, side: int, numbers: list[int]) -> bool:
    """Whether a like number leads to the first side: "four mL of it on the left". Not "15 mL, left 3 mL", and not over
    the number of something else ("one mL to the lab, 22 gauge, right knee 4 mL")."""
    for at in range(side - 1, max(-1, side - _FAR), -1):
        if at in numbers:
            return True
        other = sentence.tokens[at].quantity
        if sentence.tokens[at].norm in _BOUNDS or (other is not None and other.dimension in _SIZES):
            return False
    return False


def _nearer(sentence: Sentence, numbers: list[int], number: int, before: int, after: int) -> int:
    """The side before a number, unless another one stands nearer behind it and says where it went: "the left wrist will
    be done in autumn, eight millilitres of lidocaine to the right palm"; -1 where that is too far to tell."""
    led = [token.norm for token in sentence.tokens[number + 1 : after]] if after >= 0 else []
    if led and led[-1] == "the":
        led.pop()
    if before < 0 and after >= 0 and led and led[-1] not in _WHERE | _ON and (
        led[-1].isalpha() and after + 1 < len(sentence.tokens)
    ):
        return -1  # "right hip a wire, then an 8 mm reamer, left hip 20 gauge": the next part is told of there
    if before < 0 or after < 0 or number - before <= _BESIDE:
        return before if before >= 0 else after
    if not led or led[-1] not in _WHERE or "," in led or any(0 < at - after <= _BESIDE for at in numbers):
        return before
    return after if after - number <= min(_GIVEN, number - before) else -1


_ON = frozenset({"on", "at", "for", "of", "from", "through"})
_WHERE = frozenset({"to", "into", "in", "over", "under", "around"})
_BESIDE = 3  # words from a side to the amount that it leads
_GIVEN = 8  # words from an amount to where it went


_SIZES = ("gauge", "length", "turns", "angle")


_FAR = 12  # tokens


def _side_before(number: int, sides: dict[int, Laterality], numbers: list[int]) -> int:
    """The nearest side before a number, if a like number stands right before that side; else -1."""
    at = max((side for side in sides if side < number), default=-1)
    return at if at - 1 in numbers else -1


def on_each_number(sentence: Sentence, found: Sequence[Side], side: Side) -> bool:
    """Whether a number follows a side, and right behind it the other side with its own number."""
    tokens = sentence.tokens
    at = side.last + 1
    if side.value not in ("left", "right") or at >= len(tokens) or tokens[at].quantity is None:
        return False
    at += 1 + (at + 1 < len(tokens) and tokens[at + 1].norm in (",", "and", ";"))
    other = next((one for one in found if one.first == at), None)
    behind = tokens[other.last + 1 : other.last + 2] if other is not None else ()
    return other is not None and {other.value, side.value} == {"left", "right"} and bool(behind) and (
        behind[0].quantity is not None
    )


def told(sentence: Sentence, grammar: Grammar) -> bool:
    """Whether both sides are said in a sentence, so that its numbers may be of either."""
    sides = _sides(sentence, grammar)
    return len(sides) > 1 and len(set(sides.values())) > 1


def numbered(sentence: Sentence, index: int, grammar: Grammar) -> bool:
    """Whether numbers like the one at a token are told of both sides in a sentence, each with its own."""
    return told(sentence, grammar) and any(
        side_of(sentence, at, grammar) is not None
        for at in range(len(sentence.tokens)) if _is_like(sentence, index, at)
    )


def _sides(sentence: Sentence, grammar: Grammar) -> dict[int, Laterality]:
    """{token: the side said there}. Kept per sentence, since it is asked for every number."""
    found: dict[int, Laterality] | None = sentence.memo.get("sidewise")
    if found is None and not sentence.says(_SAID):
        found = sentence.memo["sidewise"] = {}
    if found is None:
        names = sidewords.named(sentence, grammar)
        read = {side.first: side.value for side in sidewords.sides(sentence, grammar)}
        found = sentence.memo["sidewise"] = {
            at: side for at, token in enumerate(sentence.tokens)
            if (token.norm in _SIDES or token.norm in _INITIALS) and at not in names
            and not donor_sides.of_other_tissue(sentence, at) and not denied_sides.closes_denial(sentence, at)
            and (side := _side(sentence, at) or (read.get(at) if token.norm in _INITIALS else None)) is not None
        }  # fmt: skip
    return found


def _of_other_day(sentence: Sentence, sides: dict[int, Laterality]) -> set[int]:
    """Sides of what was done before or is planned: "the left one is planned in spring, three mils of ..."."""
    return {at for at in sides if any(one.axis == "status" and one.first <= at <= one.last for one in sentence.scopes)}


_BOUNDS = frozenset({",", "and", "then", "but", "plus", ".", ";"})


def _linked(
    sentence: Sentence, number: int, sides: dict[int, Laterality], numbers: list[int], bounds: frozenset[str]
) -> tuple[int, int]:
    """Where the side before and the side after a number stand that no boundary and no other number parts from it; -1
    where there is none."""
    found: list[int] = []
    own = sentence.tokens[number].quantity
    bare = own is not None and own.unit is None  # it reaches over no other number, whatever that is of
    for way in (-1, 1):
        at = number + way
        end = min(number + _AHEAD, len(sentence.tokens))
        while 0 <= at < end and at not in sides:
            if at in numbers or sentence.tokens[at].norm in bounds or (bare and sentence.tokens[at].quantity):
                break
            at += way
        found.append(at if at in sides and at < end else -1)
    return found[0], found[1]


_AHEAD = 10  # tokens from a number to the side behind it


def _is_like(sentence: Sentence, index: int, at: int) -> bool:
    one, other = sentence.tokens[index].quantity, sentence.tokens[at].quantity
    if one is None or other is None or other.form not in ("number", "range", "fraction"):
        return False
    if other.dimension == one.dimension:
        return True
    bare, whole = (at, own_unit(sentence, index)) if other.dimension == "" else (index, own_unit(sentence, at))
    if own_unit(sentence, bare) not in (None, whole):
        return False  # "six mils, four into the right, two into the left, 22 gauge": millilitres were left out
    after = sentence.tokens[bare + 1].norm if bare + 1 < len(sentence.tokens) else "."
    return "" in (other.dimension, one.dimension) and (after in _AFTER_BARE or not after[0].isalpha())


def own_unit(sentence: Sentence, at: int) -> str | None:
    """The dimension of a number, or of the nearest one before it that has a unit; None where there is none."""
    for one in range(at, -1, -1):
        quantity = sentence.tokens[one].quantity
        if quantity is not None and quantity.dimension:
            return quantity.dimension
    return None


def _side(sentence: Sentence, at: int) -> Laterality | None:
    token = sentence.tokens[at]
    if _is_pair(sentence, at):
        return None  # "left and right together"
    if token.norm in _INITIALS:
        return _INITIALS[token.norm] if _is_initial(sentence, at) else None
    side = _SIDES.get(token.norm)
    after = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else ""
    if side == "left" and after in _NO_SIDES and not _led(sentence, at):
        return None
    if side == "left" and _remains(sentence, at, after):
        return None
    return side


def _is_pair(sentence: Sentence, at: int) -> bool:
    norms = [token.norm for token in sentence.tokens]
    return any(norms[one : one + 3] in (["left", "and", "right"], ["right", "and", "left"])
               for one in (at - 2, at) if one >= 0)  # fmt: skip


def _is_initial(sentence: Sentence, at: int) -> bool:
    """ "L 52 min, R 24 min", "tourniquet L: 250 mmHg": in capitals before an amount, or before a word of the body that
    stands for the amount before it ("10 mL R wrist, 5 mL L hand")."""
    tokens = sentence.tokens
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    if not tokens[at].text.isupper() or (at and tokens[at - 1].quantity is not None and after is None):
        return False
    if after is None or after.norm == ":":
        return after is not None
    named = any(m.table == "sites" and m.first == at + 1 for m in sentence.mentions)
    named = named or (_opens(sentence, at) and after.norm.isalpha() and {"L", "R"} <= {
        token.text for one, token in enumerate(tokens) if _opens(sentence, one)
    })  # fmt: skip
    pair = after.quantity is not None and {"L", "R"} <= {  # "ABPI R 0.92 L 0.88"
        one.text for one, other in pairwise(tokens) if other.quantity is not None and other.quantity.form == "number"
    }
    return named or pair or (after.quantity is not None and after.quantity.unit is not None)


def _opens(sentence: Sentence, at: int) -> bool:
    """ "R specimen 48 g, L specimen 210 g": a part of a list begins with it."""
    return at == 0 or sentence.tokens[at - 1].norm in (",", ";", ":", "and", ".")


def _remains(sentence: Sentence, at: int, after: str) -> bool:
    """ "Spun it, eight left, four in each knee": what remained, where no number is told as right in the same way."""
    tokens = sentence.tokens
    if at == 0 or tokens[at - 1].quantity is None or after.isalpha():
        return False
    return not any(
        token.norm == "right" and ((one and tokens[one - 1].quantity is not None) or (
            one + 1 < at and tokens[one + 1].quantity is not None and tokens[at + 1 : at + 2] != () and (
                tokens[at + 1].quantity is not None  # "ABPI right 0.92 left 0.88"
            )
        ))
        for one, token in enumerate(tokens)
    )


def _led(sentence: Sentence, at: int) -> bool:
    return at > 0 and sentence.tokens[at - 1].norm in ("the", "on", "and", "her", "his")


def of_both(one: Fact, other: Fact) -> bool:
    """ "Twelve from the right crest ... so twenty four in all": whether one of two totals has a side and the other, the
    larger, has none, so that it may be of both."""
    if (one.laterality is None) == (other.laterality is None) or one.value is None or other.value is None:
        return False
    both, side = (one, other) if one.laterality is None else (other, one)
    return both.value is not None and side.value is not None and both.value > side.value
