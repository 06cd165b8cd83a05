"""What a medicine or a measure is there to keep away: "aspirin daily for four weeks for DVT", "naproxen against
ossification", "calf pumps for DVT". Named, and neither found nor a complication."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.grammar import Grammar
from pipeline.records import Mention, Scope, Sentence
from pipeline.rows import Drug

_CONDITIONS = ("complications", "diagnoses", "findings")
_FILL = frozenset("a an the any further possible potential postoperative post operative later".split())
_BACK = 4  # tokens between "for" and the condition
_REACH = 25  # tokens from the medicine to the condition
# Taken over days: no treatment of what happened on the table.
_TAKEN = frozenset(
    "daily bid tid qid qd od bd tds qds nightly weekly prn twice thrice needed tablets tablet days weeks postop "
    "postoperatively discharge home".split()
)
_MEASURES = frozenset("pumps pump stockings stocking teds ted scds scd boots compression".split())
_KEEPS_AWAY = {
    "thrombo": frozenset({"anticoagulant", "antiplatelet"}), "embolism": frozenset({"anticoagulant", "antiplatelet"}),
    "infection": frozenset({"antibiotic"}), "ossif": frozenset({"nsaid"}),
}  # fmt: skip


def mark(sentences: Sequence[Sentence], grammar: Grammar) -> tuple[Sentence, ...]:
    """The sentences with a conditional status on what is only to be kept away. Pure."""
    return tuple(_mark(sentence, grammar) for sentence in sentences)


def _mark(sentence: Sentence, grammar: Grammar) -> Sentence:
    drugs = {m.first: m for m in sentence.mentions if m.table == "drugs"}
    led = sentence.says(_LEADS)
    if not (led or drugs):
        return sentence
    added = [
        Scope("status", "conditional", mention.first, mention.last, "purpose")
        for mention in sentence.mentions if mention.table in _CONDITIONS and (
            _heads(sentence, mention, drugs, grammar) or (led and _is_purpose(sentence, mention, grammar))
        )
    ]  # fmt: skip
    return replace(sentence, scopes=(*sentence.scopes, *added)) if added else sentence


_LEADS = frozenset({"for", "against"})


def _heads(sentence: Sentence, mention: Mention, drugs: dict[int, Mention], grammar: Grammar) -> bool:
    """ "DVT enoxaparin 40 mg from tonight", "DVT: aspirin": what the medicine right behind it keeps away."""
    at = mention.last + 1
    colon = at < len(sentence.tokens) and sentence.tokens[at].norm == ":"
    drug = drugs.get(at + colon)
    return drug is not None and _fits(mention, _classes(drug, grammar))


def _classes(drug: Mention, grammar: Grammar) -> frozenset[str]:
    row = grammar.table("drugs", Drug).get(drug.id)
    return frozenset(row.classes) if row is not None else frozenset()


def _fits(mention: Mention, classes: frozenset[str]) -> bool:
    return any(part in mention.id and classes & of for part, of in _KEEPS_AWAY.items())


def _is_purpose(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    tokens = sentence.tokens
    at = mention.first - 1
    while at >= 0 and mention.first - at <= _BACK and tokens[at].norm in _FILL:
        at -= 1
    if at < 0 or tokens[at].norm not in ("for", "against"):
        return False
    before = tokens[max(0, at - _REACH) : at]
    if {token.norm for token in before[-4:]} & _MEASURES:
        return True
    drugs = [one for one in sentence.mentions if one.table == "drugs" and 0 < at - one.last <= _REACH]
    if not drugs:
        return False
    between = tokens[drugs[-1].last + 1 : at]
    if any(token.norm in (".", ";") for token in between):
        return False
    taken = {token.norm for token in between} & _TAKEN or any(
        token.quantity is not None and token.quantity.dimension == "time" for token in between
    )
    planned = any(one.axis == "status" and one.value == "planned" and one.first <= drugs[-1].first <= one.last
                  for one in sentence.scopes)  # fmt: skip
    fits = _fits(mention, _classes(drugs[-1], grammar))
    ahead = planned or sentence.section in ("aftercare", "follow-up")
    return bool(taken) or ahead or fits or tokens[at].norm == "against"
