"""Sides: which of left, right and both belongs to a phrase, and when that cannot be told.

Words of side and their look-alikes are rows of grammars/sides.toml, found apart from the mentions, the longest
phrase first. What is decided here:

* "left in place", "left the room", "the right size", a right angle, handedness, positions and directions ("head
  turned to the left", "right lateral decubitus") are no sides.
* Parts of unpaired organs (right atrium, left lobe of the liver, right colon, a quadrant of the abdomen) have a
  side as their name; it is no side of the operation and is not given out.
* A side belongs to the noun phrase that it stands in, else to the one that it follows ("hernia, left", "release of
  the left carpal tunnel"), else to all of its sentence if no other side is said there. A harvest site keeps its side
  to itself. Two sides and no phrase to tell them apart: no side, and a doubt that says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from pipeline import clauses
from pipeline.grammar import Box, Grammar
from pipeline.mentions import fold, split_phrase
from pipeline.records import Laterality, Mention, Sentence
from pipeline.rows import Concept

_RUN_ON = 40  # tokens; in a longer stream of speech a side reaches this far at most:
_REACH = 3


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


# What ends a noun phrase to the left; what may lie between a thing and a side that follows it.
_BREAKS = _words(
    "of in on at to from with for by and or nor but was were is are be been being had has have did then which who "
    "that than through over under into onto around between no not without we i he she they it performed done "
    "presented presents underwent via using after before during while as"
)
_BRIDGE = _words("of the a an to in at on over for from within through into involving about around her his their both")
_HARVEST = _words("harvest harvested harvesting donor aspirated aspirate autograft marrow")


@dataclass(frozen=True, slots=True)
class Side:
    """A word of side at tokens first..last. `value` None: relative ("contralateral")."""

    first: int
    last: int
    value: Laterality | None


@lru_cache(maxsize=4)
def _index(box: Box) -> dict[str, list[tuple[tuple[str, ...], Concept]]]:
    """First folded word -> [(all folded words, row)], longest first."""
    index: dict[str, list[tuple[tuple[str, ...], Concept]]] = {}
    for row in box.grammar.table("sides", Concept).values():
        for phrase in row.say:
            words = tuple(split_phrase(phrase))
            index.setdefault(words[0], []).append((words, row))
    for entries in index.values():
        entries.sort(key=lambda entry: (-len(entry[0]), entry[1].side is None))
    return index


@lru_cache(maxsize=4)
def _site_rows(box: Box) -> dict[str, Concept]:
    return dict(box.grammar.table("sites", Concept))


_KEPT = 256
_known: dict[int, tuple[Sentence, Grammar, list[Side]]] = {}


def sides(sentence: Sentence, grammar: Grammar) -> list[Side]:
    """Words of side in order, without look-alikes. Kept per sentence, since every extractor asks for them."""
    kept = _known.get(id(sentence))
    if kept is not None and kept[0] is sentence and kept[1] is grammar:
        return kept[2]
    if len(_known) >= _KEPT:
        _known.clear()
    found = _sides(sentence, grammar)
    _known[id(sentence)] = (sentence, grammar, found)
    return found


def _sides(sentence: Sentence, grammar: Grammar) -> list[Side]:
    index = _index(Box(grammar))
    folded = [fold(token.norm) for token in sentence.tokens]
    found: list[Side] = []
    at = 0
    while at < len(folded):
        step = 1
        for words, row in index.get(folded[at], ()):
            if tuple(folded[at : at + len(words)]) != words:
                continue
            end = at + len(words) - 1
            side = _read(sentence, grammar, at, end, row)
            if side is not None and not _inside_name(sentence, side):
                found.append(side)
            step = len(words)
            break
        at += step
    return found


def _read(sentence: Sentence, grammar: Grammar, first: int, last: int, row: Concept) -> Side | None:
    if row.group == "eye":
        if not sentence.tokens[first].text.isupper() or not _about_an_eye(sentence, grammar):
            return None
        return Side(first, last, row.side)
    if row.group == "initial":
        alone = sentence.tokens[first].text.isupper() and _beside_sided(sentence, grammar, first)
        return Side(first, last, row.side) if alone else None
    if row.side is not None:
        return Side(first, last, row.side)
    if row.group == "relative":
        return Side(first, last, None)
    if row.group == "with-sided-site":
        return Side(first, last, "bilateral") if _before_sided(sentence, grammar, last) else None
    norms = [token.norm for token in sentence.tokens[max(0, first - 2) : last + 1]]
    if row.id in _NO_NOUN and norms[:2] == ["on", "the"] and norms[3] in _OPENERS:
        # "on the left a sac", "on the right in the recess": what looks like a verb is a noun behind "the"
        return Side(first, first, "left" if sentence.tokens[first].norm == "left" else "right")
    # "turned to the left", "is right": a side after all where a paired part of the body follows at once
    if sentence.tokens[first].norm in ("left", "right") and sentence.tokens[last].norm in _AFTER_TITLE and any(
        m.last == first - 1 and m.table in ("procedures", "diagnoses") for m in sentence.mentions
    ):
        return Side(first, first, "left" if sentence.tokens[first].norm == "left" else "right")
    ends = [index for index in (last, last - 1) if index >= first and sentence.tokens[index].norm in ("left", "right")]
    named = any(token.norm in ("side", "laterality") for token in sentence.tokens[max(0, first - 2) : first])
    if ends and (_before_sided(sentence, grammar, ends[0]) or named):  # "the side is left"
        return Side(ends[0], ends[0], "left" if sentence.tokens[ends[0]].norm == "left" else "right")
    return None


_NO_NOUN = frozenset({"left-behind", "right-size"})
_OPENERS = _words("a an the no some it at in into over under to with as for only")


def _about_an_eye(sentence: Sentence, grammar: Grammar) -> bool:
    for mention in sentence.mentions:
        if mention.table not in ("procedures", "diagnoses", "sites"):
            continue
        row = grammar.tables[mention.table].get(mention.id)
        if isinstance(row, Concept) and (row.group == "eye" or "eye" in (row.site, row.id)):
            return True
    return False


def _beside_sided(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether an initial stands right before a thing that has two sides, or closes its phrase ("TKR, R")."""
    tokens = sentence.tokens
    if at and tokens[at - 1].quantity is not None:  # "1 L"
        return False
    opened = at and tokens[at - 1].norm == "("
    shut = at + 1 < len(tokens) and tokens[at + 1].norm in (")", ".")
    first, last = (at - 1 if opened else at), (at + 1 if shut else at)
    for mention in sentence.mentions:
        if mention.table not in ("procedures", "diagnoses", "sites") or not _sided(mention, grammar):
            continue
        if 0 < mention.first - last <= 3 and not any(token.punctuation for token in tokens[last + 1 : mention.first]):
            return True
        gap = tokens[mention.last + 1 : first]
        if 0 < first - mention.last <= 2 and all(token.punctuation for token in gap) and (
            last + 1 >= len(tokens) or shut or tokens[last + 1].punctuation or tokens[last + 1].norm in _BREAKS
        ):
            return True
    return False


