"""What amounts of a harvest come to: whether one is the sum of those before it, one of a row, or so much of each."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.extractors import _amount_lists, _direction, _draw_counts, _draws
from pipeline.extractors import _amount_words as words
from pipeline.extractors._account_parts import Amount, through_needle
from pipeline.extractors._account_told import Told
from pipeline.grammar import Grammar


def more_follow(amount: Amount) -> bool:
    """ "Four draws of fifteen, fifteen, ten and twelve": each number is a draw of its own."""
    tokens, index = amount.sentence.tokens, amount.index
    ahead = tokens[index + 2].quantity if index + 2 < len(tokens) else None
    own = amount.quantity.value or Decimal(0)
    like = ahead is not None and ahead.form == "number" and (ahead.value or 0) <= 3 * own
    like = like and ahead is not None and ahead.dimension in ("", "volume")  # no "one full turn back after each"
    return like and _draw_counts.more_follow(amount.sentence, index)


def is_of_each(amount: Amount) -> bool:
    """ "Twelve pulls of five", "five each"."""
    led = amount.before[-1:] in (("of",), ("at",), ("x",), ("\u00d7",)) or amount.before[-2:] == ("of", "about")
    led = led or amount.after[:1] == ("each",) or _draws.times(amount.sentence, amount.index)
    return led and not more_follow(amount)


def is_at_each(amount: Amount) -> bool:
    """ "Four mils each", "two mils of concentrate were injected at each site", "four a side"."""
    near = {"each", "every", "per"} & set(amount.after[:4]) or amount.after[:1] == ("a",)
    return bool(near) or any(
        one in ("at", "into", "in", "to") and two == "each" for one, two in pairwise(amount.after[:_TO_EACH])
    )


_TO_EACH = 9  # tokens from an amount to "at each site"


def is_whole(told: Told, amount: Amount, value: Decimal, grammar: Grammar) -> bool:
    """Whether an amount that could be a draw is what draws before it come to: "sixty mils in six draws", "eight pulls,
    forty mils in the syringes", "20 % of the 60 mL of marrow"."""
    sentence, index = amount.sentence, amount.index
    if _draw_counts.in_draws(sentence, grammar, index) or _draws.behind_count(sentence, grammar, index):
        return True
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    if behind[:2] == ["in", "#number"] and behind[2:] and behind[2] in words.COUNTED_ALL:
        return True  # "sixty mils in four syringes"
    if told.counted and amount.before[-1:] and amount.before[-1] in _SIDES and set(amount.before) <= _SIDES | {","}:
        return True  # "R 3 passes, L 3 passes, R 32 mL, L 28 mL"
    if _is_other_side(told, amount, value):
        return True
    if len(told.pair) == 1 and (_direction.held_in(sentence, index) or (
        told.each is not None and told.pair[0] * told.each == value
    )):  # fmt: skip
        return True
    if len(told.pair) == 1 and told.pair[0] >= 3 and value > _GREAT and amount.before in ((), (",",)):
        return True
    if len(told.products) > 1 and value == sum(told.products, Decimal(0)):
        return True
    both = len(told.sums) > 1 and not told.row and value == sum(told.sums, Decimal(0))
    if both and _direction.held_in(sentence, index):
        return True  # "thirty six ... then on the left thirty six again seventy two in the bag"
    before = sentence.tokens[index - 3].quantity if index > 2 and amount.before[-2:] == ("of", "the") else None
    return before is not None and before.dimension == "fraction"


def _is_other_side(told: Told, amount: Amount, value: Decimal) -> bool:
    """ "Twelve pulls of five on each side, sixty and sixty, so one hundred and twenty": the sum of the other side."""
    if not told.sums or told.row or not amount.bare or set(amount.before) - {",", "and"} or amount.after:
        return False
    both = value + told.sums[-1]
    ahead = [token.quantity for token in amount.sentence.tokens[amount.index + 1 :] if token.quantity is not None]
    return bool(ahead) and ahead[0].value == both


