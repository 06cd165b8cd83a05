"""What every extractor is, and the few things that all of them do alike.

An extractor is a module of this folder with `KINDS` (the kinds of grammars/kinds.toml that it makes) and
`extract(reading, grammar) -> list[Fact]`, a pure function. Ids are given later, by run.py; `group` needs to be
unique only within one reading, so `group_of(sentence, token)` will do.

One number is one fact. An extractor that takes a number returns a `Claim` (through `claim()`), which says how
far the number stands from what it is about; `arbitrate()` gives every number to the cheapest claim. Nobody
needs to know who else reads numbers, and the order of the extractors changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Any, Protocol

from pipeline import cues, laterality, sideshare, story
from pipeline.grammar import Grammar
from pipeline.records import Evidence, Fact, Laterality, Mention, Quantity, Reading, Sentence, quick, replace
from pipeline.rows import Concept


class Extractor(Protocol):
    KINDS: tuple[str, ...]

    def extract(self, reading: Reading, grammar: Grammar) -> list[Fact]: ...


def evidence(reading: Reading, first: int, last: int) -> Evidence:
    """Evidence for original word ids first..last (inclusive): times, words as heard, lowest confidence."""
    held: dict[tuple[int, int], Evidence] = reading.memo.setdefault("evidence", {})
    found = held.get((first, last))
    if found is None:
        words = story.words_between(reading, first, last)
        starts = [word.start for word in words if word.start is not None]
        ends = [word.end for word in words if word.end is not None]
        sure = [word.confidence for word in words if word.confidence is not None]
        found = held[first, last] = Evidence(
            first, last, min(starts) if starts else None, max(ends) if ends else None,
            " ".join([word.heard or word.text for word in words]), min(sure) if sure else None,
        )  # fmt: skip
    return found


def token_evidence(reading: Reading, sentence: Sentence, first: int, last: int) -> Evidence:
    """Evidence for token indexes first..last (inclusive) of a sentence."""
    if first == last:
        return evidence(reading, sentence.tokens[first].first, sentence.tokens[first].last)
    tokens = sentence.tokens[first : last + 1]
    return evidence(reading, min([token.first for token in tokens]), max([token.last for token in tokens]))


def scope_at(sentence: Sentence, axis: str, index: int, default: str) -> str:
    """The status or certainty in force at a token; a narrower scope beats a wider one."""
    if not sentence.scopes:
        return default
    holding = [scope for scope in sentence.scopes if scope.axis == axis and scope.first <= index <= scope.last]
    if not holding:
        return default
    return min(holding, key=lambda scope: scope.last - scope.first).value


def make(kind: str, reading: Reading, sentence: Sentence, first: int, last: int, **fields: Any) -> Fact:
    """A fact from tokens first..last: evidence, status, certainty and what was taken back are filled in."""
    return Fact(**_filled(kind, reading, sentence, first, last, fields))


def _filled(
    kind: str, reading: Reading, sentence: Sentence, first: int, last: int, fields: dict[str, Any]
) -> dict[str, Any]:
    """The fields of `make`: those given, and what is filled in."""
    at = fields.pop("at", first)
    places: Iterable[int] = fields.pop("places", range(first, last + 1))
    if "status" not in fields:
        fields["status"] = scope_at(sentence, "status", at, "performed")
    if "certainty" not in fields:
        fields["certainty"] = scope_at(sentence, "certainty", at, "affirmed")
    if sentence.strikes and "taken_back" not in fields:
        fields["taken_back"] = tuple(
            strike.taken_back for strike in sentence.strikes if strike.clear and first <= strike.at <= last
        )
    doubts = (*fields.get("doubts", ()), *_doubts(sentence, places))
    fields["doubts"] = tuple(dict.fromkeys(doubts)) if len(doubts) > 1 else doubts
    if "alternatives" not in fields:
        fields["alternatives"] = readings(reading, sentence, range(first, last + 1))
    return {"kind": kind, "evidence": token_evidence(reading, sentence, first, last), **fields}


def _has_others(reading: Reading) -> bool:
    held: bool | None = reading.memo.get("others")
    if held is None:
        held = reading.memo["others"] = any([word.others for word in reading.words])
    return held


def readings(reading: Reading, sentence: Sentence, places: Iterable[int]) -> tuple[str, ...]:
    """The other readings of the sound of the words behind these tokens."""
    if not _has_others(reading):
        return ()
    tokens = [sentence.tokens[place] for place in places]
    if not tokens:
        return ()
    first, last = min([token.first for token in tokens]), max([token.last for token in tokens])
    told = [word for word in story.words_between(reading, first, last) if word.others]
    return tuple(dict.fromkeys(
        other for word in told if any(token.first <= word.last and word.id <= token.last for token in tokens)
        for other in word.others
    )) if told else ()  # fmt: skip


def _doubts(sentence: Sentence, places: Iterable[int]) -> list[str]:
    """Doubts of the numbers used, and of a spoken correction that did not say what it takes back."""
    tokens, places = sentence.tokens, list(places)
    told: list[str] = []
    for place in places:
        quantity = tokens[place].quantity
        if quantity is not None and quantity.doubts:
            told += quantity.doubts
    stream = len(sentence.tokens) > _STREAM
    for strike in sentence.strikes:
        if not strike.clear and not (stream and all(abs(place - strike.at) > _TAKES_BACK for place in places)):
            told.append(f"a correction was said ('{strike.cue.heard}') but it is unclear what it takes back")
    return told


_STREAM, _TAKES_BACK = 40, 16  # tokens: what a correction may be of in speech without full stops


def number(quantity: Quantity) -> dict[str, Any]:
    """The fields of a fact that a quantity fills."""
    return {
        "value": quantity.value,
        "low": quantity.low,
        "high": quantity.high,
        "comparator": quantity.comparator,
        "unit": quantity.unit,
    }


def named(
    kind: str, reading: Reading, sentence: Sentence, mention: Mention, grammar: Grammar, **fields: Any
) -> Fact:
    """A fact of a named thing: its side, its site and what the row implies are filled in unless given.

    `own_side`: take only a side from its own phrase, never one that the sentence says of something else."""
    own_only = fields.pop("own_side", False)
    side, doubt = laterality.side_for(sentence, mention.first, mention.last, grammar, own_only=own_only)
    site = fields.setdefault("body_site", story.site_of(sentence, mention, grammar))
    fields.setdefault("name", mention.id)
    fields.setdefault("laterality", side)
    if _leads_with(sentence, mention, grammar):
        fields |= {"laterality": None, "body_site": None}
    if kind in _SEEN_OR_DONE and is_anothers_side(sentence, mention, fields["laterality"], site, grammar):
        fields["laterality"] = None
    elif kind in _SEEN_OR_DONE and fields["laterality"] == "bilateral" and (
        _is_one_organ(sentence, mention, site, grammar)
    ):
        fields["laterality"] = None
    elif side in ("left", "right") and kind == "act" and fields["laterality"] == side and (
        sideshare.on_both(sentence, laterality.sides(sentence, grammar), mention.last)
    ):
        fields["laterality"] = "bilateral"
    if doubt is not None and not (kind == "procedure" and _is_single(mention, grammar)):
        fields.setdefault("doubts", (doubt,))
    return make(kind, reading, sentence, mention.first, mention.last, **fields)


def _leads_with(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """ "C5-C6 disc herniation with right arm radiculopathy": of the spine; side and part behind "with" are of what it
    brought about."""
    row = grammar.tables[mention.table].get(mention.id)
    tokens = sentence.tokens
    behind = tokens[mention.last + 1 : mention.last + 2]
    if mention.table != "diagnoses" or not isinstance(row, Concept) or row.group != "spine" or not behind:
        return False
    if behind[0].norm != "with" or any(token.norm in ("left", "right") for token in tokens[: mention.first]):
        return False
    return any(0 < m.first - mention.last <= _COMPANION and m.table == "diagnoses" for m in sentence.mentions)


_COMPANION = 6  # tokens


def _is_single(mention: Mention, grammar: Grammar) -> bool:
    """Whether an operation is on what there is once: sides beside its name are of something else ("cystoscopy, and a
    stent on the left, the right was clear")."""
    row = grammar.tables[mention.table].get(mention.id)
    site = grammar.table("sites", Concept).get(row.site) if isinstance(row, Concept) else None
    return isinstance(row, Concept) and site is not None and not row.sided and not site.sided


_SEEN_OR_DONE = frozenset({"finding", "act", "diagnosis", "preop_diagnosis", "postop_diagnosis"})


def _is_one_organ(sentence: Sentence, thing: Mention, site: str | None, grammar: Grammar) -> bool:
    """ "Hysterectomy and bilateral salpingectomy for fibroids": of an organ of which there is one, in other words."""
    row = grammar.table("sites", Concept).get(site or "")
    beside = {token.norm for token in sentence.tokens[max(0, thing.first - 2) : thing.last + 3]}
    return row is not None and not row.sided and row.group == "organ" and not beside & _BOTH


_BOTH = frozenset({"bilateral", "both", "sides", "bilaterally"})


def is_anothers_side(
    sentence: Sentence, thing: Mention, side: Laterality | None, site: str | None, grammar: Grammar
) -> bool:
    """Whether a thing in an organ that has no left and right got its side from another part of its sentence."""
    row = grammar.table("sites", Concept).get(site or "") if side in ("left", "right") else None
    if row is None or row.sided or row.group not in ("organ", "vessel"):
        return False
    return sideshare.of_another_part(sentence, laterality.sides(sentence, grammar), side or "", thing, site or "")


def mentions(sentence: Sentence, *tables: str) -> Iterator[Mention]:
    """Mentions of these tables, in order."""
    held: dict[str, list[Mention]] | None = sentence.memo.get("tables")
    if held is None:
        held = sentence.memo["tables"] = {}
        for mention in sentence.mentions:
            held.setdefault(mention.table, []).append(mention)
    if len(tables) == 1:
        return iter(held.get(tables[0], ()))
    if held.keys().isdisjoint(tables):
        return iter(())
    return iter([mention for mention in sentence.mentions if mention.table in tables])


def quantities(sentence: Sentence, *dimensions: str) -> Iterator[tuple[int, Quantity]]:
    """(token index, quantity) of these dimensions ("" = no unit), in order; all when none is named."""
    found = cues.numbers(sentence)
    if not dimensions or not found:
        return iter(found)
    return iter([number for number in found if number[1].dimension in dimensions])


def group_of(sentence: Sentence, token: int) -> str:
    """A group id for an event that is anchored at a token."""
    return f"{sentence.index}.{token}"


@quick
@dataclass(frozen=True, slots=True)
class Claim(Fact):
    """A fact that takes a number: `number` are its word ids, `cost` what `cues.cost` gave (lower is nearer).

    `rest`: further numbers that the same fact uses up (the second term of "2 by 2" in a gauze size).
    """

    number: tuple[int, int] = (0, 0)
    cost: int = 0
    rest: tuple[tuple[int, int], ...] = ()


# Claims that cost more than this are too far from what they would be about; the number stays in the description.
LIMIT = 90
# Two kinds whose claims lie this close together cannot be told apart by distance.
_TIE = 0


_ONLY_MEANT = frozenset({"limit", "target", "aim", "plan", "idea", "maximum", "goal"})
_OF_THE_PAST = frozenset({"history", "indication", "imaging", "background"})


def claim(
    kind: str, reading: Reading, sentence: Sentence, index: int, first: int, last: int, cost: int, **fields: Any
) -> Claim:
    """A claim on the number at token `index`, about the concept at tokens first..last.

    Evidence covers both; status and certainty are those in force at the number, unless given. The value, range
    and unit come from the quantity; `fields` may override them.
    """
    token = sentence.tokens[index]
    values: dict[str, Any] = {}
    if token.quantity is not None and token.quantity.dimension == "time" and kind not in _OF_THE_PAST and (
        index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm == "ago"
    ):
        cost = cues.FAR  # "the left knee was replaced three years ago": how long something took it is not
    if index + 3 < len(sentence.tokens) and sentence.tokens[index + 3].norm in _ONLY_MEANT and (
        sentence.tokens[index + 1].norm in ("was", "is") and sentence.tokens[index + 2].norm in ("the", "our", "my")
    ):
        cost = cues.FAR  # "forty five minutes was the limit, we used thirty two"
    if token.quantity is not None:
        values = number(token.quantity)
        fields["doubts"] = (*fields.get("doubts", ()), *token.quantity.doubts, *_part(sentence, index))
    rest = fields.pop("rest", ())
    # Words and numbers between the number and what it is about lend it no doubt.
    places = sorted({index, *range(first, last + 1)})
    fields.setdefault("places", places)
    if "alternatives" not in fields:
        fields["alternatives"] = readings(reading, sentence, places)
    given = {"at": index, **values, **fields}
    filled = _filled(kind, reading, sentence, min(index, first), max(index, last), given)
    return Claim(**filled, number=_place(sentence, index), cost=cost, rest=rest)


def _part(sentence: Sentence, index: int) -> tuple[str, ...]:
    """ "A third of a millilitre": no exact number, and no whole millilitre."""
    if sentence.tokens[index].text[:2] not in ("a ", "A "):
        return ()
    before = sentence.tokens[max(0, index - 2) : index]
    ordinal = before[0].quantity if len(before) == 2 and before[1].norm == "of" else None
    if ordinal is None or ordinal.form != "ordinal":
        return ()
    return (f"only a part of it was said: '{before[0].text} of {sentence.tokens[index].text}'",)


def _place(sentence: Sentence, index: int) -> tuple[int, int]:
    """The word ids of a number; numbers written in one word ("8x10mm") are told apart by their order in it."""
    token = sentence.tokens[index]
    before = 0
    while before < index and sentence.tokens[index - before - 1].first == token.first:
        before += 1
    return token.first, token.last + before * _WORD_IDS


_WORD_IDS = 1_000_000  # more than a narration has


_VALUES = attrgetter(*(item.name for item in fields(Fact)))


def arbitrate(facts: Iterable[Fact]) -> list[Fact]:
    """Every number to one fact: the cheapest claim wins, those above LIMIT fall, all others pass unchanged.

    Claims of one kind on one number (a list that two drugs share) tie: the first by name stays, with a doubt
    that names the others. Pure; the order of `facts` does not matter beyond the order of the result.
    """
    plain: list[Fact] = []
    rivals: dict[tuple[int, int], list[Claim]] = {}
    for fact in facts:
        if not isinstance(fact, Claim):
            plain.append(fact)
        elif fact.cost <= LIMIT:
            rivals.setdefault(fact.number, []).append(fact)
    used: set[tuple[int, int]] = set()
    for claims in sorted(rivals.values(), key=_rank_of_best):
        best = min(claims, key=_rank)
        if best.number in used:
            continue
        used.update((best.number, *best.rest))
        ties = sorted(
            {f"{other.kind} {other.name or ''}".strip() for other in claims
             if other.cost - best.cost <= _TIE and (other.kind, other.name) != (best.kind, best.name)}
        )  # fmt: skip
        kept = Fact(*_VALUES(best))
        if ties:
            kept = replace(kept, doubts=(*kept.doubts, "may also be " + " or ".join(ties).replace("_", " ")))
        plain.append(kept)
    return plain


def _rank(claim: Claim) -> tuple[int, str, str, str]:
    return claim.cost, claim.kind, claim.name or "", claim.text or ""


def _rank_of_best(claims: list[Claim]) -> tuple[int, str, str, str]:
    return min(_rank(item) for item in claims)
