"""What is done with marrow or a graft before it is given: filtered, spun, washed, mixed."""

from __future__ import annotations

from pipeline.extractors import base
from pipeline.records import Fact, Reading, Sentence

_EVERYDAY = frozenset({"mixing", "washing", "separation", "dilution", "concentration", "activation", "filtration"})


def told(reading: Reading, sentence: Sentence, parts: list[str]) -> list[Fact]:
    """Filtering, spinning and the like; "mixed" and "washed" only where marrow or graft is spoken of."""
    facts: list[Fact] = []
    done: set[str] = set()
    for mention in base.mentions(sentence, "processing", "events"):
        if mention.table == "events" and mention.id != "centrifugation":
            continue
        if mention.id in done or (mention.id in _EVERYDAY and not parts[mention.first]):
            continue
        if mention.id == "mixing" and _of_drugs(sentence):
            continue
        if mention.id == "morselization" and "removed" in {
            token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 5]
        }:
            continue  # taken out piece by piece
        done.add(mention.id)
        before = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
        denied = {"certainty": "negated"} if before[:1] in (["nothing"], ["none"]) else {}  # "nothing was spun"
        facts.append(base.make("processing", reading, sentence, mention.first, mention.last, name=mention.id, **denied))
    return facts


def _of_drugs(sentence: Sentence) -> bool:
    """ "A mixture of bupivacaine and lidocaine": drugs only, and nothing of the graft."""
    named = any(token.norm in _OF_DRUGS for token in sentence.tokens)
    return (named or any(True for _ in base.mentions(sentence, "drugs"))) and not any(
        token.norm in _OF_GRAFT for token in sentence.tokens
    )


_OF_DRUGS = frozenset({"anesthetic", "anaesthetic", "steroid", "steroids", "cocktail", "antibiotic"})
_OF_GRAFT = frozenset({"marrow", "aspirate", "concentrate", "graft", "bone", "prp", "plasma", "blood", "cells", "fat"})