_SIDES = frozenset({"r", "l", "left", "right"})
_GREAT = 20  # mL; more than one draw gives


def run_together(told: Told, amount: Amount, value: Decimal) -> tuple[Decimal, Decimal] | None:
    """ "Twelve pulls of five sixty mils": five each and sixty in all, where it was read as five hundred and sixty; "six
    six and four sixteen": the last draw and the sum."""
    hundreds, rest = divmod(value, 100)
    if value < 100 or value != int(value):
        return None
    if len(told.pair) == 1:
        made = told.pair[0] * hundreds
        return (hundreds, rest) if rest in (made, made + sum(told.products, Decimal(0))) else None
    if not any("it could be" in doubt for doubt in amount.quantity.doubts):
        return None
    return (hundreds, rest) if told.row and sum(told.row, hundreds) == rest else None


def lone(amount: Amount) -> bool:
    """A bare number with nothing but the words of a row around it: "then five", "again four"."""
    before = list(amount.before)
    while "," in before or ":" in before:
        before.pop(0)
    return {*before[-4:], *amount.after} <= _ROW and not _amount_lists.counts_row(amount.sentence, amount.index)


_ROW = frozenset(
    "left right and then again another now also just once more the it a next first second third fourth fifth sixth "
    "last one each which gave gives yielded hole turn turned rotate rotated back we get got is was here on , - "
    "centimetre centimeter cm moved over pulled".split()
)


def runs_up(amount: Amount) -> bool:
    """Whether an amount stands in a row that goes up by its first each time."""
    tokens, first = amount.sentence.tokens, amount.index
    while first > 1 and tokens[first - 1].norm in (",", "and", "then", "#number", "#volume"):
        first -= 1
    while first < amount.index and tokens[first].quantity is None:
        first += 1
    return _amount_lists.runs_up(amount.sentence, first)


def total_behind(told: Told, amount: Amount) -> tuple[str, bool]:
    """What a total is of that is told when the product was made: of what was given where it is as much as was made
    ("four, five and the last three: twelve altogether"), of nothing here where nothing comes to it ("four in all")."""
    value = amount.quantity.value
    if told.state == "made" and told.made and value == sum(told.made, Decimal(0)):
        return "given in all", True
    own = not amount.bare or value in (*told.sums, sum(told.all, Decimal(0)))
    return ("total", True) if own else ("", False)


def unit_of_marrow(amount: Amount) -> tuple[str | None, tuple[str, ...]]:
    """(unit, doubt) of a sum: for "that is fifty four of marrow" the unit of the draws before it, in doubt."""
    own = amount.quantity.unit
    if own is not None or "marrow" not in amount.after[1:3] or amount.after[:1] != ("of",):
        return own, ()
    tokens = amount.sentence.tokens
    unit = next((one.unit for token in tokens[: amount.index] if (one := token.quantity) is not None
                 and one.dimension == "volume"), None)  # fmt: skip
    said = tokens[amount.index].text
    return unit, (f"the unit of {said} was not said; taken as that of the draws before it",) if unit else ()


def goes_up(told: Told, amount: Amount) -> bool:
    """Whether a bare amount belongs to a row that goes up by the first draw each time, over the words between."""
    if not told.row:
        return False
    step, tokens = told.row[0], amount.sentence.tokens
    told_on = [one.value for token in tokens if (one := token.quantity) is not None and not one.dimension
               and one.form == "number" and one.value is not None]  # fmt: skip
    row = [step * place for place in range(2, 2 + _RUNNING)]
    return amount.quantity.value is not None and amount.quantity.value % step == 0 and all(
        value in told_on for value in row
    )


_RUNNING = 3  # numbers that go up by the first


def may_be_given(state: str, amount: Amount) -> bool:
    """Whether a bare number is one of those that may go in: no age, no time, no year, no "one" of something."""
    value = amount.quantity.value
    if not amount.bare or through_needle(amount):
        return True
    counted = value == 1 and not _TO_PLACE & set(amount.after[:1])
    return state in ("made", "given", "drawn") and value is not None and value <= _MOST_GIVEN and not counted


