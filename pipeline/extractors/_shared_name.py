"""Operations on two parts that share one name: "left hip and right knee arthroscopy", "L ring + R middle trigger finger
release", "injection of the left knee and right hip"."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from pipeline import donor_sides, laterality
from pipeline.body_parts import related_sites
from pipeline.extractors import _operation_words as words
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.laterality import Side
from pipeline.mentions import fold, split_phrase
from pipeline.records import Fact, Mention, Reading, Sentence, replace
from pipeline.rows import Concept

_JOINS = frozenset({"and", "&", "+", "plus", "/", ","})
_LINKS = frozenset({"of", "the", "to", "in", "on", "into", "his", "her"})
_DESCRIBING = frozenset("first second third fourth fifth great little small long ring index middle upper lower".split())
_LONGEST = 4  # tokens of a part
_ENDS = frozenset({"with", "under", "for", "using", "via", "through", "by", "each", "today", "general", "local"})


def split(reading: Reading, sentence: Sentence, facts: Sequence[Fact], grammar: Grammar) -> list[Fact]:
    """The operations of a sentence, with those that share the name of another one beside it. Pure."""
    result: list[Fact] = []
    for fact in facts:
        nameless = fact.kind == "procedure" and fact.name is None
        result += _halves(reading, sentence, fact, grammar) if nameless else [fact]
    told = [one for one in laterality.sides(sentence, grammar) if one.value in ("left", "right")]
    for run in _runs(sentence, told, grammar):
        (_, end), *_ = run[::-1]
        for part in run[:-1]:
            result = _before(reading, sentence, part, run[-1], result, grammar) or result
        for part in run[1:]:
            result = _behind(reading, sentence, run[0], part, end, result, grammar) or result
    return result


def _runs(sentence: Sentence, told: list[Side], grammar: Grammar) -> list[list[tuple[Side, int]]]:
    """Parts with a side, each with its last token, that stand side by side: "right knee, left knee and right hip"."""
    runs: list[list[tuple[Side, int]]] = [[]]
    for side in told:
        last = _part(sentence, side, grammar)
        if last is None or donor_sides.leads_crest(sentence, side):
            runs.append([])
            continue
        end = runs[-1][-1][1] if runs[-1] else None
        if end is not None and _is_joined(sentence, end, side.first, opens=runs[-1][0][0].first == 0):
            runs[-1].append((side, last))
        else:
            runs.append([(side, last)])
    return [run for run in runs if len(run) > 1]


def _is_joined(sentence: Sentence, last: int, first: int, *, opens: bool) -> bool:
    """Whether a part ends right before another one begins: over ", and the", and over nothing in a list without marks
    that `opens` its sentence and is joined further on."""
    between = [token.norm for token in sentence.tokens[last + 1 : first] if token.norm != "the"]
    if not between:
        after = [token.norm for token in sentence.tokens[first + 1 : first + 1 + _LONGEST]]
        return opens and "and" in after and not {"left", "right"}.isdisjoint(after[after.index("and") :])
    return len(between) <= _JOINT and all(norm in _JOINS for norm in between)


_JOINT = 2  # tokens: ", and"


def _halves(reading: Reading, sentence: Sentence, fact: Fact, grammar: Grammar) -> list[Fact]:
    """ "Right knee injection and left tennis elbow injection": two in their own words, each with its side and its
    deed."""
    tokens = sentence.tokens
    inner = [at for at, token in enumerate(tokens) if fact.evidence.first <= token.first
             and token.last <= fact.evidence.last]  # fmt: skip
    sides = [one for one in laterality.sides(sentence, grammar) if inner and inner[0] - 1 <= one.first <= inner[-1]]
    if [one.value for one in sides] not in (["left", "right"], ["right", "left"]):
        return [fact]
    heads = [at for at in inner if _is_head(sentence, at, grammar)]
    for joint in range(sides[0].last + 1, sides[1].first):
        parts = (inner[0], joint - 1), (joint + 1, inner[-1])
        if tokens[joint].norm in _JOINS and all(any(first <= at <= last for at in heads) for first, last in parts):
            return [words.fact(reading, sentence, first, last, grammar) for first, last in parts]
    return [fact]


def _part(sentence: Sentence, side: Side, grammar: Grammar) -> int | None:
    """The last token of the part of the body that a side leads and that nothing else is told of."""
    sites = grammar.table("sites", Concept)
    paired = {m.first: m.last for m in base.mentions(sentence, "sites") if sites[m.id].sided}
    names = {m.first: m.last for m in base.mentions(sentence, "procedures")}
    at = side.last + 1
    while at < min(side.last + 1 + _LONGEST, len(sentence.tokens)):
        token = sentence.tokens[at]
        if at in names:  # "right knee arthroscopy": one name
            norms = [fold(one.norm) for one in sentence.tokens[at : names[at] + 1]]
            inner = [end for end in range(1, len(norms)) if tuple(norms[:end]) in _paired(grammar)]
            return at - 1 if at > side.last + 1 else at + inner[-1] - 1 if inner else None
        if at in paired:
            return paired[at]
        ordinal = token.quantity is not None and token.quantity.form == "ordinal"
        if token.norm not in _DESCRIBING and token.norm != "#level" and not ordinal:
            break
        at += 1
    return at - 1 if at > side.last + 1 else None


def _before(
    reading: Reading, sentence: Sentence, one: tuple[Side, int], other: tuple[Side, int], facts: list[Fact],
    grammar: Grammar,
) -> list[Fact] | None:  # fmt: skip
    """ "Left hip and right knee arthroscopy": the name stands behind both parts."""
    named = _named(sentence, other[1] + 1, other[0].last + 1)
    if named is None:
        head = next((at for at in (other[1] + 1, other[1] + 2, other[1] + 3) if _is_head(sentence, at, grammar)), None)
        return None if head is None else _in_words(reading, sentence, (one, other), (other[1] + 1, head), facts)
    sited = _site(sentence, one) is not None
    shared = sentence.tokens[max(named.first, other[1] + 1) if sited else named.first : named.last + 1]
    part = sentence.tokens[one[0].last + 1 : one[1] + 1]
    joined = tuple(fold(token.norm) for token in (*part, *shared))
    row = grammar.table("procedures", Concept)[named.id]
    own = named.first > other[1] and _fits(row, _site(sentence, one), grammar)
    name = _phrases(grammar).get(joined) or (named.id if own else None)
    text = " ".join(token.text for token in (*part, *shared))
    return _with(reading, sentence, one, facts, name, text, named)


def _behind(
    reading: Reading, sentence: Sentence, one: tuple[Side, int], other: tuple[Side, int], last: int,
    facts: list[Fact], grammar: Grammar,
) -> list[Fact] | None:  # fmt: skip
    """ "Injection of the left knee and right hip": the name stands before both parts. `last`: the last token of all."""
    tokens = sentence.tokens
    end = last + 1
    if end < len(tokens) and not tokens[end].punctuation and tokens[end].norm not in _ENDS:
        return None
    at = one[0].first - 1
    while at > 0 and tokens[at].norm in _LINKS:
        at -= 1
    named = next((m for m in base.mentions(sentence, "procedures") if m.last == at), None)
    if named is None:
        return _in_words(reading, sentence, (one, other), (at, at), facts) if _is_head(sentence, at, grammar) else None
    shared, part = tokens[named.first : named.last + 1], tokens[other[0].last + 1 : other[1] + 1]
    fits = _fits(grammar.table("procedures", Concept)[named.id], _site(sentence, other), grammar)
    text = " ".join(token.text for token in (*shared, *part))
    return _with(reading, sentence, other, facts, named.id if fits else None, text, named)


def _with(
    reading: Reading, sentence: Sentence, part: tuple[Side, int], facts: list[Fact], name: str | None, text: str,
    named: Mention,
) -> list[Fact] | None:  # fmt: skip
    """The facts and the operation on one more part, with the standing of the one whose name it shares, unless it is
    told."""
    side, last = part
    source = next((fact for fact in facts if fact.kind == "procedure" and _covers(fact, sentence, named.last)), None)
    again = [fact for fact in facts if fact.kind == "procedure" and fact.laterality == side.value
             and (fact.name == name or _covers(fact, sentence, side.last + 1))]  # fmt: skip
    if again or source is None:
        return None
    more = base.make(
        "procedure", reading, sentence, side.first, last, name=name, text=None if name else text,
        laterality=side.value, body_site=_site(sentence, part),
    )  # fmt: skip
    return [*facts, replace(more, status=source.status, certainty=source.certainty)]


def _in_words(
    reading: Reading, sentence: Sentence, parts: tuple[tuple[Side, int], tuple[Side, int]], head: tuple[int, int],
    facts: list[Fact],
) -> list[Fact] | None:  # fmt: skip
    """Two operations in their own words, for one that holds both or tells of one part only."""
    word = " ".join(token.text for token in sentence.tokens[head[0] : head[1] + 1])
    held = [fact for fact in facts if fact.kind == "procedure" and fact.name is None and (
        _covers(fact, sentence, head[0]) or any(_covers(fact, sentence, last) for _, last in parts)
    )]  # fmt: skip
    if not held:
        return None
    made = [
        base.make(
            "procedure", reading, sentence, side.first, last, laterality=side.value,
            text=f"{' '.join(token.text for token in sentence.tokens[side.last + 1 : last + 1])} {word.lower()}",
            body_site=_site(sentence, (side, last)),
        )
        for side, last in parts
    ]  # fmt: skip
    source = held[0]
    made = [replace(one, status=source.status, certainty=source.certainty, doubts=source.doubts) for one in made]
    return [fact for fact in facts if fact not in held] + made


def _covers(fact: Fact, sentence: Sentence, at: int) -> bool:
    token = sentence.tokens[at]
    return fact.evidence.first <= token.first and token.last <= fact.evidence.last


def _named(sentence: Sentence, first: int, within: int) -> Mention | None:
    """The operation that begins at a token, or with the part right before it."""
    return next((m for m in base.mentions(sentence, "procedures") if within <= m.first <= first <= m.last + 1
                 and m.last >= first), None)  # fmt: skip


def _is_head(sentence: Sentence, at: int, grammar: Grammar) -> bool:
    return at in words.heads(sentence, grammar, title=True) or any(
        m.last == at for m in base.mentions(sentence, "acts") if not sentence.tokens[m.last].norm.endswith("ed")
    )


def _site(sentence: Sentence, part: tuple[Side, int]) -> str | None:
    side, last = part
    return next((m.id for m in base.mentions(sentence, "sites") if side.last < m.first and m.last <= last), None)


def _fits(row: Concept, site: str | None, grammar: Grammar) -> bool:
    """Whether an operation may be on a part: of the same limb or organ, or on none by its name."""
    sites = grammar.table("sites", Concept)
    return not row.site or site is None or site not in sites or related_sites(sites[row.site], sites[site], grammar)


@lru_cache(maxsize=4)
def _paired(grammar: Grammar) -> frozenset[tuple[str, ...]]:
    """Names of parts that have a left and a right."""
    return frozenset(
        tuple(split_phrase(phrase)) for row in grammar.table("sites", Concept).values() if row.sided
        for phrase in row.say
    )  # fmt: skip


@lru_cache(maxsize=4)
def _phrases(grammar: Grammar) -> dict[tuple[str, ...], str]:
    return {
        tuple(split_phrase(phrase)): row.id
        for row in grammar.table("procedures", Concept).values() for phrase in row.say
    }  # fmt: skip
