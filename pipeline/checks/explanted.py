"""What was taken out against what was put in, and against what had been in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from pipeline.checks import _out_or_in
from pipeline.checks._spoken_counts import count
from pipeline.checks.base import called, finding, placed, plain, read, shown
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding, Token

MEANING = "The same device (by its number) was taken out and put in, or not as many came out as were said to be in."

_NUMBERS = ("device_serial", "device_udi", "device_lot")
# A lot holds many devices, so that one may come out and another of it go in.
_SEVERITY = {"device_lot": "warning"}
_STAYED = frozenset("left retained remained remains stayed stays stay buried kept remain remaining".split())
_IN_EXCHANGE = (("one", "for", "one"), ("like", "for", "like"), ("the", "same", "number"))


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    return _same_number(note) + _not_as_many(note, grammar) + _some_of(note, grammar) + _exchanged(note, grammar)


def _role(note: OperativeNote, fact: Fact) -> str:
    return fact.role or next((other.role for other in note.group(fact) if other.kind == "device" and other.role), "")


def _same_number(note: OperativeNote) -> list[Finding]:
    """By the role of each number's device, and by the words around each of its places."""
    places: dict[tuple[str, str], dict[str, list[Fact]]] = {}
    for fact in note.of(*_NUMBERS, given=True):
        role = _role(note, fact)
        ways = {"explanted": {"out"}, "implanted": {"in"}}.get(role, set())
        if fact.also or not ways:  # said again, it is one entry with several places
            ways = ways | _out_or_in.ways(note, fact)
        for way in ways if fact.text else ():
            places.setdefault((fact.kind, fact.text or ""), {}).setdefault(way, []).append(fact)
    return [
        finding(
            "explanted",
            "warning" if kind in _SEVERITY else "blocking",
            f"The number {text} was said for what was taken out and for what was put in.",
            dict.fromkeys([*where["out"], *where["in"]]),
            ask="Read the number of the new device again.",
        )
        for (kind, text), where in places.items()
        if {"out", "in"} <= set(where)
    ]


@dataclass(slots=True)
class _Counted:
    number: Decimal
    facts: list[Fact]


def _not_as_many(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """Pieces that had been in, against those that came out and those that were said to stay."""
    counts = [fact for fact in note.of("device_count") if fact.value is not None and fact.name
              and fact.certainty == "affirmed"]  # fmt: skip
    there = [fact for fact in counts if fact.status == "historical" and not _stays(note, fact)]
    found: list[Finding] = []
    for name in dict.fromkeys(fact.name or "" for fact in counts if fact.role == "explanted"):
        before = _added([fact for fact in there if _alike(fact.name or "", name)])
        out = _added([fact for fact in counts if fact.role == "explanted" and fact.name == name])
        if before.facts and before.number != out.number and not _left_is_told(note, before.facts + out.facts):
            left = before.number - out.number
            found.append(
                finding(
                    "explanted",
                    "warning",
                    f"{plain(before.number)} of {called(before.facts[0], grammar)} were in, {plain(out.number)} came "
                    "out.",
                    before.facts + out.facts,
                    arithmetic=f"{plain(before.number)} - {plain(out.number)} = {plain(left)} left",
                    ask="Say what stayed in." if left > 0 else "Say how many were in and how many came out.",
                    about="number",
                )
            )
    return found


def _added(facts: list[Fact]) -> _Counted:
    return _Counted(sum((fact.value or Decimal(0) for fact in facts), Decimal(0)), facts)


def _alike(one: str, other: str) -> bool:
    """ "screw" and "pedicle-screw" may be the same pieces."""
    return one == other or one.endswith(f"-{other}") or other.endswith(f"-{one}")


def _stays(note: OperativeNote, fact: Fact) -> bool:
    """ "One screw was left in place": told of what came out no more."""
    behind = [token.norm for passage in note.sections.description if passage.holds(fact)
              for token in read(passage)[fact.evidence.last - passage.evidence.first + 1 :]]  # fmt: skip
    return bool(_STAYED & set(behind[:_NEAR]))


_NEAR = 5  # tokens


def _left_is_told(note: OperativeNote, facts: list[Fact]) -> bool:
    """Whether a sentence of these counts, or the one behind it, tells that something stayed."""
    passages = note.sections.description
    held = {at for at, passage in enumerate(passages) for fact in facts if passage.holds(fact)}
    return any(
        token.norm in _STAYED
        for at in held for passage in passages[at : at + 2] for token in read(passage)
    )  # fmt: skip


def _some_of(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """ "Three of the four screws were removed", "two implants were in place, one was explanted"."""
    found: list[Finding] = []
    counts = [fact for fact in note.of("device_count") if fact.value is not None]
    for passage in note.sections.description:
        tokens = read(passage)
        if not any(token.norm in _out_or_in.OUT for token in tokens):
            continue
        for at, some, whole in _shares(tokens, passage, counts):
            if some >= (whole.value or 0) or any(token.norm in _STAYED for token in tokens):
                continue
            made = finding(
                "explanted",
                "warning",
                f"{some} of {shown(whole)} {called(whole, grammar)} came out.",
                [whole],
                arithmetic=f"{shown(whole)} - {some} = {plain((whole.value or Decimal(0)) - some)} left",
                ask="Say what stayed in.",
                about=f"w{passage.evidence.first + at}",
            )
            found.append(placed(made, passage.evidence))
    return found


def _shares(tokens: tuple[Token, ...], passage: Passage, counts: list[Fact]) -> Iterator[tuple[int, int, Fact]]:
    """(place, how many came out, the count that they are of)."""
    for at, token in enumerate(tokens):
        number = count(token)
        if number is None:
            continue
        behind = [one.norm for one in tokens[at + 1 : at + 5]]
        word = passage.evidence.first + token.first
        if behind[:1] == ["of"] and any(word in _out_or_in.OUT for word in (one.norm for one in tokens[at:])):
            whole = next((fact for fact in counts if word < fact.evidence.first <= word + _NEAR), None)
        elif behind[:1] in (["was"], ["were"], ["came"]) and _out_or_in.OUT & set(behind[1:3]):
            told = [fact for fact in counts if passage.evidence.first <= fact.evidence.last < word]
            whole = told[-1] if told else None
        else:
            continue
        if whole is not None and whole.role != "used":
            yield at, number, whole


def _exchanged(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """ "Four screws out and five in, one for one"."""
    found: list[Finding] = []
    for passage in note.sections.description:
        words = [token.norm for token in read(passage)]
        if not any(tuple(words[at : at + 3]) in _IN_EXCHANGE for at in range(len(words))):
            continue
        here = [fact for fact in note.of("device_count", given=True) if passage.holds(fact) and fact.value is not None]
        out = _added([fact for fact in here if fact.role == "explanted"])
        put = _added([fact for fact in here if fact.role == "implanted"])
        if out.facts and put.facts and out.facts[0].name == put.facts[0].name and out.number != put.number:
            found.append(
                finding(
                    "explanted", "warning",
                    f"{plain(out.number)} of {called(out.facts[0], grammar)} came out and {plain(put.number)} went in, "
                    "said to be one for one.",
                    out.facts + put.facts, arithmetic=f"out {plain(out.number)}, in {plain(put.number)}",
                    ask="Say how many came out and how many went in.", about="exchange",
                )
            )  # fmt: skip
    return found
