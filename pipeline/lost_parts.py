"""One of several that did not stay: "three anchors, one of which pulled out", "six screws. One stripped and came out".

How many are in was not said then: whether the number counts the lost one, and whether another took its place. The
number stays, in doubt, and what is told of the one is not told of all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from pipeline.clauses import word_set as _words
from pipeline.extractors import base
from pipeline.numerals import SMALL
from pipeline.records import Fact, Reading, Sentence, replace

_FAULTS = _words(
    "failed broke wasted discarded dropped lost stripped removed replaced exchanged changed swapped misfired "
    "contaminated unused returned desterilised desterilized loosened bent cracked displaced snapped sheared explanted "
    "redone repositioned binned"
)
_OUT = frozenset({
    ("pulled", "out"), ("came", "out"), ("cut", "out"), ("backed", "out"), ("fell", "out"), ("taken", "out"),
    ("popped", "out"), ("pulled", "through"), ("cut", "through"), ("thrown", "away"), ("came", "loose"),
    ("not", "used"), ("not", "needed"), ("not", "hold"), ("not", "bite"), ("not", "engage"), ("not", "deploy"),
    ("didn't", "hold"), ("didn't", "bite"), ("didn't", "engage"), ("didn't", "deploy"), ("no", "hold"),
    ("pulling", "out"), ("coming", "out"), ("to", "discard"), ("fell", "on"),
})  # fmt: skip
_BETWEEN = _words(
    "was were is had has got then did has been being which that of them these those the to be unfortunately however "
    "just only medial lateral anterior posterior proximal distal screw screws anchor anchors one"
)
_LEADS = _words("dropped lost wasted discarded broke removed replaced exchanged changed swapped stripped binned")
_TO_VERBS = _words("discard remove replace exchange change swap redo")
_MOST = 6
_REACH = 8  # tokens from "one" to what became of it
_LED_BY = _words("and but , ; . ( - the that although though with where unfortunately however last first other")


@dataclass(frozen=True)
class _Loss:
    """`at`: token index of "one" in the sentence; `many`: how many; `words`: what became of it."""

    at: int
    many: int
    words: str


def leave_the_rest(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts; a count of which a part was lost is doubted and keeps its role. Pure."""
    told = list(facts)
    before: Sentence | None = None
    for sentence in reading.sentences:
        for loss in _losses(sentence):
            _mark(told, reading, sentence, before, loss)
        before = sentence if sentence.tokens else before
    return told


def _mark(facts: list[Fact], reading: Reading, sentence: Sentence, before: Sentence | None, loss: _Loss) -> None:
    word = sentence.tokens[loss.at].first
    since = (before or sentence).tokens[0].first
    counts = [
        at for at, fact in enumerate(facts)
        if fact.kind == "device_count" and fact.status == "performed" and since <= fact.evidence.last < word
        and fact.value is not None
    ]  # fmt: skip
    last = max(counts, key=lambda at: facts[at].evidence.last, default=None)
    if last is None or (facts[last].value or Decimal(0)) <= loss.many:
        return
    counted = facts[last]
    if counted.evidence.last < sentence.tokens[0].first and loss.at > 1:
        return  # in another sentence only where this one begins with it
    if any(fact.kind == "device" and counted.evidence.last < fact.evidence.first < word for fact in facts
           if fact.group != counted.group and fact.evidence.heard.rstrip(",.;:").endswith("s")):  # fmt: skip
        return  # of those; "eight screws in the plate, two stripped" is of the screws
    restored = counted.role in ("explanted", "not_used") and not _told_of_all(sentence, counted, loss)
    doubt = f"'{loss.words}' is said of {loss.many} of them: how many are in was not said"
    for at, fact in enumerate(facts):
        same = fact is counted or (fact.kind == "device" and fact.group == counted.group)
        if same and restored and fact.role == counted.role:
            facts[at] = replace(fact, role="implanted", certainty="affirmed")
    counted = facts[last]
    rest = _rest(sentence, loss, counted)
    if rest is not None:
        facts[last] = replace(counted, value=rest[0], also=(*counted.also, counted.evidence),
                              evidence=base.token_evidence(reading, sentence, rest[1], rest[1]))  # fmt: skip
    elif counted.role == "implanted" and counted.certainty == "affirmed":
        facts[last] = replace(counted, doubts=(*counted.doubts, doubt))


def _rest(sentence: Sentence, loss: _Loss, counted: Fact) -> tuple[Decimal, int] | None:
    """ "... so five are in her": how many stayed, where that is what was there less what was lost, and the token."""
    if counted.role != "implanted" or counted.certainty != "affirmed" or counted.value is None:
        return None
    tokens = sentence.tokens
    for at in range(loss.at + 1, len(tokens) - 1):
        led = tokens[at - 1].norm in _SO or (tokens[at - 1].norm in ("with", "that") and tokens[at - 2].norm in _SO)
        many = _few(tokens[at].text.lower(), _MANY)
        if led and many is not None and many == counted.value - loss.many and tokens[at + 1].norm in _STAY:
            return Decimal(many), at
    return None


_SO, _STAY = _words("so leaving leaves left making thus"), _words("are in remain stayed remained left stay remaining")
_MANY = 30


def _told_of_all(sentence: Sentence, counted: Fact, loss: _Loss) -> bool:
    """Whether a word for a fault stands between the number and "one", so that it is of all: "three opened, dropped".
    """
    return any(token.norm in _FAULTS | {"opened"} for token in sentence.tokens[: loss.at]
               if token.first > counted.evidence.last)  # fmt: skip


def _losses(sentence: Sentence) -> Iterator[_Loss]:
    tokens = sentence.tokens
    norms = [token.norm for token in tokens]
    for at, token in enumerate(tokens):
        many = _few(token.text.lower())
        if many is None and token.norm == "another" and at and norms[at - 1] in _LED_BY:
            many = 1
        if many is None or (token.quantity is not None and token.quantity.unit is not None):
            continue
        if at and norms[at - 1] in _LEADS and (at < 2 or norms[at - 2] not in ("not", "was", "were", "never")):
            yield _Loss(at, many, norms[at - 1])
            continue
        if at > 1 and norms[at - 1] in _TO_VERBS and norms[at - 2] == "to":
            yield _Loss(at, many, f"to {norms[at - 1]}")
            continue
        beside = at > 1 and tokens[at - 2].quantity is not None and norms[at - 1].endswith("s")
        if at and norms[at - 1] not in _LED_BY and not beside:
            continue
        for here in range(at + 1, min(at + 1 + (1 if beside else _REACH), len(norms))):  # "six anchors one pulled out"
            pair = (norms[here], norms[here + 1] if here + 1 < len(norms) else "")
            if norms[here] in _FAULTS or pair in _OUT:
                yield _Loss(at, many, " ".join(pair) if pair in _OUT else norms[here])
                break
            if norms[here] not in _BETWEEN and not (norms[here] == "not" and pair in _OUT):
                break


def _few(word: str, most: int = _MOST) -> int | None:
    value = SMALL.get(word) if word.isalpha() else int(word) if word.isdigit() and word.isascii() else None
    return value if value is not None and 0 < value < most else None
