"""Teeth by their numbers: those of diagnosis, consent or time-out against those that were treated."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.checks.base import finding, placed, read
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding, Token

MEANING = "A tooth was treated that diagnosis, consent or time-out did not name, though they named others."

_TOOTH = frozenset({"tooth", "teeth"})
_LISTED = frozenset({",", "and", "&", "plus"})
_STATED = frozenset("consent consented consents agreed planned plan diagnosis caries carious indication marked site "
                    "booked listed referred".split())  # fmt: skip
_DONE = frozenset("extraction extracted removed removal treated restored filled filling root-treated obturated "
                  "apicectomy crowned prepared sectioned elevated delivered".split())  # fmt: skip
_ENDS = frozenset({".", ";"})
_REACH = 8  # tokens


@dataclass(slots=True)
class _Said:
    stated: dict[str, Passage] = field(default_factory=dict)
    done: dict[str, Passage] = field(default_factory=dict)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    said = _Said()
    for passage in note.sections.description:
        if any(word in passage.text.lower() for word in _TOOTH):
            _read(passage, read(passage), said)
    others = ", ".join(said.stated)
    found: list[Finding] = []
    for tooth, passage in said.done.items():
        if said.stated and tooth not in said.stated:
            made = finding(
                "tooth_conflict", "blocking", f"Tooth {tooth} was treated; what was said before names {others}.",
                ask="Say which tooth is right.", about=f"tooth-{tooth}",
            )  # fmt: skip
            found.append(placed(made, passage.evidence))
    return found


def _read(passage: Passage, tokens: list[Token], said: _Said) -> None:
    at, before = 0, 0
    while at < len(tokens):
        if tokens[at].norm not in _TOOTH:
            at += 1
            continue
        first, numbers = at, []
        at += 1
        while at < len(tokens) and (tokens[at].quantity is not None or tokens[at].norm in _LISTED | {"number"}):
            quantity = tokens[at].quantity
            if quantity is not None and quantity.value is not None:
                numbers.append(str(quantity.value))
            elif quantity is not None and (quantity.text or "").isdigit():
                numbers.append(quantity.text)
            at += 1
        where = _where(tokens, before, first, at)
        before = at
        for number in numbers:
            (said.stated if where == "stated" else said.done if where == "done" else {}).setdefault(number, passage)


def _where(tokens: list[Token], before: int, first: int, behind: int) -> str:
    """Of what a tooth was said: by the words since the tooth before it, and by those behind it."""
    ahead = [token.norm for token in tokens[max(before, first - _REACH) : first]]
    ahead = ahead[next((at + 1 for at in range(len(ahead) - 1, -1, -1) if ahead[at] in _ENDS), 0) :]
    after: list[str] = []
    for token in tokens[behind : behind + _REACH]:
        if token.norm in _ENDS | _TOOTH:
            break
        after.append(token.norm)
    to_be = any(after[at : at + 2] == ["to", "be"] for at in range(len(after)))
    if _STATED & set(ahead) or to_be or _STATED & set(after) or ["time", "out"] == ahead[:2]:
        return "stated"
    return "done" if _DONE & set(ahead) or _DONE & set(after) else ""
