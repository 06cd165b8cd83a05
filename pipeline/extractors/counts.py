"""Swab, needle and instrument counts: what was counted, and whether it is right.

A result ("correct", "one short", "pending") is of the things told right before it, else of those right behind it; one
statement's things are never another's ("swab count correct, needle count pending"). A count that is still to be done
has no result and makes no fact: `checks/count_result` speaks of it. A count that was off and came right is right.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from pipeline import clauses, cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence

KINDS = ("count",)

_REACH = 60
_ITEM_REACH = 24  # "swabs and needles correct"
_SORTS = {
    "swabs": frozenset("sponge sponges swab swabs lap laps laparotomy gauze gauzes".split()),
    "needles": frozenset("needle needles sharp sharps blade blades".split()),
    "instruments": frozenset({"instrument", "instruments", "instr"}),
}
_ITEMS = frozenset().union(*_SORTS.values()) | {"count", "counts", "count's", "patties", "pledgets", "packs", "pack"}
_ALONE = {"swabs": "swab", "needles": "needle", "instruments": "instrument"}
# What was counted -> row of grammars/counts.toml; of one sort alone its own row is found.
_ROWS = {
    ("needles", "instruments"): "needle-and-instrument", ("swabs", "needles"): "swabs-and-needles",
    ("swabs", "instruments"): "swabs-and-instruments",
    ("swabs", "needles", "instruments"): "swabs-needles-instruments",
}  # fmt: skip
# Words that stand between the things of one count: "swab count and needle count", "swabs, needles and instruments".
_JOINS = frozenset("and or & + plus the all final first second closing surgical were was are is of both small".split())
# A count of something else: of cells in a laboratory, and a needle that is a tool.
_OTHER_BEFORE = frozenset("cell cells platelet platelets white blood nucleated colony cfu sperm follicle".split())
_TOOL = frozenset("holder holders driver drivers tip tips track gauge biopsy aspiration puncture size length".split())
_NONE = frozenset("no nothing none without nor never not".split())
_DENIED = frozenset("without never not don't doesn't didn't isn't wasn't aren't weren't".split())
_LINKS = frozenset("was were is are wasn't weren't isn't aren't".split())
_TALLY = 8  # tokens
_TALLYING = frozenset("in and counted were was went came all , :".split())
_STROKE = re.compile(r"(\d{1,3})/(\d{1,3})[.,;]?")
_SETTLED = frozenset("found recovered located retrieved final second third last recount recounted repeat repeated then"
                     " now again closing".split())  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Result:
    first: int
    last: int
    text: str  # "correct", "incorrect", "undone"
    numbers: tuple[int, ...] = ()  # tokens of what was counted in and out


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        items = _items(sentence)
        if not items:
            continue
        results = _results(sentence, items, grammar)
        results = sorted([*results, *_tallies(reading, sentence, items, results)], key=lambda one: one.first)
        facts += _of_sentence(reading, sentence, items, results)
    return facts


def _of_sentence(reading: Reading, sentence: Sentence, items: list[int], results: list[_Result]) -> list[Fact]:
    facts: list[Fact] = []
    before, told = -1, -1
    for place, result in enumerate(results):
        following = results[place + 1].first if place + 1 < len(results) else len(sentence.tokens)
        own = _told_before(sentence, items, before, result) or _told_behind(sentence, items, result, following)
        before = max(result.last, own[-1] if own else 0)
        if not own or result.text == "undone":
            continue
        if facts and facts[-1].text == "incorrect" and result.text == "correct" and _came_right(sentence, told, result):
            facts.pop()
        first, last = min(own[0], result.first), max(own[-1], result.last)
        facts.append(_fact(reading, sentence, first, last, result, _name(sentence, own, first, last)))
        told = result.last
    return _said_together(facts)


def _fact(reading: Reading, sentence: Sentence, first: int, last: int, result: _Result, name: str) -> Fact:
    fields = {"name": name, "text": result.text, "status": "performed", "certainty": "affirmed"}
    if not result.numbers:
        return base.make("count", reading, sentence, first, last, **fields)
    one, *others = result.numbers
    rest = tuple((sentence.tokens[at].first, sentence.tokens[at].last) for at in others)
    return base.claim("count", reading, sentence, one, first, last, 0, value=None, low=None, high=None, unit=None,
                      rest=rest, **fields)  # fmt: skip


def _items(sentence: Sentence) -> list[int]:
    """Indexes of the words that may be counted, or say that something was."""
    tokens = sentence.tokens
    if not sentence.says(_ITEMS):
        return []
    return [
        at for at, token in enumerate(tokens)
        if token.norm in _ITEMS
        and not (at and tokens[at - 1].norm in _OTHER_BEFORE)
        and not (at + 1 < len(tokens) and tokens[at + 1].norm in _TOOL)
    ]  # fmt: skip


def _results(sentence: Sentence, items: list[int], grammar: Grammar) -> list[_Result]:
    tokens = sentence.tokens
    found = [_Result(hit.first, hit.last, "undone") for hit in cues.hits(sentence, grammar, "count-undone")]
    for hit in cues.hits(sentence, grammar, "count-incorrect"):
        denied = [at for at in range(max(0, hit.first - 3), hit.first) if tokens[at].norm in _NONE]
        found.append(_Result(min([hit.first, *denied]), hit.last, "correct" if denied else "incorrect"))
    taken = {at for one in found for at in range(one.first, one.last + 1)}
    for hit in cues.hits(sentence, grammar, "count-correct"):
        if not taken & {hit.first, hit.last}:
            near = 1 if hit.first and tokens[hit.first - 1].norm in _OTHER_DONE else 2  # "bone not sent counts right"
            turned = any(token.norm in _DENIED for token in tokens[max(0, hit.first - near) : hit.first])
            found.append(_Result(hit.first, hit.last, "incorrect" if turned else "correct"))
    found += [one for one in _short(sentence, items) if not taken & {one.first}]
    found.sort(key=lambda one: one.first)
    return sorted([*found, *_cut_short(sentence, items, found)], key=lambda one: one.first)


def _short(sentence: Sentence, items: list[int]) -> list[_Result]:
    """ "Needles/swabs x2 ok", "swabs good": one word right behind the thing, or behind how often it was counted."""
    made = []
    for at in items:
        place = at + 1
        times = sentence.tokens[place].quantity if place < len(sentence.tokens) else None
        place += times is not None and times.form == "times"
        if place < len(sentence.tokens) and sentence.tokens[place].norm in _FINE and (
            place + 1 == len(sentence.tokens) or sentence.tokens[place + 1].punctuation
            or sentence.tokens[place + 1].norm in _NEXT or place + 1 in clauses.starts(sentence)
            or any(m.first == place + 1 for m in sentence.mentions)
        ):
            made.append(_Result(place, place, "correct"))
    return made


_NEXT = frozenset("it's that's we i no so and then off back he she sling home plan".split())
_FINE = frozenset({"ok", "okay", "good", "fine", "right"})
_OTHER_DONE = frozenset("sent needed used kept done taken placed given inserted required inflated opened".split())


def _cut_short(sentence: Sentence, items: list[int], found: list[_Result]) -> list[_Result]:
    """ "The swabs were correct but the needle count was not": the word that was said before is denied."""
    tokens = sentence.tokens
    made = []
    for at in items:
        link = at + 1
        if link >= len(tokens) or tokens[link].norm not in _LINKS or not any(one.last < at for one in found):
            continue
        end = link if tokens[link].norm.endswith("n't") else link + 1
        if end < len(tokens) and (tokens[end].norm == "not" or end == link) and (
            end + 1 == len(tokens) or tokens[end].punctuation or tokens[end + 1].punctuation or
            tokens[end + 1].norm in ("and", "but", "so")
        ):  # fmt: skip
            made.append(_Result(link, end, "incorrect"))
    return made


def _tallies(reading: Reading, sentence: Sentence, items: list[int], results: list[_Result]) -> list[_Result]:
    """ "Needles four in three out", "swabs 10/10": as many out as in is right, unless the result is said as well."""
    made = []
    for at in items:
        tally = _in_and_out(sentence, at) or _over_a_stroke(reading, sentence, at)
        if tally is None:
            continue
        last, agree, counted = tally
        said = next((one.first for one in results if one.first > last), None)
        if not agree or said is None or not _joined(sentence, last, said, _ITEMS):
            made.append(_Result(at, last, "correct" if agree else "incorrect", counted))
    return made


def _in_and_out(sentence: Sentence, item: int) -> tuple[int, bool, tuple[int, ...]] | None:
    """(last token, whether as many came out as went in, where the numbers stand) of "swabs five in and four out"."""
    tokens = sentence.tokens
    start = item - 1 if item and _whole(sentence, item - 1) is not None else item + 1
    told: list[int] = []
    places: list[int] = []
    for at in range(start, min(start + _TALLY, len(tokens))):
        number, word = _whole(sentence, at), tokens[at].norm
        if number is not None:
            told.append(number)
            places.append(at)
        elif word == "out":
            return (at, told[0] == told[1], tuple(places)) if len(told) == 2 else None
        elif word == "in" and len(told) != 1 or word not in _TALLYING and at != item:
            return None
    return None


def _over_a_stroke(reading: Reading, sentence: Sentence, item: int) -> tuple[int, bool, tuple[int, ...]] | None:
    at = item + 1
    while at < len(sentence.tokens) and sentence.tokens[at].norm in (":", "count", "counts"):
        at += 1
    pair = _STROKE.fullmatch(reading.words[sentence.tokens[at].first].text) if at < len(sentence.tokens) else None
    return (at, int(pair[1]) == int(pair[2]), ()) if pair else None


def _whole(sentence: Sentence, at: int) -> int | None:
    quantity = sentence.tokens[at].quantity
    plain = quantity is not None and quantity.form == "number" and quantity.unit is None and quantity.value is not None
    return int(quantity.value) if plain and quantity is not None and quantity.value is not None else None


def _told_before(sentence: Sentence, items: list[int], before: int, result: _Result) -> list[int]:
    """The things counted right before a result, in order: back from the nearest while they are told in one list."""
    free = [at for at in items if before < at <= result.last]
    if not free or not _near(sentence, free[-1], result):
        return []
    own = [free.pop()]
    while free and _joined(sentence, free[-1], own[0]):
        own.insert(0, free.pop())
    return own


def _told_behind(sentence: Sentence, items: list[int], result: _Result, following: int) -> list[int]:
    """ "Correct counts", "counts correct: swabs, needles"; not what the next result is of."""
    free = [at for at in items if result.last < at < following]
    if not free or not _near(sentence, free[0], result):
        return []
    own = [free.pop(0)]
    while free and _joined(sentence, own[-1], free[0]):
        own.append(free.pop(0))
    return [] if following < len(sentence.tokens) and _joined(sentence, own[-1], following) else own


def _near(sentence: Sentence, item: int, result: _Result) -> bool:
    reach = _REACH if sentence.tokens[item].norm in ("count", "counts") else _ITEM_REACH
    return cues.gap(sentence, min(item, result.last), max(item, result.first)) <= reach


def _joined(sentence: Sentence, one: int, other: int, also: frozenset[str] = frozenset()) -> bool:
    return all(
        token.punctuation or token.norm in _JOINS or token.norm in also or token.quantity is not None
        for token in sentence.tokens[one + 1 : other]
    )


def _came_right(sentence: Sentence, told: int, result: _Result) -> bool:
    return any(token.norm in _SETTLED for token in sentence.tokens[told + 1 : result.first])


def _name(sentence: Sentence, own: list[int], first: int, last: int) -> str:
    """The row of what was counted: of the sorts that were named, else of the counts as such."""
    norms = {sentence.tokens[at].norm for at in own}
    sorts = tuple(sort for sort, words in _SORTS.items() if words & norms)
    if len(sorts) > 1:
        return _ROWS[sorts]
    if sorts:
        return "sponge" if norms & {"sponge", "sponges"} else _ALONE[sorts[0]]
    said = (one.id for one in base.mentions(sentence, "counts") if first <= one.last and one.first <= last)
    return "correct" if next(said, "") == "correct" else "count"


def _said_together(facts: list[Fact]) -> list[Fact]:
    """ "Swabs correct, needles correct": two of a sentence with one result stay two; the same thing twice is one."""
    kept: list[Fact] = []
    for fact in facts:
        same = next((at for at, one in enumerate(kept) if (one.name, one.text) == (fact.name, fact.text)), None)
        if same is None:
            kept.append(fact)
        else:
            kept[same] = replace(kept[same], also=(*kept[same].also, fact.evidence))
    return kept
