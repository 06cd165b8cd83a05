"""The share of anticoagulant in an aspirate: said, worked out, and the rule."""

from __future__ import annotations

from decimal import Decimal

from pipeline.checks.base import added, exact, finding, given, read, rounded, shown, span, span_words, tokenized
from pipeline.grammar import Grammar
from pipeline.limits import limit
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "The said share of anticoagulant is not the worked one, or the worked one is not by the configured rule."

_CITRATES = frozenset({"acd-a", "sodium-citrate", "acd"})  # given to nobody: they keep the marrow from clotting
_ROUNDING = Decimal(1)  # percentage point: shares are said in whole per cent


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    # What primed the kit was let out again and is no part of the aspirate.
    agents = [fact for fact in given(note, "medication_volume") if fact.role == "anticoagulant"
              or (fact.role is None and fact.name in _CITRATES)]  # fmt: skip
    marrow_facts = _whole(given(note, "harvest_total")) or given(note, "draw")
    if any(fact.scale == "each" for fact in agents):
        # "2 mL of heparin in each syringe, 8 mL of marrow into each": the share of one is that of all.
        marrow_facts = [fact for fact in given(note, "draw") if fact.scale == "each"]
        if len(agents) != 1 or len(marrow_facts) != 1:
            return [] if marrow_facts else _in_one_breath(note, agents)
    if not marrow_facts and agents:
        return _in_one_breath(note, agents)
    spans = [span(fact, "mL") for fact in marrow_facts]
    volumes = [exact(fact, "mL") for fact in agents]
    if not agents or not spans or any(one is None for one in spans) or any(one is None for one in volumes):
        return []
    marrow = added([one for one in spans if one is not None])
    agent = sum((one for one in volumes if one is not None), Decimal(0))
    if any(fact.scale == "each" for fact in marrow_facts) and not any(fact.scale == "each" for fact in agents):
        return []
    if marrow.low is None or marrow.low != marrow.high or marrow.low <= 0:
        return []
    of_marrow, of_whole = agent / marrow.low * 100, agent / (agent + marrow.low) * 100
    worked = (
        f"{rounded(agent)} mL / {span_words(marrow, 'mL')} = {rounded(of_marrow, 1)} % of the marrow, "
        f"{rounded(of_whole, 1)} % of the whole"
    )
    concerned = [*agents, *marrow_facts]
    said = [(fact, share) for fact in given(note, "anticoagulant_share") if (share := _percent(fact)) is not None]
    if said:
        return [
            _differs(fact, concerned, worked)
            for fact, share in said
            if all(abs(share - one) > _ROUNDING for one in (of_marrow, of_whole))
        ]
    return _by_rule(note, grammar, concerned, worked, of_marrow, of_whole)


def _whole(totals: list[Fact]) -> list[Fact]:
    """ "Left crest twenty, right crest twenty, together forty": the last is what the others come to."""
    last = max(totals, key=lambda fact: fact.evidence.first, default=None)
    rest = [fact for fact in totals if fact is not last]
    parts = sum((fact.value or Decimal(0) for fact in rest), Decimal(0))
    return [last] if last is not None and rest and last.value == parts else totals


def _percent(fact: Fact) -> Decimal | None:
    """The share in per cent, also where it was said as "one part in ten" (of the whole) or "one to nine"."""
    if fact.unit == "%":
        return fact.value
    words = (fact.text or "").lower().split()
    numbers = [token.quantity.high or token.quantity.value for token in tokenized(fact.text or "")
               if token.quantity is not None]  # fmt: skip
    parts = numbers[-1] if numbers else None
    if parts is None or parts <= 0:
        return None
    return 100 / (parts + 1 if "to" in words else parts)


_MARROW = frozenset({"marrow", "blood", "aspirate"})


def _in_one_breath(note: OperativeNote, agents: list[Fact]) -> list[Finding]:
    """ "Six mils of ACD-A to fifty-four of marrow, that is five per cent": no harvest was told, but its share."""
    found: list[Finding] = []
    for passage in note.sections.description:
        shares = [fact for fact in given(note, "anticoagulant_share") if passage.holds(fact) and _percent(fact)]
        here = [fact for fact in agents if passage.holds(fact)]
        if len(shares) != 1 or len(here) != 1 or (agent := exact(here[0], "mL")) is None:
            continue
        tokens = read(passage)
        marrow = [
            token.quantity.value
            for at, token in enumerate(tokens)
            if token.quantity is not None and token.quantity.unit == "mL" and token.quantity.value is not None
            and (_MARROW & {word.norm for word in tokens[at + 1 : at + 3]} or tokens[at - 1].norm in _MARROW)
        ]  # fmt: skip
        if len(marrow) != 1 or marrow[0] <= 0:
            continue
        of_marrow, of_whole = agent / marrow[0] * 100, agent / (agent + marrow[0]) * 100
        worked = (
            f"{rounded(agent)} mL / {rounded(marrow[0])} mL = {rounded(of_marrow, 1)} % of the marrow, "
            f"{rounded(of_whole, 1)} % of the whole"
        )
        share = _percent(shares[0])
        if share is not None and all(abs(share - one) > _ROUNDING for one in (of_marrow, of_whole)):
            found.append(_differs(shares[0], here, worked))
    return found


def _differs(share: Fact, concerned: list[Fact], worked: str) -> Finding:
    return finding(
        "anticoagulant_share",
        "warning",
        f"The share of anticoagulant was said as {shown(share)}; the volumes give another one.",
        [*concerned, share],
        arithmetic=f"{worked}, said: {shown(share)}",
        ask="Say which is right: the share, the volume of anticoagulant or that of the marrow.",
    )


def _by_rule(
    note: OperativeNote, grammar: Grammar, concerned: list[Fact], worked: str, of_marrow: Decimal, of_whole: Decimal
) -> list[Finding]:
    drug = concerned[0].name or ""
    own = limit(grammar, note.profile, "share", drug=drug)
    rule = own or limit(grammar, note.profile, "share")
    slack = limit(grammar, note.profile, "share_slack")
    if rule is None or rule.value is None or slack is None or slack.value is None:
        return []
    share = of_whole if own is not None else of_marrow
    if abs(share - rule.value) <= slack.value:
        return []
    return [
        finding(
            "anticoagulant_share",
            "note",
            f"The anticoagulant is {rounded(share, 1)} %, the configured rule is {rounded(rule.value)} %.",
            concerned,
            arithmetic=f"{worked}; rule: {rounded(rule.value)} % ({rule.source})",
            ask="Say the volumes again if they were misheard; if the rule does not hold here, nothing.",
            about="rule",
        )
    ]