# "partial nephrectomy left for a mass": after the name of an operation it is its side, not the verb.
_AFTER_TITLE = frozenset({"for", "with", "at", "under", "on", "by", "after", "in"})


def _before_sided(sentence: Sentence, grammar: Grammar, at: int) -> bool:
    """Whether a paired part of the body is named within three words after a token, in the same noun phrase."""
    rows = _site_rows(Box(grammar))
    for index in range(at + 1, min(at + 5, len(sentence.tokens))):
        token = sentence.tokens[index]
        if token.punctuation or (token.norm in _BREAKS and token.norm != "of"):
            return False
        for mention in sentence.mentions:
            if mention.first == index and mention.table == "sites" and mention.id in rows and rows[mention.id].sided:
                return True
            if mention.first == index and mention.table in ("diagnoses", "procedures") and _sided(mention, grammar):
                return True
    return False


def _sided(mention: Mention, grammar: Grammar) -> bool:
    row = grammar.tables[mention.table].get(mention.id)
    if not isinstance(row, Concept):
        return False
    within = _site_rows(Box(grammar)).get(row.site) if row.site else None
    return row.sided or (within is not None and within.sided)


def _inside_name(sentence: Sentence, side: Side) -> bool:
    """Whether the word is part of a longer name that is no paired thing ("right upper quadrant", "left lateral")."""
    return any(
        mention.first <= side.first
        and side.last <= mention.last
        and mention.last - mention.first > side.last - side.first
        and mention.table in ("sites", "positions", "handedness", "idioms", "events", "closures", "team")
        for mention in sentence.mentions
    )


