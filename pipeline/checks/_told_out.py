"""Things that came out, told place by place over several sentences, against their number: "Anterior: 3 out. Posterior:
2 out. Five loose bodies, the largest nine millimetres"."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.checks import base
from pipeline.checks._spoken_counts import count
from pipeline.note import OperativeNote, Passage

_OUT = frozenset({"out", "removed", "retrieved", "extracted"})
_NOUNS = frozenset({"bodies", "fragments", "stones", "pieces"})
_NEAR = 2  # tokens from a count to its noun: "five loose bodies"


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
            elif behind[0] in _OUT:
                parts.append(number)
