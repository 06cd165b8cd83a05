"""Operations by the shape of their words, where no row names them: the words of grammars/operation_words.toml and the
phrase that they stand in ("core biopsy of the right breast")."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from pipeline import laterality, rephrased, story
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.mentions import fold, folded
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Concept


@dataclass(frozen=True, slots=True)
class _Words:
    endings: tuple[str, ...]
    title_endings: tuple[str, ...]
    nouns: frozenset[tuple[str, ...]]
    title_nouns: frozenset[tuple[str, ...]]


@lru_cache(maxsize=4)
def _words(grammar: Grammar) -> _Words:
    said: dict[str, list[str]] = {}
    for row in grammar.table("operation_words", Concept).values():
        said.setdefault(row.group, []).extend(row.say)
    nouns, named = (
        frozenset(tuple(fold(word) for word in name.split()) for name in said.get(group, ()))
        for group in ("noun", "title-noun")
    )
    return _Words(tuple(said.get("ending", ())), tuple(said.get("title-ending", ())), nouns, named)


_SHORTEST = 9  # letters of a word that ends so ("lobectomy"), so that no ending is a word by itself


def heads(sentence: Sentence, grammar: Grammar, *, title: bool) -> list[int]:
    """The tokens that name what is done and that no operation of the grammar covers. `title`: also words that do so in
    a title only."""
    known: dict[bool, list[int]] = sentence.memo.setdefault("operation-words", {})
    if title not in known:
        known[title] = _heads(sentence, _words(grammar), title=title)
    return known[title]


def _heads(sentence: Sentence, words: _Words, *, title: bool) -> list[int]:
    endings = (*words.endings, *words.title_endings) if title else words.endings
    norms = folded(sentence)
    heading = title and (sentence.index == 0 or sentence.section == "procedure")
    named = words.nouns | words.title_nouns if heading else words.nouns
    found = [
        at for at, norm in enumerate(norms)
        if (norm,) in named or (at and norms[at - 1 : at + 1] in named)
        or (norm.endswith(endings) and norm.isalpha() and len(norm) >= _SHORTEST)
    ]  # fmt: skip
    if not found:
        return found
    covered = {at for m in sentence.mentions if m.table in _NAMES for at in range(m.first, m.last + 1)}
    before = {m.first - 1 for m in sentence.mentions if m.table == "procedures"}  # "revision arthroscopy"
    return [at for at in found if at not in covered | before]


# What names the thing itself, or uses the word for something else.
_NAMES = frozenset({"procedures", "anaesthesia", "diagnoses", "complications", "positions", "approaches", "aftercare",
                    "drugs", "guidance"})  # fmt: skip
_STOPS = frozenset(
    "of in on at to from with for by and or nor but was were is are be been being had has have did do does doing then "
    "think thinking thought about "
    "which who that than through over under into onto we i he she they it a an the his her their my our this these "
    "performed made make makes making perform performing carried underwent today now here just also first next second "
    "procedure operation procedures operations op surgery title after before via using plus so because if when no not "
    "patient mister missus miss mr mrs ms doctor dr including included proceed proceeded proceeding start started okay "
    "ok want wants need needs needed for planned consented listed scheduled booked admitted".split()
)
_DEEP = 7  # words of a phrase before its head
_LINKS = frozenset({"of", "to", "from", "in", "on", "into", "over", "at", "around"})
_FILLING = frozenset("the a an his her their both left right bilateral l r side old retained".split())
_WIDE = 9  # words behind a head up to the part that it is done to


def phrase(sentence: Sentence, head: int, low: int = 0, high: int | None = None) -> tuple[int, int]:
    """The first and the last token of the phrase of a head: what describes it before, and the part or the thing that
    "of", "to" or "from" ties to it. `low`, `high`: the bounds of what it may take in."""
    tokens, high = sentence.tokens, len(sentence.tokens) - 1 if high is None else high
    first = head
    while first > low and head - first < _DEEP and _describes(sentence, first - 1):
        first -= 1
    last = head
    ends = {m.first: m.last for m in sentence.mentions if m.table in _PARTS}
    at = head + 1
    while at <= high and at - head <= _WIDE:
        token = tokens[at]
        if at in ends:
            last = at = min(ends[at], high)
        elif token.norm in _SIDED and at + 1 > last and (at == last + 1 or tokens[at - 1].norm in _FILLING | _LINKS):
            last = at
            if at + 1 <= high and tokens[at + 1].norm in ("side", "sided"):
                last = at = at + 1
        elif token.punctuation and token.norm not in ("-", "/"):
            break
        elif token.norm in _ENDS or (token.quantity is not None and token.quantity.form != "ordinal"):
            break
        elif token.norm not in _LINKS | _FILLING and at == last + 1 and not token.norm.isalpha():
            break
        at += 1
    if last > head and tokens[last].norm in _SIDED:  # "of the right ovarian cyst"
        behind = last + 1
        while behind <= high and behind - last <= 2 and tokens[behind].norm.isalpha() and (
            tokens[behind].norm not in _STOPS | _ENDS
        ):
            behind += 1
        last = behind - 1
    if tokens[min(last + 1, high)].norm in (",", "(") and last + 2 <= high and tokens[last + 2].norm in _SIDED:
        beyond = tokens[last + 3].norm if last + 3 <= high else "."
        if not beyond.isalpha() or beyond in ("side", "and"):
            last += 2  # "os trigonum excision, right"
    return first, last


def whole_title(sentence: Sentence, first: int, low: int) -> int:
    """Where the name begins in a title, whose words are all of it: "left EPL to EIP transfer"."""
    at = first
    while at > low and (_describes(sentence, at - 1) or sentence.tokens[at - 1].norm in ("to", "of", "for")):
        at -= 1
    return at if any(token.norm in _SIDED for token in sentence.tokens[at : at + 2]) else first


_PARTS = frozenset({"sites", "diagnoses", "devices", "findings", "drains"})
_SIDED = frozenset({"left", "right", "bilateral", "bilaterally", "l", "r"})
_ENDS = frozenset(
    "with and then was were is are under using through via by plus because after before while we i has had which "
    "stage level no not done performed general spinal local for".split()
)


def _describes(sentence: Sentence, at: int) -> bool:
    token = sentence.tokens[at]
    if token.quantity is not None:
        return token.quantity.form == "ordinal" or token.norm == "#level"
    return token.norm not in _STOPS and (token.norm[:1].isalpha() or token.norm in ("-", "/"))


def is_of_something(sentence: Sentence, first: int, last: int, head: int, grammar: Grammar) -> bool:
    """Whether a phrase names a part, a thing or a side that its head is done to."""
    return any(
        first <= m.first <= last and not m.first <= head <= m.last for m in sentence.mentions if m.table in _PARTS
    ) or laterality.only_side(sentence, first, last, grammar) is not None


def is_whole(sentence: Sentence, head: int, grammar: Grammar) -> bool:
    """Whether the word itself is an operation ("sesamoidectomy"), whatever it is done to."""
    words = _words(grammar)
    return folded(sentence)[head].endswith((*words.endings, *words.title_endings))


def is_affirmed(sentence: Sentence, at: int) -> bool:
    """Whether what stands at a token was done today."""
    return base.scope_at(sentence, "status", at, "performed") == "performed" and (
        base.scope_at(sentence, "certainty", at, "affirmed") == "affirmed"
    )


_NOT_OF_TODAY = frozenset(
    "after following since previous prior old failed past earlier former recent post status risk avoid before until "
    "without refused declined pending awaiting future possible possibly later".split()
)


def is_led_away(sentence: Sentence, first: int, last: int) -> bool:
    """Whether a phrase is not what is done today, as the words before it tell ("after the failed repair"), or another
    name of an operation goes on with it ("removal of the left total hip arthroplasty")."""
    # "nephrostomy exchange"
    things = {(m.first, m.last) for m in sentence.mentions if m.table in ("devices", "drains")}
    if any(m.table == "procedures" and m.first <= last + 1 and first <= m.last and (m.first, m.last) not in things
           for m in sentence.mentions):  # fmt: skip
        return True
    return any(token.norm in _NOT_OF_TODAY for token in sentence.tokens[max(0, first - 3) : first + 1])


def _without_side(sentence: Sentence, first: int, last: int) -> tuple[int, int]:
    """The name without the side that leads or ends it, which the fact has by itself."""
    tokens = sentence.tokens
    while first < last and tokens[first].norm in _SIDED | {"sided", "side", "(", ")"}:
        first += 1
    while last > first and tokens[last].norm in _SIDED | {"side", "sided", "the", "on", ",", "("}:
        last -= 1
    return first, last


def fact(reading: Reading, sentence: Sentence, first: int, last: int, grammar: Grammar) -> Fact:
    """The operation in the words of tokens first..last, with the side and the part that they tell."""
    side, doubt = laterality.only_side(sentence, first, last, grammar), None
    if side is None:
        side, doubt = laterality.side_for(sentence, first, last, grammar)
    places = [m.id for m in base.mentions(sentence, "sites") if first <= m.first <= last]
    first, last = _without_side(sentence, first, last)
    return base.make("procedure", reading, sentence, first, last, text=story.words(sentence, first, last),
                     laterality=side, body_site=places[-1] if places else None,
                     doubts=(doubt,) if doubt else ())  # fmt: skip


def are_of_none(sentence: Sentence, first: int, last: int) -> bool:
    """Whether words without a heading name an illness or a part of the setting, and nothing that is done: "Procedure:
    left hemiarthroplasty. A femoral neck fracture. Tourniquet on the thigh." """
    if any(token.norm == ":" for token in sentence.tokens[:first]):
        return False
    named = {m.table for m in sentence.mentions if first <= m.first and m.last <= last}
    return bool(named & _NO_OPERATION) and not named & {"procedures", "acts", "injectates"} and not any(
        token.norm.endswith(_DEEDS) or token.norm in rephrased.DONE for token in sentence.tokens[first : last + 1]
    )


_NO_OPERATION = frozenset({"diagnoses", "events", "tourniquet", "positions", "anaesthesia", "drains", "preparations"})
_DEEDS = ("ectomy", "otomy", "ostomy", "plasty", "pexy", "desis", "tion", "sion", "ment", "scopy", "repair", "graft",
          "fixation", "release", "surgery", "replacement")  # fmt: skip
