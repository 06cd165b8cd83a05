"""Injections against their stated total, and against what there was to inject."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from pipeline.checks import _into
from pipeline.checks.base import (
    EACH_OF_TWO,
    Span,
    added,
    as_millilitres,
    finding,
    given,
    plain,
    read,
    shown,
    span,
    span_words,
)
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding

MEANING = "The injections do not add up to the stated total, or more was injected than was harvested or made."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    parts = given(note, "injection_volume")
    whole = [fact for fact in parts if fact.scale == "total"] + given(note, "injection_total")
    single = _without_sum(note, [fact for fact in parts if fact.scale not in ("total", "each", "per_side")])
    found: list[Finding] = []
    for total in whole:
        one = _compare(single, total)
        if one is not None:
            found.append(one)
    more = _more_than_there_was(note, single, whole) or _more_for_each(note, parts)
    return found + (more or _told_into(note))


def _without_sum(note: OperativeNote, parts: list[Fact]) -> list[Fact]:
    """ "Four into the tear and two around the tendon, so six went in": the last is what the others come to."""
    if len(parts) < 3 or any(fact.value is None or fact.unit != parts[0].unit for fact in parts):
        return parts
    first = min(parts, key=lambda fact: fact.evidence.first)
    others = [fact for fact in parts if fact is not first]
    if sum(fact.value or 0 for fact in others) == first.value and any(
        all(passage.holds(fact) for fact in parts) for passage in note.sections.description
    ):
        return others  # "60 mL injected, 30 mL medial and 30 mL lateral"
    last = max(parts, key=lambda fact: fact.evidence.first)
    rest = [fact for fact in parts if fact is not last]
    passage = next((one for one in note.sections.description if one.holds(last)), None)
    words = passage.text.lower().split() if passage is not None else []
    at = last.evidence.first - passage.evidence.first if passage is not None else 0
    led = _SO & {word.strip(",.;") for word in words[max(0, at - 3) : at + 1]}
    return rest if led and sum(fact.value or 0 for fact in rest) == last.value else parts


_SO = frozenset({"so", "together", "altogether", "total", "makes"})


def _compare(parts: list[Fact], total: Fact) -> Finding | None:
    said, spans = span(total, "mL"), [span(part, "mL") for part in parts]
    worked = _sum(spans)
    if said is None or worked is None or len(parts) < 2 or worked.meets(said):
        return None
    terms = " + ".join(span_words(one, None) for one in spans if one is not None)
    return finding(
        "injection_total",
        "warning",
        f"The injections add up to {span_words(worked, 'mL')}, the stated total is {shown(total)}.",
        [*parts, total],
        arithmetic=f"{terms} = {span_words(worked, 'mL')}, said: {shown(total)}",
        ask="Say which is right: a volume, the total, or an injection that was not said.",
    )


def _sum(spans: list[Span | None]) -> Span | None:
    known = [one for one in spans if one is not None]
    return added(known) if known and len(known) == len(spans) else None


def _more_than_there_was(note: OperativeNote, parts: list[Fact], whole: list[Fact]) -> list[Finding]:
    """Marrow given against marrow made or drawn. Only injections that are no medicine count."""
    given_facts = whole if whole else parts
    given_facts = [fact for fact in given_facts if _is_marrow(fact)]
    made = _products(note) or given(note, "harvest_total") or given(note, "draw")
    counted = [as_millilitres(one) for one in given_facts]  # "nine millilitres came out, four laterally"
    injected, available = _sum([span(f, "mL") for f in counted]), _sum([span(as_millilitres(f), "mL") for f in made])
    if injected is None or available is None or any(fact.scale == "each" for fact in made):
        return []
    # What keeps the marrow from clotting is in the bag that it was drawn into, and not added to what was made of it.
    drawn = not any(fact.kind == "product_volume" for fact in made)
    extra = [fact for fact in given(note, "medication_volume") if fact.role in ("anticoagulant", "prime") and drawn]
    spare = _sum([span(fact, "mL") for fact in extra]) or Span(Decimal(0), Decimal(0))
    if injected.low is None or available.high is None or injected.low <= available.high + (spare.high or 0):
        return []
    if _is_mixed(note, given_facts, available.high):
        return []
    return [
        finding(
            "injection_total",
            "warning",
            f"{span_words(injected, 'mL')} were injected, but only {span_words(available, 'mL')} were there.",
            [*made, *given_facts],
            arithmetic=f"injected {span_words(injected, 'mL')} > available {span_words(available, 'mL')}",
            ask="Say which is right: what was harvested, what was made of it, or what was injected.",
            about="available",
        )
    ]


def _is_mixed(note: OperativeNote, parts: list[Fact], there: Decimal) -> bool:
    """ "Twenty mils of marrow mixed with ten mils of allograft chips, so thirty mils of graft": with what was added."""
    for passage in note.sections.description:
        tokens = read(passage)
        told = [one.value for token in tokens if (one := token.quantity) is not None and one.unit == "mL"]
        if there in told:
            told.remove(there)  # the marrow itself
        if any(token.norm in _ADDED for token in tokens) and any(
            passage.holds(fact) and fact.value is not None and fact.value - there in told for fact in parts
        ):  # fmt: skip
            return True
    return False


_ADDED = frozenset({"mixed", "plus", "added", "combined", "with"})


def _more_for_each(note: OperativeNote, parts: list[Fact]) -> list[Finding]:
    """ "Eight millilitres of concentrate ... six millilitres into each knee": both together against what was made."""
    made = [fact for fact in _products(note) if fact.value is not None and fact.unit == "mL"]
    shared = [fact for fact in parts if fact.scale in ("each", "per_side") and _is_marrow(fact) and fact.value]
    if len(made) != 1 or len(shared) != 1 or len(parts) != 1 or shared[0].unit != "mL":
        return []
    if not _is_of_two(note, shared[0]):
        return []
    each, amount = shared[0].value or Decimal(0), made[0].value or Decimal(0)
    if each * 2 <= amount:
        return []
    return [
        finding(
            "injection_total", "warning",
            f"{plain(each * 2)} mL were injected, but only {shown(made[0])} were there.", [*made, *shared],
            arithmetic=f"2 x {plain(each)} = {plain(each * 2)} mL > {shown(made[0])}",
            ask="Say which is right: what was made, or what went into each.", about="available",
        )
    ]  # fmt: skip


def _is_of_two(note: OperativeNote, fact: Fact) -> bool:
    return fact.scale == "per_side" or any(
        passage.holds(fact) and EACH_OF_TWO.search(passage.text) for passage in note.sections.description
    )


def _products(note: OperativeNote) -> list[Fact]:
    """What was made; of two that were said, none that is all that was drawn ("seventy altogether, spun to twelve")."""
    made = given(note, "product_volume")
    counts = sum((fact.value or Decimal(0) for fact in given(note, "draw_count")), Decimal(0))
    drawn = {fact.value for fact in given(note, "harvest_total")}
    drawn |= {counts * fact.value for fact in given(note, "draw") if fact.value is not None}
    left = [fact for fact in made if fact.value not in drawn]
    return left if left and len(made) > 1 else made


def _told_into(note: OperativeNote) -> list[Finding]:
    """ "Spun to ten millilitres ... seventeen of it into the femoral head and three into the joint": read from the
    sentences, since not every share is an entry. Drugs and what is put into syringes do not count."""
    made = [fact for fact in _products(note) if fact.value is not None and fact.unit == "mL"]
    if len(made) != 1:
        return []
    amount = made[0].value or Decimal(0)
    shares: list[Decimal] = []
    where: Passage | None = None
    for passage in note.sections.description:
        if passage.evidence.last <= made[0].evidence.first:
            continue
        for value in _into.shares(note, passage, made[0]):
            shares.append(value)
            where = passage
    if where is None or sum(shares) <= amount or (amount in shares and sum(shares) == amount * 2):
        return []
    terms = " + ".join(plain(one) for one in shares)
    told = finding(
        "injection_total", "warning",
        f"{plain(sum(shares, Decimal(0)))} mL were given, but only {shown(made[0])} were made.", made,
        arithmetic=f"{terms} = {plain(sum(shares, Decimal(0)))} mL > {shown(made[0])}",
        ask="Say which is right: what was made, or what was injected.", about="into",
    )  # fmt: skip
    return [replace(told, evidence=(*told.evidence, where.evidence))]


_OWN = ("marrow", "concentrate", "fat", "plasma", "stem", "blood", "lysate")  # of the patient


def _is_marrow(fact: Fact) -> bool:
    name = fact.name or ""
    return name == "" or any(part in name for part in _OWN)
