"""What was made of a harvest, and what was thrown away, against what was drawn."""

from __future__ import annotations

from pipeline.checks.base import added, as_millilitres, finding, given, span, span_words
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "More product was made of a harvest, or more given and thrown away, than was drawn."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    blood = [fact for fact in given(note, "draw") if fact.text == "whole blood"]
    drawn = [*given(note, "harvest_total"), *blood] if given(note, "harvest_total") else given(note, "draw")
    made = given(note, "product_volume")
    agents = [fact for fact in given(note, "medication_volume") if fact.role in ("anticoagulant", "prime")]
    if drawn and not made:
        return _gone(note, given(note, "harvest_total")[-1:] or given(note, "draw"))
    if made and (gone := _gone(note, made)):
        return gone
    if not drawn or not made or any(fact.scale == "each" for fact in drawn):
        return []
    spans = {name: [span(fact, "mL") for fact in facts] for name, facts in
             (("drawn", drawn), ("made", made), ("agents", agents))}  # fmt: skip
    if any(one is None for part in spans.values() for one in part):
        return []
    sums = {name: added([one for one in part if one is not None]) for name, part in spans.items()}
    most, least = (sums["drawn"] + sums["agents"]).high, sums["made"].low
    if most is None or least is None or least <= most:
        return []
    return [
        finding(
            "harvest_balance",
            "warning",
            f"{span_words(sums['made'], 'mL')} of product cannot come from {span_words(sums['drawn'], 'mL')}.",
            [*drawn, *made],
            arithmetic=f"product {span_words(sums['made'], 'mL')} > drawn {span_words(sums['drawn'], 'mL')}"
            + (f" + anticoagulant {span_words(sums['agents'], 'mL')}" if agents else ""),
            ask="Say which is right: what was drawn or what was made of it.",
        )
    ]


_NOT_WHOLE = ("each", "per_side")


def _gone(note: OperativeNote, drawn: list[Fact]) -> list[Finding]:
    """ "Nine mils of blood, not spun, three injected, eight thrown away": what became of what was drawn, where nothing
    was made of it; or of what was made."""
    made = drawn[0].kind == "product_volume"
    put = given(note, "injection_volume")
    away = given(note, "discarded_volume")
    if made and put:  # "BMAC 5 mL, 2 mL of plasma discarded, 5 mL given": what went before was not of the product
        away = [fact for fact in away if fact.evidence.first > put[0].evidence.first]
    gone = [*put, *away]
    agents = [fact for fact in given(note, "medication_volume") if fact.role in ("anticoagulant", "prime")]
    unlike = any(fact.scale in _NOT_WHOLE for fact in (*drawn, *gone)) or bool(given(note, "injection_total"))
    unlike = unlike or (len(drawn) > 1 if made else bool(given(note, "processing")))
    if unlike or len(gone) < 2 or not away:
        return []
    agents = [] if made else agents
    spans = [[span(as_millilitres(fact), "mL") for fact in facts] for facts in (drawn, gone, agents)]
    if any(one is None for part in spans for one in part):
        return []
    there, went, mixed = (added([one for one in part if one is not None]) for part in spans)
    most = (there + mixed).high
    if most is None or went.low is None or went.low <= most:
        return []
    return [
        finding(
            "harvest_balance", "warning",
            f"{span_words(went, 'mL')} were given and thrown away of {span_words(there, 'mL')}.", [*drawn, *gone],
            arithmetic=f"given and thrown away {span_words(went, 'mL')} > drawn {span_words(there, 'mL')}",
            ask="Say which is right: what was drawn, given or thrown away.", about="gone",
        )
    ]  # fmt: skip