_MOST_GIVEN = 40  # mL of a product into one place
_TO_PLACE = frozenset("into in to each around at under beside along over superficial deep".split())


def sums_up(told: Told, amount: Amount, value: Decimal) -> bool:
    """ "So twenty of marrow", "but the syringes held fifty six", "thirty six of marrow" behind its draws, and what the
    draws or the sums before it come to."""
    before = [word for word in amount.before if word not in ("it", "is", "was", "i", "we")]
    if before[-1:] in (["so"], ["held"], ["holds"], ["that's"], ["thats"]) or amount.before[-2:] in _THAT_IS:
        return bool(told.row or told.pair or told.sums) and (
            not told.row or value >= max(told.row) or value == sum(told.row, Decimal(0)) - told.lost
        )
    of_marrow = amount.after[:2] == ("of", "marrow") or amount.after[:3] == ("of", "bone", "marrow")
    drawn = sum(told.row, Decimal(0))
    behind = amount.sentence.tokens[amount.index + 1 : amount.index + 2]
    of_marrow = of_marrow and bool(behind) and behind[0].norm == "of"  # not "five, six and four mils of marrow"
    if of_marrow and len(amount.after) < _SHORT and told.all and value > max(told.all) and value >= drawn and (
        "from" not in amount.after
    ):
        return True
    if not told.row:
        return False
    if _once_more(amount) and len(told.row) == 1 and value > told.row[0] and value % told.row[0] == 0:
        return True
    if _begins_draw(amount):
        return False
    return _is_row_sum(told.row, value) or (len(told.sums) > 1 and value == sum(told.sums, Decimal(0))) or (
        len(told.all) > 2 and value == sum(told.all, Decimal(0))
    )


def _once_more(amount: Amount) -> bool:
    """ "Four and once more, eight", "then another such pull, eight"."""
    said = amount.before[-5:]
    return bool({"once", "such", "same", "repeated"} & set(said)) and (
        said[-1] in words.COUNTED | {",", "more", "again", "times"}
    )


_THAT_IS = (("that", "is"), ("which", "is"), ("i", "have"))
_SHORT = 5


def is_bare_sum(told: Told, amount: Amount, value: Decimal | None) -> bool:
    """ "Five, five, ten": no word says whether it is one more draw or the sum of two."""
    if len(told.row) == 1 and _once_more(amount):
        return True
    return len(told.row) == 2 and value == sum(told.row, Decimal(0)) and amount.bare and not amount.after and (
        not {word for word in amount.before} - _JOINS
    )


_JOINS = frozenset({",", "and", "then"})


def _begins_draw(amount: Amount) -> bool:
    """Whether the words say that it is one more draw, no sum."""
    if {"another", "again", "more", "next", "last"} & {*amount.before[-3:], *amount.after[:1]}:
        return True
    return any(norm in words.COUNTED or norm in _ORDINALS for norm in amount.before[-2:])


_ORDINALS = frozenset("first second third fourth fifth sixth seventh eighth ninth tenth".split())


def _is_row_sum(row: Sequence[Decimal], value: Decimal) -> bool:
    """Whether the last two or more draws add up to this value."""
    total = Decimal(0)
    for place, one in enumerate(reversed(row)):
        total += one
        if place and total == value:
            return True
    return False


_GIVES = frozenset("gives gave giving yields yielded yielding".split())
_LEAST_REDUCED = 3  # how many times more was drawn than is made of it, at the least; common practice, no source


def is_yield(told: Told, amount: Amount, value: Decimal) -> bool:
    """ "Sixty from the crest, gives seven mils": a small part of what was drawn, told as what it gave."""
    if not _GIVES & set(amount.before[-2:]) or {"crest", "needle", "side", "hole", "draw", "pull"} & set(amount.before):
        return False
    return not {"draw", "pull", "from"} & set(amount.after[:3]) and value * _LEAST_REDUCED <= sum(told.all, Decimal(0))
