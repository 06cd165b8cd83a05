"""A dose that was made up to a volume, of which only a part was given: "twenty units in a hundred millilitres of
saline, ten millilitres were injected". The note holds what was made up; what was given is the share of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from pipeline.checks.base import amount, called, exact, finding, given, plain, read
from pipeline.conversion import convert
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding, Quantity, Token
from pipeline.rows import Drug

MEANING = "A dose was made up to a volume of which only a part was given: the dose given is less than the one said."

_INTO = frozenset({"in", "into", "to"})
_GIVING = frozenset("injected infiltrated instilled given used administered applied injecting".split())
_REACH, _BESIDE = 6, 5  # tokens
_LEAST = Decimal(5)  # mL: less is what a dose comes in, and is given whole


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    passages = note.sections.description
    for fact in given(note, "medication_dose"):
        place = next((at for at, one in enumerate(passages) if one.holds(fact)), None)
        made_up = _made_up(read(passages[place]), fact) if place is not None else None
        if place is None or made_up is None or fact.value is None:
            continue
        whole, behind = made_up
        for part in _parts(passages[place : place + 2], behind):
            if 0 < part < whole and not _of_other(note, grammar, fact, part):
                found.append(_told(fact, whole, part, grammar))
                break
    return found


def _told(fact: Fact, whole: Decimal, part: Decimal, grammar: Grammar) -> Finding:
    assert fact.value is not None
    said, share = amount(fact.value, fact.unit), amount(round(fact.value * part / whole, 2), fact.unit)
    return finding(
        "diluted_dose", "warning",
        f"{said} of {called(fact, grammar)} were made up to {plain(whole)} mL, and {plain(part)} mL were given.",
        [fact], ask="Say how much of the drug was given.",
        arithmetic=f"{said} x {plain(part)} mL / {plain(whole)} mL = {share}",
    )  # fmt: skip


def _made_up(tokens: tuple[Token, ...], fact: Fact) -> tuple[Decimal, int] | None:
    """(millilitres that the dose was made up to, token behind them)."""
    for at, token in enumerate(tokens):
        if token.quantity is None or (token.quantity.value, token.quantity.unit) != (fact.value, fact.unit):
            continue
        led = False
        for index in range(at + 1, min(at + 1 + _REACH, len(tokens))):
            further = tokens[index]
            if further.quantity is not None:
                whole = _millilitres(further.quantity) if led else None
                return (whole, index + 1) if whole is not None and whole >= _LEAST else None
            if further.punctuation:
                break
            led = led or further.norm in _INTO
    return None


def _millilitres(quantity: Quantity) -> Decimal | None:
    if quantity.dimension != "volume" or quantity.value is None or quantity.unit is None:
        return None
    return convert(quantity.value, quantity.unit, "mL")


def _parts(passages: list[Passage], behind: int) -> Iterator[Decimal]:
    """Volumes told behind it, in this sentence and the next, beside a word of giving."""
    for place, passage in enumerate(passages):
        tokens = read(passage)
        for at in range(0 if place else behind, len(tokens)):
            quantity = tokens[at].quantity
            near = {token.norm for token in tokens[max(0, at - _BESIDE) : at + 1 + _BESIDE]}
            value = _millilitres(quantity) if quantity is not None and near & _GIVING else None
            if value is not None:
                yield value


_OTHER = ("fluid_in", "fluid_out", "blood_loss", "irrigation_in", "irrigation_out", "irrigation", "measurement",
          "discarded_volume", "draw", "harvest_total", "product_volume")  # fmt: skip


_HARVEST = ("draw", "draw_count", "harvest_total", "harvest_site", "product_volume")


def _of_other(note: OperativeNote, grammar: Grammar, dose: Fact, part: Decimal) -> bool:
    """Whether the volume is told of another drug that is no diluent."""
    rows = grammar.table("drugs", Drug)
    if note.of(*_HARVEST) and any(exact(fact, "mL") == part for fact in note.of("injection_volume", "injection_total")):
        return True  # "heparin 5000 units in 5 mL ... injected 3 mL": of the marrow
    if any(exact(fact, "mL") == part for fact in note.of(*_OTHER)):
        return True  # "units of red cells given, urine 80 mL"
    return any(
        fact.value == part and fact.name not in (None, dose.name) and fact.name in rows
        and "diluent" not in rows[fact.name or ""].classes
        for fact in note.of("medication_volume")
    )
