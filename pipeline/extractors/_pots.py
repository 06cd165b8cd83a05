"""Specimens told pot by pot: "A: plaque, histology. B: wound swab", "1. tonsil 2. node", "pot one is the left ovary",
"sent: A left lump; B shave", and with the pot told last: "caecum 4 mm, pot one"."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from pipeline import cues, laterality
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Sentence

_HEADS = frozenset({"specimen", "specimens", "spec", "specs", "pathology", "histology", "path", "samples", "biopsies"})
_SENT = frozenset({"sent", "submitted"})
_POTS = frozenset({"pot", "jar", "container", "bottle", "vial", "cassette", "specimen"})
_CLOSES = frozenset({")", ":", "."})
_NUMBERED = re.compile(r"^\(?(\d{1,2})[.)]$")
_NUMBERS = {word: value for value, word in enumerate(
    "one two three four five six seven eight nine ten".split(), 1)}  # fmt: skip
_LETTERS = "abcdefghijk"
_MOST = 30
_LEAD = frozenset({"is", "was", "the", "a", "an", ":", "-", ",", "contains", "contained", "holds", "has"})
_TAIL = frozenset({",", ".", ";", "and", "-", "then", "("})
_ALL_OF_THEM = frozenset({"both", "all"})
_NOT_SENT = (("not", "sent"), ("discarded",), ("thrown", "away"), ("given", "to", "patient"))
_SIDES: dict[str, Laterality] = {"L": "left", "R": "right"}  # "C L wide local excision"
_NAMED = ("sites", "specimens", "findings", "diagnoses")
_COUNTED = frozenset(
    "node nodes biopsy biopsies core cores piece pieces fragment fragments chip chips sample samples stone stones "
    "polyp polyps tooth teeth margin margins".split()
)
_COST, _MARKED = 1, -6


@dataclass(frozen=True)
class _Mark:
    kind: str
    value: int
    first: int
    end: int  # the token behind it


@dataclass(frozen=True)
class Pot:
    """Tokens first..last of what is in one pot; `marks`: the tokens of its number, and of the next one where the
    sentence ends with it (none where they were written whole)."""

    first: int
    last: int
    marks: tuple[int, ...] = ()
    of: str = ""  # what was said of it in the heading


def pots(reading: Reading) -> dict[int, list[Pot]]:
    """{sentence number: its pots} of every list that begins with the first number or letter and goes on in order."""
    found: dict[int, list[Pot]] = {}
    open_, kind, due, waiting = False, "", 0, False
    for place, sentence in enumerate(reading.sentences):
        at, headed = _heading(sentence)
        if not headed and _turns(sentence):  # "2. Sentinel nodes, 3. Drains: 2."
            open_, kind, due, waiting = False, "", 0, False
            continue
        if headed:
            open_, kind, due, waiting = True, "", 0, False
        marks: list[_Mark] = []
        for index in _places(sentence, at, open_):
            mark = _mark(sentence, index, open_)
            if mark is None or (marks and index < marks[-1].end):
                continue
            late = mark.kind == "pot" and not kind and bool(_before(sentence, [mark], at))  # "a further strip, pot 2"
            begins = (late or mark.value == 1) and (mark.kind == "pot" or not kind) and (
                open_ or mark.kind == "pot" or _goes_on(reading, place, mark)
            )
            if begins or (mark.kind == kind and mark.value == due):
                marks.append(mark)
                kind, due = mark.kind, mark.value + 1
        parts = _before(sentence, marks, at) or _between(sentence, marks, at if waiting else None)
        listed = [one for one in parts if _is_named(sentence, one)]
        if listed or marks:
            found[sentence.index] = listed
        if headed and not marks and at < len(sentence.tokens):
            open_ = False  # the heading is followed by a list of another kind
        waiting = bool(marks) and marks[-1].end >= len(sentence.tokens)
        if not marks and not headed and not listed and kind != "pot":
            open_, kind, due, waiting = False, "", 0, False
    return found


_OTHER_HEADS = frozenset(
    "drain drains implant implants device devices ebl estimated blood complication complications count counts fluid "
    "fluids urine disposition condition tourniquet finding findings indication indications procedure description "
    "anesthesia anaesthesia antibiotic antibiotics consent technique plan postoperative aftercare closure dressing "
    "transfusion intake output crystalloid".split()
)


def _turns(sentence: Sentence) -> bool:
    """Whether a sentence opens with the heading of something else."""
    norms = [token.norm for token in sentence.tokens[:4]]
    return bool(norms) and norms[0] in _OTHER_HEADS and ":" in norms[1:]


def _places(sentence: Sentence, at: int, open_: bool) -> Iterable[int]:
    """Where a mark may stand: anywhere under a heading, else at the first token or at a word for a pot."""
    if open_ or sentence.says(_POTS):
        return range(at, len(sentence.tokens))
    return range(at, min(1, len(sentence.tokens)))


def _heading(sentence: Sentence) -> tuple[int, bool]:
    """(where the list begins, whether a heading of specimens stands before it)."""
    tokens = sentence.tokens
    if not tokens or tokens[0].norm not in _HEADS | _SENT or (
        tokens[0].norm in _POTS and (one := _mark(sentence, 0, False)) is not None and one.kind == "pot"
    ):
        return 0, False  # "specimen two: both tubes"
    colon = next((at for at in range(1, min(5, len(tokens))) if tokens[at].norm in (":", "-")), None)
    if colon is None and tokens[0].norm in _SENT:
        return 0, False
    return (colon + 1, True) if colon is not None else (1, len(tokens) == 1)


def _mark(sentence: Sentence, at: int, open_: bool) -> _Mark | None:
    tokens = sentence.tokens
    token, after = tokens[at], tokens[at + 1] if at + 1 < len(tokens) else None
    numbered = _NUMBERED.match(token.text)
    if numbered and open_:
        return _Mark("number", int(numbered[1]), at, at + 1)
    if token.norm in _POTS and after is not None and not _is_measured(sentence, at + 1):
        value = _value(sentence, at + 1)
        return _Mark("pot", value, at, at + 2) if value else None
    item = token.text.isupper() and (  # "Sent: A left lump; B shave. C node"
        tokens[at - 1].norm in _ITEMS if at
        else token.norm in _LETTERS[1:] and after is not None and after.norm.isalpha()
    )
    if after is None or (after.norm not in _CLOSES and not (item and open_)):
        return None
    if after.norm not in _CLOSES:
        letter = len(token.norm) == 1 and token.norm in _LETTERS
        return _Mark("letter", _LETTERS.index(token.norm) + 1, at, at + 1) if letter else None
    if len(token.norm) == 1 and token.norm in _LETTERS and (at == 0 or open_):
        return _Mark("letter", _LETTERS.index(token.norm) + 1, at, at + 2)
    whole = token.quantity is not None and token.quantity.form == "number" and not token.quantity.dimension
    value = _value(sentence, at) if whole and open_ else 0
    return _Mark("number", value, at, at + 2) if value and after.norm != ":" else None


_ITEMS = frozenset({":", ";", ","})


def _is_measured(sentence: Sentence, at: int) -> bool:
    """ "Specimen 4 x 3 cm": no number of a pot."""
    quantity = sentence.tokens[at].quantity
    after = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else ""
    return quantity is not None and (bool(quantity.dimension) or quantity.form != "number" or after in ("x", "by"))


def _value(sentence: Sentence, at: int) -> int:
    """The number or letter of a pot; 0 where none stands there."""
    token = sentence.tokens[at]
    if token.quantity is not None and token.quantity.value is not None:
        value = token.quantity.value
        return int(value) if value == int(value) and 0 < value <= _MOST else 0
    if token.norm in _NUMBERS:
        return _NUMBERS[token.norm]
    return _LETTERS.index(token.norm) + 1 if len(token.norm) == 1 and token.norm in _LETTERS else 0


def _goes_on(reading: Reading, place: int, mark: _Mark) -> bool:
    """Whether "A: left ovary." is followed by "B: ..." and both name a part: a list without a heading."""
    if mark.kind != "letter" or place + 1 >= len(reading.sentences):
        return False
    here, following = reading.sentences[place], reading.sentences[place + 1]
    other = _mark(following, 0, False) if following.tokens else None
    return other is not None and other.kind == "letter" and other.value == mark.value + 1 and all(
        any(mention.table in ("sites", "specimens") for mention in one.mentions) for one in (here, following)
    )  # fmt: skip


def _between(sentence: Sentence, marks: list[_Mark], waiting: int | None) -> list[Pot]:
    """What stands behind each mark, up to the next one."""
    tokens = sentence.tokens
    starts = ([waiting] if waiting is not None else []) + [mark.end for mark in marks]
    ends = [mark.first for mark in marks] if waiting is not None else [mark.first for mark in marks[1:]]
    numbers = ([None] if waiting is not None else []) + [_number(sentence, mark) for mark in marks]
    found: list[Pot] = []
    if not starts:
        return []
    for first, end, number in zip(starts, [*ends, len(tokens)], numbers, strict=True):
        while first < end and tokens[first].norm in _LEAD:
            first += 1
        end = next((at for at in range(first + 1, end) if tokens[at].norm in _ALL_OF_THEM), end)
        last = end - 1
        while last > first and tokens[last].norm in _TAIL:
            last -= 1
        if first <= last:
            found.append(Pot(first, last, () if number is None else (number,)))
    trail = _number(sentence, marks[-1]) if marks and marks[-1].end >= len(tokens) else None
    if found and trail is not None:
        found[-1] = replace(found[-1], marks=(*found[-1].marks, trail))
    return found


def _before(sentence: Sentence, marks: list[_Mark], at: int) -> list[Pot]:
    """What stands before each mark, where the pot is told last: "caecum 4 mm, pot one; dome, pot two"."""
    tokens = sentence.tokens
    if not marks or marks[0].kind != "pot" or tokens[marks[0].first].norm == "specimen" or not all(
        mark.end >= len(tokens) or tokens[mark.end].norm in _CLOSING for mark in marks
    ):
        return []
    found: list[Pot] = []
    low = at
    for mark in marks:
        first = max([low, *(one + 1 for one in range(low, mark.first) if tokens[one].norm in (":", ";", "."))])
        comma = next((one for one in range(mark.first - 2, first - 1, -1) if tokens[one].norm == ","), None)
        if comma is not None and (
            any(token.norm in _COUNTED or token.norm == "further" for token in tokens[comma + 1 : mark.first])
            or any(m.table in _NAMED and comma < m.first < mark.first for m in sentence.mentions)
        ):
            first = comma + 1  # "... was left, biopsies four, pot four"
        while first < mark.first and (tokens[first].norm in _LEAD | _TAIL or tokens[first].norm in _ALSO):
            first += 1
        last = first
        while last + 1 < mark.first and not _ends_name(sentence, last + 1):
            last += 1
        number = _number(sentence, mark)
        if first < mark.first:
            found.append(Pot(first, last, () if number is None else (number,), _headed(sentence, first, last)))
        low = mark.end
    return found


def _headed(sentence: Sentence, first: int, last: int) -> str:
    """ "Polyps sent: R pot A, L pot B": what a list of bare sides is of."""
    tokens = sentence.tokens
    colon = next((at for at in range(min(first, 5)) if tokens[at].norm == ":"), 0)
    if first != last or tokens[first].norm not in ("r", "l", "right", "left") or not colon:
        return ""
    return " ".join(token.text for token in tokens[:colon] if token.norm not in _VERBS)


_CLOSING = frozenset({",", ".", ";", "and", ")"})
_ALSO = frozenset({"another", "then", "also", "plus"})
_VERBS = frozenset("weighed weighing measured measuring sent retrieved removed resected was were in into cold hot "
                   "lifted snared taken went goes put".split())  # fmt: skip


def _ends_name(sentence: Sentence, at: int) -> bool:
    """Whether the name of what is in a pot is over: at its size, a mark, or what was done with it."""
    token = sentence.tokens[at]
    sized = token.quantity is not None and bool(token.quantity.dimension)
    return sized or token.norm in _VERBS or token.norm in (",", "(")


def _number(sentence: Sentence, mark: _Mark) -> int | None:
    return next((at for at in range(mark.first, mark.end) if sentence.tokens[at].quantity is not None), None)


def _is_named(sentence: Sentence, pot: Pot) -> bool:
    said = sentence.tokens[pot.first : pot.last + 1]
    return bool(pot.of) or any(token.norm.isalpha() and len(token.norm) > 2 for token in said)


def facts(reading: Reading, sentence: Sentence, listed: list[Pot], grammar: Grammar) -> list[Fact]:
    """A specimen a pot, and how many pieces are in it."""
    made: list[Fact] = []
    for pot in listed:
        norms = [token.norm for token in sentence.tokens[pot.first : pot.last + 1]]
        denied = any(tuple(norms[at : at + len(said)]) == said for said in _NOT_SENT for at in range(len(norms)))
        if denied:
            continue  # what was thrown away is no specimen
        side, _ = laterality.side_for(sentence, pot.first, pot.last, grammar, own_only=True)
        side = side or (_SIDES.get(sentence.tokens[pot.first].text) if pot.last > pot.first else None)
        shared: dict[str, Any] = {"group": f"s{base.group_of(sentence, pot.first)}"}
        told: dict[str, Any] = {
            "laterality": side, "status": "performed", "certainty": "affirmed",
            "text": f"{pot.of} {cues.words(sentence, pot.first, pot.last)}".strip(), **shared,
        }  # fmt: skip
        if not pot.marks:
            made.append(base.make("specimen", reading, sentence, pot.first, pot.last, **told))
        else:  # the number of a pot is no number of anything else
            rest = tuple((sentence.tokens[at].first, sentence.tokens[at].last) for at in pot.marks[1:])
            made.append(base.claim("specimen", reading, sentence, pot.marks[0], pot.first, pot.last, _MARKED,
                                   value=None, unit=None, rest=rest, **told))  # fmt: skip
        for index in range(pot.first, pot.last + 1):
            quantity = sentence.tokens[index].quantity
            if quantity is None or quantity.value is None or quantity.dimension:
                continue
            after = [token.norm for token in sentence.tokens[index + 1 : min(index + 3, pot.last + 1)]]
            counted = sentence.tokens[index - 1].norm
            plural = counted in _COUNTED and (counted.endswith("s") or counted == "teeth")  # "node 1" is its name
            behind = quantity.form == "number" and index == pot.last and plural
            if quantity.form == "times" or behind or (quantity.form == "number" and _COUNTED & set(after)):
                made.append(base.claim("specimen_count", reading, sentence, index, pot.first, pot.last, _COST,
                                       places=(index,), certainty="affirmed", status="performed",
                                       **shared))  # fmt: skip
    return made
