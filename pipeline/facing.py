"""Which way a bare "no" looks in speech without verbs and marks: "drain no tourniquet none", "notchplasty no drain".

A "no" behind a thing of which nothing else is told answers it, where the thing behind the "no" is told by itself (with
its number, its own "none"). In "synovectomy no bone block no button" it may be read both ways: such a chain denies
what stands in its middle for sure; of its two ends one is denied and nobody can tell which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.records import Fact, Mention, Reading, Sentence

EITHER = "a “no” stands between this and another thing; which of the two it denies cannot be told"

# What is answered by yes or no: nobody says "drain" and nothing more of one that there is.
_ASKED = frozenset({"drains", "tourniquet", "complications", "specimens"})
_THINGS = _ASKED | {"procedures", "acts", "anaesthesia", "devices", "drugs", "injectates", "general", "dressings",
                    "guidance", "approaches", "fluids", "diagnoses", "findings", "prophylaxis"}  # fmt: skip
_SEEN = frozenset({"diagnoses", "findings"})
_OWN_ANSWER = _words("none nil no not never yes omitted declined refused withheld deferred")
_LEADS = _words("the a an any no without of in on at to into with by for from and or other further more")
_FAR = 3  # tokens from a "no" to what it may deny


def looks_back(sentence: Sentence, at: int) -> bool:
    """Whether the bare "no" at a token answers the thing right before it."""
    return _facing(sentence, at) == "back"


def _facing(sentence: Sentence, at: int) -> str:
    """ "back", "ahead" or "either"."""
    known: dict[int, str] | None = sentence.memo.get("facing")
    if known is None:
        known = sentence.memo["facing"] = _decided(sentence)
    return known.get(at, "ahead")


def _decided(sentence: Sentence) -> dict[int, str]:
    tokens = sentence.tokens
    bare = [at for at, token in enumerate(tokens) if token.norm == "no" and token.quantity is None]
    if not bare:
        return {}
    found: dict[int, str] = {}
    chain: list[int] = []
    for at in bare:
        before = _thing_before(sentence, at)
        goes_on = bool(chain) and before is not None and before.first == chain[-1] + 1
        if not goes_on:
            chain = [at] if before is not None and _is_bare(sentence, before, found) else []
        else:
            chain.append(at)
        if chain:
            for one, side in zip(chain, _sides(sentence, chain), strict=True):
                found[one] = side
    return found


def _sides(sentence: Sentence, chain: Sequence[int]) -> list[str]:
    """Which way each "no" of a chain looks: all of them the same, as far as it can be told."""
    tokens, last = sentence.tokens, chain[-1]
    first = _thing_before(sentence, chain[0])
    if first is None:
        return ["ahead"] * len(chain)
    if last + 1 >= len(tokens) or tokens[last + 1].norm in ("-", "–", "—", ".", ";"):
        return ["back"] * len(chain)
    if tokens[last + 1].punctuation:
        return ["ahead"] * len(chain)
    behind = _thing_behind(sentence, last)
    if behind is not None and _is_told(sentence, behind):
        return ["back"] * len(chain)
    asked = first.table in _ASKED
    if asked and behind is not None and behind.table == "sites" and clauses.is_told(sentence, behind.last + 1):
        return ["back"] * len(chain)  # "drain no cartilage intact"
    return ["either" if asked or len(chain) > 1 else "ahead"] * len(chain)


def _thing_before(sentence: Sentence, at: int) -> Mention | None:
    named = [m for m in sentence.mentions if m.last == at - 1 and m.table in _THINGS]
    return min(named, key=lambda m: (m.first, m.table not in _ASKED), default=None)


def _thing_behind(sentence: Sentence, at: int) -> Mention | None:
    """The named thing that the "no" could deny: within a few words, with nothing but words of its own before it."""
    named = [m for m in sentence.mentions if at < m.first <= at + _FAR and m.table in _THINGS | {"sites"}]
    if not named:
        return None
    found = min(named, key=lambda m: (m.first, -m.last))
    between = sentence.tokens[at + 1 : found.first]
    return None if any(t.punctuation or t.quantity is not None or t.norm in _LEADS for t in between) else found


def _is_bare(sentence: Sentence, thing: Mention, found: dict[int, str]) -> bool:
    """Whether nothing else is told of a thing before a "no", and it is part of no phrase."""
    if not thing.first:
        return thing.table in _ASKED  # an operation that opens a narration is its title
    before = sentence.tokens[thing.first - 1]
    if before.norm == "no":
        return found.get(thing.first - 1) == "back"
    if thing.table in _SEEN or before.norm in _LEADS or before.norm in _TIED or before.norm in clauses.FINITE:
        return False
    if before.quantity is not None:
        return before.quantity.unit is not None  # "two anchors no drain": told with their number
    ended = before.punctuation or before.norm in _OWN_ANSWER or clauses.is_state(sentence, thing.first - 1)
    ended = ended or thing.first > 1 and sentence.tokens[thing.first - 2].norm in _TIED  # "not indicated drain no"
    return ended or thing.table in _ASKED or not before.norm.endswith(_OF_A_PHRASE)


_TIED = _words("not never")
_OF_A_PHRASE = ("ing", "ed", "al", "ic")


def _is_told(sentence: Sentence, thing: Mention) -> bool:
    """Whether the thing behind a "no" is told by itself: with an amount, or with an answer of its own."""
    tokens = sentence.tokens
    after = thing.last + 1
    if after >= len(tokens):
        return False
    quantity = tokens[after].quantity
    if quantity is not None:
        return quantity.dimension not in ("time", None) and thing.table != "sites" or (
            thing.table in ("drugs", "tourniquet", "injectates") and quantity.dimension is None
        )
    if tokens[after].norm not in _OWN_ANSWER:
        return False
    if tokens[after].norm != "no":
        return tokens[after].norm != "not" or after + 1 < len(tokens)
    return after + 1 >= len(tokens) or tokens[after + 1].punctuation


def doubt(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts; both ends of a chain of things and "no"s that may be read either way carry a doubt. Pure."""
    ends: list[tuple[int, int]] = []
    for sentence in reading.sentences:
        if not sentence.says(_NO):
            continue
        unsure = [at for at, side in _decided(sentence).items() if side == "either"]
        for at in unsure:
            for thing in (_thing_before(sentence, at), _thing_behind(sentence, at)):
                inner = thing is not None and (thing.first - 1 in unsure and thing.last + 1 in unsure)
                if thing is not None and not inner:
                    ends.append((sentence.tokens[thing.first].first, sentence.tokens[thing.last].last))
    if not ends:
        return list(facts)
    return [
        replace(fact, doubts=(*fact.doubts, EITHER))
        if EITHER not in fact.doubts and any(first <= fact.evidence.last and fact.evidence.first <= last
                                             for first, last in ends)
        else fact
        for fact in facts
    ]  # fmt: skip


_NO = frozenset({"no"})