def side_for(
    sentence: Sentence, first: int, last: int, grammar: Grammar, *, own_only: bool = False
) -> tuple[Laterality | None, str | None]:
    """(side of the phrase at tokens first..last, doubt in plain words). `own_only`: from its own phrase alone."""
    found = sides(sentence, grammar)
    if not found:
        return None, None
    for side in found:
        if side.first <= last and side.last >= first:
            return _given(side)
    beside = _phrase_before(sentence, found, first) or _phrase_after(sentence, found, last)
    if beside is not None:
        return _given(beside)
    if own_only:
        return None, None
    return _of_sentence(sentence, found, first, last, grammar)


def only_side(sentence: Sentence, first: int, last: int, grammar: Grammar) -> Laterality | None:
    """The side said within tokens first..last, if it is one and the same."""
    values = {side.value for side in sides(sentence, grammar) if first <= side.first and side.last <= last}
    return values.pop() if len(values) == 1 else None


def _given(side: Side) -> tuple[Laterality | None, str | None]:
    if side.value is None:
        return None, "the side is only said in relation to another one"
    return side.value, None


def _phrase_before(sentence: Sentence, found: list[Side], first: int) -> Side | None:
    ends = {side.last: side for side in found}
    for index in range(first - 1, max(-1, first - 7), -1):
        if index in ends:
            return ends[index]
        token = sentence.tokens[index]
        if token.punctuation or token.norm in _BREAKS or token.quantity is not None:
            return None
    return None


def _phrase_after(sentence: Sentence, found: list[Side], last: int) -> Side | None:
    starts = {side.first: side for side in found}
    tokens = sentence.tokens
    sites = {index for m in sentence.mentions if m.table == "sites" for index in range(m.first, m.last + 1)}
    named = {m.first for m in sentence.mentions if m.table not in ("sites", "sides")}
    end = clauses.bounds(sentence, last)[1]
    for index in range(last + 1, min(last + 9, end)):
        if index in starts:
            return starts[index]
        token = tokens[index]
        if token.norm in (",", "(", "-", ":"):
            if index + 1 in starts or (index + 2 in starts and tokens[index + 1].norm in ("on", "the")):
                after = starts.get(index + 1) or starts[index + 2]
                return after if _closes(sentence, after) else None
            return None
        if index in sites or token.norm in _BRIDGE:
            continue
        if token.punctuation or index in named or token.norm in _BREAKS or index > last + 4:
            return None
    return None


def _closes(sentence: Sentence, side: Side) -> bool:
    """Whether a side after a comma ends its phrase ("hernia, left.") and does not open the next one."""
    after = side.last + 1
    return after >= len(sentence.tokens) or sentence.tokens[after].punctuation or sentence.tokens[after].norm in _BREAKS


def _of_sentence(
    sentence: Sentence, found: list[Side], first: int, last: int, grammar: Grammar
) -> tuple[Laterality | None, str | None]:
    is_site = any(m.table == "sites" and m.first <= last and m.last >= first for m in sentence.mentions)
    free: list[Side] = []
    title = _title_end(sentence)
    for side in found:
        if side.value is None:
            continue
        site = _bound_to(sentence, side)
        if site is not None and (is_site or is_harvest(sentence, site)):
            continue
        stream = len(sentence.tokens) > _RUN_ON
        both_in_title = max(side.last, last) < title
        close = _distance(side, first, last) <= _REACH and not clauses.parted(sentence, side.first, first)
        if stream and not both_in_title and not close:
            continue
        free.append(side)
    values = {side.value for side in free}
    if len(values) == 1:
        return (None if _points_elsewhere(sentence, found, first, last) else free[0].value), None
    if not values:
        return None, None
    near = sorted(free, key=lambda side: _distance(side, first, last))
    clause = [side for side in near if _same_clause(sentence, side, first, last)]
    if clause and len({side.value for side in clause}) == 1:
        return clause[0].value, None
    shared = _of_list(sentence, found, first, last)
    if shared is not None:
        return shared, None
    return None, "more than one side is said here"


