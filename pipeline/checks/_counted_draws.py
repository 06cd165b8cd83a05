"""So many draws of so much, against the total said with them: "seven draws of five, the tally was thirty five".

Read from the sentence, for totals that no entry holds: without a unit ("that is forty four of marrow"), or taken for
the volume of the drug behind them ("thirty five millilitres heparin had been ...").
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.checks import _syringes
from pipeline.checks._spoken_counts import count
from pipeline.checks.base import amount, plain, read
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Quantity, Token

_DRAWS = frozenset("draws draw pulls aspirations aspirates passes aliquots samples syringes syringefuls".split())
_LEADS = frozenset({"so", "that's", "thats", "makes", "making", "made", "=", "total", "totalling", "totaling", "sum",
                    "altogether", "together", "gives", "giving", "gave"})  # fmt: skip
_PAIRS = (["that", "is"], ["which", "is"], ["comes", "to"], ["tally", "was"], ["tally", "is"], ["total", "was"],
          ["total", "is"], ["sum", "was"], ["sum", "is"], ["that", "was"], ["tally", ":"], ["total", ":"],
          ["sum", ":"], ["up", "to"])  # fmt: skip
_BEHIND = (("in", "the", "end"), ("in", "all"), ("in", "total"), ("all", "told"), ("all", "up"), ("altogether",),
           ("together",))  # fmt: skip
_BARE_GOES_ON = frozenset("of in total altogether all mils . , ; and then onto into".split())
_BEFORE, _TO_TOTAL = 4, 8  # tokens from a count to its volume, from there to the total


def against_total(tokens: Sequence[Token]) -> list[tuple[int, str]]:
    """(place of the total, arithmetic) where the draws counted before it come to something else."""
    found: list[tuple[int, str]] = []
    terms: list[tuple[Decimal, str]] = []
    at = 0
    while at < len(tokens):
        token = tokens[at]
        if token.norm in (".", ";") and not _total(tokens, at + 1, 3):
            terms = []
        each = _each(tokens, at)
        if each is not None:
            number, place = each
            quantity = tokens[place].quantity
            value = (quantity.value if quantity is not None else None) or Decimal(0)
            terms.append((number * value, f"{number} x {plain(value)}"))
            total = _total(tokens, place + 1, _TO_TOTAL)
            if total is not None:
                said = (one.value if (one := tokens[total].quantity) is not None else None) or Decimal(0)
                worked = sum((one for one, _ in terms), Decimal(0))
                if said not in {worked, terms[-1][0], value}:
                    words = " + ".join(term for _, term in terms)
                    found.append((total, f"{words} = {amount(worked, 'mL')}, said: {amount(said, 'mL')}"))
                terms, at = [], total
            else:
                at = place
        at += 1
    return found


def runs_up(note: OperativeNote, draw: Fact, total: Fact) -> bool:
    """ "Four millilitres, a turn, eight, a turn, twelve, another hole, sixteen, twenty, and twenty four": whether the
    numbers from the first draw on run up to the total by as much each time."""
    first, last = draw.evidence.first, total.evidence.last
    passages = [one for one in note.sections.description if first <= one.evidence.last and one.evidence.first <= last]
    told = [draw.value] if draw.value is not None else []
    for passage in passages:
        for at, token in enumerate(read(passage)):
            quantity = token.quantity
            later = passage is not passages[0] or passage.evidence.first + at > draw.evidence.last
            if later and quantity is not None and quantity.value is not None and quantity.form == "number" and (
                quantity.unit in (None, "mL") and quantity.value > told[-1]
            ):
                told.append(quantity.value)
    steps = {two - one for one, two in pairwise(told)}
    return len(told) > 2 and steps == {draw.value} and total.value == told[-1]


def are_the_sum(note: OperativeNote, passage: Passage, said: Quantity | None) -> bool:
    """ "... fourth pull six, fifth five and that makes twenty five": the draws of all sentences come to what is said in
    this one, and `draw_total` has added them up. "Three syringes each with 18 mL of marrow and 2 mL of heparin saline,
    60 mL altogether": so much in each."""
    if said is not None and _syringes.hold(read(passage), said):
        return True
    if said is None or said.value is None or not any(
        passage.holds(fact) and (fact.value, fact.unit) == (said.value, said.unit) for fact in note.of("harvest_total")
    ):
        return False
    draws = note.of("draw", given=True)
    single = all(draw.scale is None and draw.unit in (None, "mL") and draw.value is not None for draw in draws)
    return single and len(draws) > 1 and sum((draw.value or Decimal(0) for draw in draws), Decimal(0)) == said.value


def _each(tokens: Sequence[Token], at: int) -> tuple[int, int] | None:
    """(how many, place of the volume of each) of draws that are counted at a token."""
    number = count(tokens[at])
    if number is None or number < 2 or not any(one.norm in _DRAWS for one in tokens[at + 1 : at + 3]):
        return None
    for place in range(at + 2, min(at + 2 + _BEFORE, len(tokens))):
        quantity = tokens[place].quantity
        if quantity is None:
            continue
        led = tokens[place - 1].norm in ("of", "at", ",") or tokens[place - 1].norm in _DRAWS
        volume = quantity.unit == "mL" or (not quantity.dimension and quantity.form == "number")
        good = led and volume and quantity.value is not None and quantity.comparator is None
        return (number, place) if good else None
    return None


def _total(tokens: Sequence[Token], start: int, reach: int) -> int | None:
    """Place of a volume that words of summing up lead to."""
    for at in range(start, min(start + reach, len(tokens))):
        quantity = tokens[at].quantity
        if quantity is None:
            continue
        before = [one.norm for one in tokens[max(0, at - 3) : at] if one.norm not in ("a", "about", "of", ",")]
        behind = tuple(one.norm for one in tokens[at + 1 : at + 4])
        led = bool(before) and (before[-1] in _LEADS or before[-2:] in _PAIRS)
        led = led or any(behind[: len(words)] == words for words in _BEHIND)
        after = tokens[at + 1].norm if at + 1 < len(tokens) else "."
        bare = not quantity.dimension and quantity.form == "number" and after in _BARE_GOES_ON
        if not led or quantity.value is None or quantity.comparator or not (quantity.unit == "mL" or bare):
            return None
        return at
    return None
