"""Whether a number is of a named measure, or of something else that is told beside it."""

from __future__ import annotations

from pipeline.records import Fact, Mention, Quantity, Sentence, replace

_MOST_EXTENDED = 30  # degrees; common practice, no source


def is_far_end(sentence: Sentence, mention: Mention, index: int, quantity: Quantity) -> bool:
    """ "Full extension to 130 degrees": how far it bends, where it begins being told by the word."""
    if mention.last >= index or sentence.tokens[index - 1].norm not in ("to", "through", "-"):
        return False
    full = "full" in (token.norm for token in sentence.tokens[max(0, mention.first - 1) : mention.last + 1])
    return full or (quantity.value is not None and quantity.value > _MOST_EXTENDED)


def told_since(sentence: Sentence, index: int, mention: Mention) -> bool:
    """ "Mean gradient nine millimetres of mercury two pacing wires": behind the one with
    its unit a bare number is of something else."""
    own, before = sentence.tokens[index].quantity, sentence.tokens[index - 1].quantity
    return mention.last < index - 1 and own is not None and not own.dimension and before is not None and (
        before.unit is not None
    )


def is_length(sentence: Sentence, index: int) -> bool:
    """ "6.5 mm diameter x 40 mm length": the second number has a word of its own."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    return after[:1] in (["length"], ["long"], ["width"], ["wide"]) or after == ["in", "length"]


_OF_KITS = frozenset("trial trials insert liner poly head stem cup tray spacer screw screws anchor nail".split())


def has_a_thing_behind(sentence: Sentence, index: int) -> bool:
    """ "Held in extension with the fourteen trial": the number is of what is named right behind it."""
    led = index > 0 and sentence.tokens[index - 1].norm in ("the", "a", "with")
    return led and index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm in _OF_KITS


_BEYOND = frozenset({"beyond", "past", "over", "above", "exceeding"})
_NOT = frozenset({"no", "not", "avoid", "never", "without"})
_TO_LIMIT = 6  # tokens


_STORY = frozenset({"", "consent", "indication", "history"})


def as_limit(sentence: Sentence, index: int, facts: list[Fact]) -> list[Fact]:
    """ "No flexion beyond ninety degrees": how far a joint may go, and nothing that was measured."""
    tokens = sentence.tokens
    if facts and facts[0].unit == "%" and facts[0].status == "conditional" and sentence.section in _STORY:
        return []  # "explained: infection 1 %": how often it happens to others
    if not facts or not index or tokens[index - 1].norm not in _BEYOND or not _NOT & {
        token.norm for token in tokens[max(0, index - _TO_LIMIT) : index]
    }:  # fmt: skip
        return facts
    quantity = tokens[index].quantity
    moves = quantity is not None and quantity.dimension in ("angle", "")
    return [replace(fact, status="planned") if moves and fact.status == "performed" else fact for fact in facts]


def is_risk(sentence: Sentence, quantity: Quantity) -> bool:
    """ "Consent incl. chronic pain 10 %": how often something happens."""
    return quantity.unit == "%" and (sentence.section == "consent" or sentence.says(_CONSENT))


_CONSENT = frozenset({"consent", "consented", "risk", "risks"})