def _of_list(sentence: Sentence, found: list[Side], first: int, last: int) -> Laterality | None:
    """The one side of a list that a name stands in: "left excision and node biopsy, right reduction"."""
    before, after = _along(sentence, found, first, -1), _along(sentence, found, last, 1)
    return before if after is None else after if before is None else None


def _along(sentence: Sentence, found: list[Side], start: int, step: int) -> Laterality | None:
    """The side at which a list of names ends, from one of its names on."""
    sides = {index: side for side in found for index in range(side.first, side.last + 1)}
    named = {index for m in sentence.mentions if m.table in ("procedures", "acts", "sites", "diagnoses")
             for index in range(m.first, m.last + 1)}  # fmt: skip
    index, spare, listed = start + step, 1, False
    while 0 <= index < len(sentence.tokens):
        if index in sides:
            return sides[index].value if listed else None
        norm = sentence.tokens[index].norm
        listed = listed or norm in ("and", "with", "plus")
        if index not in named and norm not in ("and", "with", "plus", "of"):
            spare -= 1
            if spare < 0 or sentence.tokens[index].punctuation or norm in _BREAKS:
                return None
        index += step
    return None


def _points_elsewhere(sentence: Sentence, found: list[Side], first: int, last: int) -> bool:
    """Whether the phrase has a direction of its own ("deviated to the left, spur on the right")."""
    sides = {index for side in found for index in range(side.first, side.last + 1)}
    for step, index in ((-1, first - 1), (1, last + 1)):
        while 0 <= index < len(sentence.tokens) and not sentence.tokens[index].punctuation:
            if sentence.tokens[index].norm in ("left", "right") and index not in sides:
                return sentence.tokens[index - 1].norm == "the"
            if index in sides:
                break
            index += step
    return False


def _title_end(sentence: Sentence) -> int:
    """Where the title of a stream of speech ends: at the patient or the team, after 25 tokens at most. Only what the
    narration begins with, or a procedure's own section, has one."""
    if sentence.index > 2 and sentence.section != "procedure":
        return 0
    for index, token in enumerate(sentence.tokens[:25]):
        if token.norm in _PERSONS:
            return index
    return 25


_PERSONS = _words("mister missus miss mr mrs ms doctor dr patient surgeon")


def _distance(side: Side, first: int, last: int) -> int:
    return max(side.first - last, first - side.last, 0)


def _same_clause(sentence: Sentence, side: Side, first: int, last: int) -> bool:
    low, high = min(side.last, last), max(side.first, first)
    return not any(sentence.tokens[index].punctuation or sentence.tokens[index].norm in ("and", "then", "while")
                   for index in range(low + 1, high))  # fmt: skip


def _bound_to(sentence: Sentence, side: Side) -> Mention | None:
    """The site that a side belongs to: the next one in its noun phrase, else the one just before."""
    for index in range(side.last + 1, min(side.last + 6, len(sentence.tokens))):
        token = sentence.tokens[index]
        if token.punctuation or token.norm in _BREAKS:
            break
        for mention in sentence.mentions:
            if mention.table == "sites" and mention.first == index:
                return mention
    for mention in sentence.mentions:
        if mention.table == "sites" and 0 < side.first - mention.last <= 2:
            return mention
    return None


def is_harvest(sentence: Sentence, site: Mention) -> bool:
    """Whether a site is where marrow or graft was taken, not where the operation was done."""
    if "iliac-crest" in site.id:
        return True
    near = {token.norm for token in sentence.tokens[max(0, site.first - 8) : site.first]}
    wide = {token.norm for token in sentence.tokens[max(0, site.first - 14) : site.first]}
    return "from" in near and bool(wide & _HARVEST)
