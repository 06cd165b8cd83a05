"""What was denied under its general name: "no steroid", "a block was not wanted", "biopsy: deferred".

A general name that is told as done says nothing of its own, since the thing itself is named elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator

from pipeline import clauses
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Reading, Sentence
from pipeline.rows import Concept

KINDS = ("medication", "anaesthesia", "procedure", "drain", "specimen")

_ELSEWHERE = frozenset({"aftercare", "follow-up", "history", "indication", "imaging", "consent"})
# Samples that were not taken; that there was no specimen at all, `specimens.py` tells.
_SAMPLES = frozenset({"biopsy", "swab-for-culture", "tissue-sample", "fluid-sample", "washings", "frozen-section"})
# "No steroid for six weeks" is an instruction.
_FOR_HOW_LONG = frozenset({"for", "until", "within", "before", "x"})
_NEAR, _BESIDE = 3, 4  # tokens
_OF_ANOTHER = frozenset({"to", "from", "by", "with", "response", "allergy", "failure", "complications", "problems"})


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    return [fact for sentence in reading.sentences for fact in _denied(reading, sentence, grammar)]


def _denied(reading: Reading, sentence: Sentence, grammar: Grammar) -> Iterator[Fact]:
    if sentence.section in _ELSEWHERE or not any(scope.value == "negated" for scope in sentence.scopes):
        return
    injected = any(token.norm.startswith("inject") for token in sentence.tokens)  # `injection.py` tells it then
    for mention in () if injected else base.mentions(sentence, "injectates"):
        certainty = base.scope_at(sentence, "certainty", mention.first, "affirmed")
        done = base.scope_at(sentence, "status", mention.first, "performed") == "performed"
        if certainty == "negated" and done and not _goes_on(sentence, mention):
            yield base.make("medication", reading, sentence, mention.first, mention.last, name=mention.id)
    for mention in base.mentions(sentence, "general", "specimens"):
        kind = _kind(mention, grammar)
        if kind is None or base.scope_at(sentence, "certainty", mention.first, "affirmed") != "negated":
            continue
        if base.scope_at(sentence, "status", mention.first, "performed") != "performed" or _goes_on(sentence, mention):
            continue
        told = {"text": grammar.label(mention.table, mention.id).lower()}
        if mention.table == "specimens":
            told = {"name": mention.id, "text": "none"}
        elif kind == "medication" and any(
            0 < m.first - mention.last <= _BESIDE for m in base.mentions(sentence, "drugs")
        ):
            continue  # "steroid 40 mg Kenalog not given": the drug itself is named
        elif mention.first and not _is_led(sentence, mention):
            continue  # "no bone block"
        yield base.make(kind, reading, sentence, mention.first, mention.last, **told)


def _is_led(sentence: Sentence, mention: Mention) -> bool:
    """Whether no other noun before a general name makes it the name of something else."""
    before = sentence.tokens[mention.first - 1]
    told = clauses.is_participle(sentence, mention.first - 1) and mention.first > 1 and (
        sentence.tokens[mention.first - 2].norm in ("not", "never")
    )  # "mitomycin not given catheter no"
    return told or before.punctuation or before.quantity is not None or before.norm in _LEADS or any(
        m.last == mention.first - 1 and m.table != "sites" for m in sentence.mentions
    )


_LEADS = frozenset(
    "none nil no not without nor neither or and the a an any but so further additional open nerve urinary oral "
    "intravenous iv systemic depot intraarticular local spinal regional was also with then".split()
)


def _kind(mention: Mention, grammar: Grammar) -> str | None:
    if mention.table == "specimens":
        return "specimen" if mention.id in _SAMPLES else None
    row = grammar.table("general", Concept)[mention.id]
    return row.group


def _goes_on(sentence: Sentence, mention: Mention) -> bool:
    """Whether the words behind a name make it part of something else, or of an instruction."""
    behind = sentence.tokens[mention.last + 1 : mention.last + 1 + _NEAR]
    if behind and behind[0].norm in _OF_ANOTHER:
        return True
    later = any(token.quantity is not None and token.quantity.dimension == "time" for token in behind)
    return later and any(token.norm in _FOR_HOW_LONG for token in behind)
