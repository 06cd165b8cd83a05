"""A strength in which the drug is not sold."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks.base import finding, shown, span, unit_words
from pipeline.dosing import strength
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Drug

MEANING = "A drug's concentration is none of its usual strengths; ten times one of them is most likely a slip."

_TOPICAL = ("spray", "topical", "gel", "jelly", "cream", "patch")  # sold stronger
_MUCH = Decimal(100)  # millilitres
_BEYOND = Decimal(4)  # times the strongest that is sold: no other pack is so strong; common practice, no source
_SLIPS = (Decimal(10), Decimal("0.1"), Decimal(100), Decimal("0.01"))


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    drugs = grammar.table("drugs", Drug)
    found: list[Finding] = []
    for fact in note.of("medication_concentration"):
        drug = drugs.get(fact.name or "")
        if drug is None or not drug.strengths or fact.value is None or fact.unit is None or fact.certainty == "negated":
            continue
        said = strength(fact.value, fact.unit)
        usual = {text: one for text in drug.strengths if (one := _read(text)) is not None}
        if said is None or not usual or any(one == said for one in usual.values()):
            continue
        slips = [text for text, one in usual.items() if one[1] == said[1] and said[0] / one[0] in _SLIPS]
        listed = ", ".join(_words(text) for text in drug.strengths)
        least = min(one[0] for one in usual.values())
        stronger = all(one[1] == said[1] and said[0] > one[0] for one in usual.values())
        if not slips and not stronger:
            continue  # a dilution made on the table
        asked = f" Was it {' or '.join(_words(text) for text in slips)}?" if slips else ""
        beyond = stronger and said[0] >= _BEYOND * max(one[0] for one in usual.values())
        spray = any(word in fact.evidence.heard.lower() for word in _TOPICAL)
        found.append(
            finding(
                "drug_strength",
                "warning" if not spray and (
                    beyond or (slips and (said[0] > least or not _diluted(note, drug.id)) and not _worked(note, fact))
                ) else "note",
                f"{drug.name} {shown(fact)} is none of the usual strengths ({listed}).",
                [fact],
                ask="Say the strength again." + asked,
            )
        )
    return found


def _diluted(note: OperativeNote, drug: str) -> bool:
    """Whether so much was given that it was surely diluted (tumescent solution)."""
    volumes = [one for fact in note.of("medication_volume") if fact.name == drug and (one := span(fact, "mL"))]
    return any(one.low is not None and one.low >= _MUCH for one in volumes)


def _worked(note: OperativeNote, fact: Fact) -> bool:
    """ "Heparin 500 units/mL, 2 mL (1,000 units)": volume and dose bear the strength out, and three slips that agree
    are none."""
    mass = (fact.unit or "").removesuffix("/mL")
    of_it = [one for one in note.of("medication_volume", "medication_dose") if one.name == fact.name and one.value]
    volumes = [one.value for one in of_it if one.kind == "medication_volume" and one.unit == "mL"]
    doses = [one.value for one in of_it if one.kind == "medication_dose" and one.unit == mass]
    return any(volume is not None and fact.value is not None and volume * fact.value in doses for volume in volumes)


def _read(text: str) -> tuple[Decimal, str] | None:
    number, _, unit = text.partition(" ")
    try:
        return strength(Decimal(number), unit)
    except ArithmeticError:
        return None


def _words(text: str) -> str:
    number, _, unit = text.partition(" ")
    return f"{number} {unit_words(unit)}"
