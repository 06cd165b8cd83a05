"""Things that came out, told place by place over several sentences, against their number: "Anterior: 3 out. Posterior:
2 out. Five loose bodies, the largest nine millimetres"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pipeline.checks import base
from pipeline.checks._spoken_counts import JOINS, PLACES, count
from pipeline.note import OperativeNote, Passage
from pipeline.records import Token

_OUT = frozenset({"out", "removed", "retrieved", "extracted"})
_NOUNS = frozenset({"bodies", "fragments", "stones", "pieces", "polyps", "nodules", "teeth", "fibroids", "calculi"})
_NEAR = 2  # tokens from a count to its noun: "five loose bodies"


_SINGLE = {"body": "bodies", "fragment": "fragments", "stone": "stones", "piece": "pieces", "polyp": "polyps",
           "nodule": "nodules", "tooth": "teeth", "fibroid": "fibroids"}  # fmt: skip
_MORE = frozenset("another further more second third fourth one other a an new also again".split())


def more_out(note: OperativeNote) -> Iterator[tuple[Passage, int, str, str]]:
    """(passage, number, noun, what was told before) of things of which more came out than were told of: "3 stones ...
    5 stones out". Pure."""
    told: dict[str, list[int]] = {}
    outs: dict[str, list[int]] = {}
    spare = 0
    for passage in note.sections.description:
        tokens = base.read(passage)
        for at, token in enumerate(tokens[:-1]):
            number = count(token)
            spare += token.norm in _MORE
            spare += _more_of_them(tokens, at)
            if number is None:
                continue
            behind = [one.norm for one in tokens[at + 1 : at + 1 + _NEAR]]
            noun = next((norm for norm in behind if norm in _NOUNS), "")
            for norm in behind if number == 1 else ():
                if norm in _SINGLE:  # "1 loose body ..., 2 loose bodies"
                    told.setdefault(_SINGLE[norm], []).append(1)
            if number < _NEAR or not noun:
                continue
            before = told.setdefault(noun, [])
            end = next(place for place in range(at + 1, len(tokens)) if tokens[place].norm == noun)
            ahead = [one.norm for one in tokens[end + 1 : end + 3] if one.norm not in ("were", "was")]
            out = ahead[:1] and ahead[0] in _OUT
            if ahead[:1] == ["sent"]:  # "two loose bodies removed ... three loose bodies were sent to pathology"
                there = before or outs.get(noun, [])
                if there and number > sum(there) + spare:
                    yield passage, number, noun, f"{' + '.join(map(str, there))} were told, said to be sent: {number}"
                continue
            if out:
                outs.setdefault(noun, []).append(number)
            if out and before and number > sum(before) + spare:
                yield passage, number, noun, f"{' + '.join(map(str, before))} were told, said to be out: {number}"
            if not out:
                before.append(number)
                spare = 0


def _more_of_them(tokens: Sequence[Token], at: int) -> int:
    """ "2 loose bodies from the pouch, 1 from behind the gutter": what goes on about them without the noun."""
    behind = tokens[at + 1].norm if at + 1 < len(tokens) else ""
    number = count(tokens[at])
    return number if number is not None and behind in PLACES and at and tokens[at - 1].norm in JOINS else 0


def totals(note: OperativeNote) -> Iterator[tuple[Passage, int, str, str]]:
    """(passage, number, noun, the sum as worked) of each number that the parts told before it do not come to. Pure."""
    parts: list[int] = []
    for passage in note.sections.description:
        tokens = base.read(passage)
        for at, token in enumerate(tokens[:-1]):
            number = count(token)
            if number is None:
                continue
            behind = [one.norm for one in tokens[at + 1 : at + 1 + _NEAR]]
            noun = next((norm for norm in behind if norm in _NOUNS), "")
            if noun and len(parts) > 1:
                if number not in (sum(parts), parts[-1]):
                    yield passage, number, noun, f"{' + '.join(map(str, parts))} = {sum(parts)}, said: {number}"
                parts = []
            elif behind[0] in _OUT and not (at > 1 and tokens[at - 1].norm == "and" and tokens[at - 2].norm == "in"):
                parts.append(number)
