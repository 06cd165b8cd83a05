"""Teeth by their numbers: those of diagnosis, consent or time-out against those that were treated."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from pipeline.checks._tooth_sides import quadrants
from pipeline.checks.base import finding, placed, read
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding, Token

MEANING = "A tooth was treated that diagnosis, consent or time-out did not name, though they named others."

_TOOTH = frozenset({"tooth", "teeth"})
_LISTED = frozenset({",", "and", "&", "plus", "+"})
_STATED = frozenset("consent consented consents agreed planned plan diagnosis caries carious indication marked site "
                    "booked listed referred".split())  # fmt: skip
_DONE = frozenset("extraction extracted removed removal treated restored filled filling root-treated obturated "
                  "apicectomy crowned prepared sectioned elevated luxated delivered out".split())  # fmt: skip
_ENDS = frozenset({".", ";"})
_REACH = 8  # tokens


@dataclass(slots=True)
class _Said:
    stated: dict[str, Passage] = field(default_factory=dict)
    done: dict[str, Passage] = field(default_factory=dict)
    consented: dict[str, Passage] = field(default_factory=dict)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    said = _Said()
    spoken = any(word in passage.text.lower() for passage in note.sections.description for word in _TOOTH)
    for passage in note.sections.description:
        if any(word in passage.text.lower() for word in _TOOTH):
            _read(passage, read(passage), said)
        if spoken:
            _by_number(passage, read(passage), said)
    title = note.sections.description[0].evidence if note.sections.description else None
    if not said.stated and len({passage.evidence for passage in said.done.values()}) > 1:
        # "Extraction of tooth 36. Tooth 46 was delivered": what the title names was to be treated
        said.stated = {tooth: passage for tooth, passage in said.done.items() if passage.evidence == title}
    others = ", ".join(said.stated)
    found: list[Finding] = []
    for tooth, passage in said.done.items():
        if said.stated and tooth not in said.stated:
            made = finding(
                "tooth_conflict", "blocking", f"Tooth {tooth} was treated; what was said before names {others}.",
                ask="Say which tooth is right.", about=f"tooth-{tooth}",
            )  # fmt: skip
            found.append(placed(made, passage.evidence))
    return found or _other_consent(said) or _counted(note) or quadrants(note)


def _other_consent(said: _Said) -> list[Finding]:
    """As many teeth were consented to as were treated, and they are not the same."""
    if len(said.consented) != len(said.done):
        return []
    return [
        placed(finding(
            "tooth_conflict", "blocking", f"Tooth {tooth} was consented to; what was treated is "
            f"{', '.join(said.done)}.", ask="Say which tooth is right.", about=f"tooth-{tooth}",
        ), passage.evidence)
        for tooth, passage in said.consented.items() if tooth not in said.done
    ]  # fmt: skip


_SPOKEN = "one two three four five six seven eight nine ten eleven twelve".split()
_MANY = re.compile(rf"\b(\d{{1,2}}|{'|'.join(_SPOKEN[1:])}) teeth\b", re.I)
_NUMBER = rf"(?:(?:{'|'.join(_SPOKEN[:8])}) (?:{'|'.join(_SPOKEN[:8])})|[1-8][1-8])"
_NAMES = re.compile(rf"\bteeth:? ({_NUMBER}(?:(?:,? and|,) {_NUMBER})+)\b", re.I)


def _counted(note: OperativeNote) -> list[Finding]:
    """ "Removal of six teeth. ... Teeth 16, 17, 26, 38 and 48": as many teeth as were named."""
    if not note.says("teeth"):
        return []
    said = {_SPOKEN.index(text.lower()) + 1 if text.isalpha() else int(text)
            for passage in note.sections.description for text in _MANY.findall(passage.text)}  # fmt: skip
    named = [(len(re.findall(_NUMBER, match[1], re.I)), match[1], passage) for passage in note.sections.description
             for match in _NAMES.finditer(passage.text)]  # fmt: skip
    if len(said) != 1 or not named or said & {number for number, _, _ in named}:
        return []
    number, words, passage = named[0]
    made = finding(
        "tooth_conflict", "warning", f"{next(iter(said))} teeth were said, {number} were named: {words}.",
        ask="Say which is right.", about="teeth",
    )  # fmt: skip
    return [placed(made, passage.evidence)]


# Numbers of teeth by ISO 3950 (FDI), permanent and milk teeth.
_FDI = frozenset(str(10 * quadrant + tooth) for quadrant in range(1, 9) for tooth in range(1, 9 if quadrant < 5 else 6))
_HEADS = frozenset({"dx", "diagnosis", "diagnoses", "indication"})
_TAKES = frozenset({"extraction", "extracted", "removal", "removed", "extract"})
_BEFORE_NUMBER = frozenset({"of", ":", "number", "tooth"})


def _by_number(passage: Passage, tokens: tuple[Token, ...], said: _Said) -> None:
    """ "Consent: 38, 28. Extraction 37": where teeth are spoken of, their numbers may stand alone."""
    where = ""
    if tokens and tokens[0].norm in _HEADS:  # "Dx: roots 36, failed root canal 37"
        for token in tokens[1:]:
            number = str(token.quantity.value) if token.quantity is not None and not token.quantity.dimension else ""
            if number in _FDI:
                said.stated.setdefault(number, passage)
    for at, token in enumerate(tokens):
        quantity = token.quantity
        if quantity is None:
            if token.norm in _TAKES:
                where = "done"
            elif token.norm in ("consent", "consented", "consents"):
                where = "stated"
            elif token.norm not in _LISTED | _BEFORE_NUMBER:
                where = ""
            continue
        number = str(quantity.value) if quantity.value is not None else quantity.text or ""
        if not where and _heads_work(tokens, at):
            where = "done"
        measured = bool(quantity.dimension) or quantity.form not in ("number", "code", "label")
        if not where or measured or number not in _FDI:
            where = ""
            continue
        if tokens[at - 1].norm not in _TOOTH:
            (said.stated if where == "stated" else said.done).setdefault(number, passage)
            if where == "stated":
                said.consented.setdefault(number, passage)


def _heads_work(tokens: tuple[Token, ...], at: int) -> bool:
    """ "38: flap, bone removed", "18, 28 elevated": a number at the head of what was done to it."""
    if at and not tokens[at - 1].punctuation:
        return False
    behind = at + 1
    while behind < len(tokens) and (tokens[behind].quantity is not None or tokens[behind].norm in _LISTED):
        behind += 1
    after = [token.norm for token in tokens[behind : behind + 2]]
    return after[:1] == [":"] and behind == at + 1 and len(after) > 1 or bool(_DONE & set(after[:1]))


def _read(passage: Passage, tokens: tuple[Token, ...], said: _Said) -> None:
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


def _where(tokens: tuple[Token, ...], before: int, first: int, behind: int) -> str:
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
