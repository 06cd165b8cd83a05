"""Left and right of the operation across the whole note; the harvest side may differ."""

from __future__ import annotations

import re

from pipeline import laterality
from pipeline.checks._asides import around, before_work, is_aside, is_treated
from pipeline.checks._both_sides import announced
from pipeline.checks._further_illness import is_of_a_list
from pipeline.checks._limb_sides import limb_clashes
from pipeline.checks._lying_sides import lying_clashes
from pipeline.checks._odd_side import odd_sides
from pipeline.checks._own_side import own_side
from pipeline.checks._parts_astray import part_astray
from pipeline.checks._side_places import TOGETHER, each_limb, in_list, in_one, is_one_more, under_label
from pipeline.checks._side_words import clashes
from pipeline.checks._worn import both_told, is_worn
from pipeline.checks.base import called, finding, placed, related_sites, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Severity
from pipeline.rows import Concept, Kind

MEANING = "Two statements of the note name different sides of the same operation; the harvest side is its own."

# What is said of the operation as a whole: another side there is a contradiction.
_FIRM = ("preop_diagnosis", "postop_diagnosis", "diagnosis", "consent", "time_out", "site_marking", "injection",
         "injection_volume", "injection_total", "device", "tourniquet", "tourniquet_pressure")  # fmt: skip
_ILL = ("preop_diagnosis", "postop_diagnosis", "diagnosis")
# What may speak of the other side too: it counts where its site is the site of the operation.
_STEPS = ("act", "approach", "preparation", "drain", "closure", "dressing", "specimen", "anaesthesia")
_SEEN = ("finding", "grade", "measurement", "imaging", "indication", "aftercare")
# What was given at a place ("ten mL of lidocaine into the left palm"), beside a graft taken there too.
_GIVEN = ("medication_volume", "medication_dose")
# Said of the healthy side for comparison. Concepts of findings.toml.
_HEALTHY = frozenset({"normal", "intact", "stable", "healthy", "preserved", "no-disease", "patent"})
_LOOKED = frozenset({"inspection", "exploration", "palpation", "examination"})  # the other side may be looked at too


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found = _decubitus(note) + _donor(note, grammar) + _of_the_operation(note, grammar)
    loud = any(one.severity != "note" for one in found)
    return found if loud else found + _worded(note)  # a side that an entry holds was told already


def _worded(note: OperativeNote) -> list[Finding]:
    """Sides that only the words of the note hold; of each sort the first."""
    told = {one.about: one for one in (*lying_clashes(note), *limb_clashes(note), *odd_sides(note), *own_side(note),
                                       *reversed([*clashes(note)]))}  # fmt: skip
    return [
        placed(
            finding("side_conflict", "warning", f"“{one.first}” and “{one.second}” cannot both be right.",
                    ask="Say which side is right.", about=one.about), one.at,
        )
        for one in reversed(told.values())
    ]  # fmt: skip


def _of_the_operation(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """Everything with a side against the side of the procedure."""
    sided = [fact for fact in note.of("procedure", *_FIRM, *_STEPS, *_SEEN, *_GIVEN) if _speaks(fact)]
    harvest = _harvest_sites(note, grammar)
    sided = [fact for fact in sided if not _of_harvest(fact, harvest, grammar)]
    operated = [fact for fact in sided if fact.kind == "procedure" and fact.certainty == "affirmed"]
    sides = {fact.laterality for fact in operated}
    sided = [fact for fact in sided if not _one_each(note, fact, sided)]
    if _on_the_midline(operated, grammar):
        sided = [fact for fact in sided if not _on_both(fact, sided)]
    if not operated:
        firm = [fact for fact in sided if fact.kind in _FIRM or fact.name in _TREATS]
        if firm and {fact.laterality for fact in firm} in ({"left"}, {"right"}):
            worn = [fact for fact in sided if is_worn(fact) and _opposite(firm[0], fact)
                    and not is_aside(note, fact.evidence, fact.laterality)]  # fmt: skip
            if worn and not both_told(note, firm[0].laterality):
                return [_conflict(firm[0], worn[0], grammar, "warning")]
        return (_among(note, firm, grammar) or _act_named(note, firm, sided, grammar)
                or _opened_with(note, sided, grammar) or _fragment(note, firm, grammar))  # fmt: skip
    found = _same_procedure(note, operated, grammar)
    if "bilateral" in sides:
        return found
    if len(sides) > 1:
        found = found or _one_astray(note, operated, sided, grammar)
        astray = part_astray(note, operated, sided, grammar) if not found else None
        return [_conflict(*astray, grammar, "warning")] if astray is not None else found
    wrong = [fact for fact in sided if fact not in operated and _opposite(operated[0], fact)]
    told = [_judged(note, operated, fact, grammar) for fact in wrong]
    levels = [fact for fact in note.of("spinal_level") if _speaks(fact)] if _on_spine(operated, grammar) else []
    if levels and all(_opposite(operated[0], fact) for fact in levels):
        told.append(_conflict(operated[0], levels[0], grammar, "warning"))
    return found + [one for one in told if one is not None]


def _speaks(fact: Fact) -> bool:
    return (
        fact.laterality is not None
        and fact.certainty != "negated"
        and fact.status in ("performed", "planned")
        and fact.role not in ("harvest", "explanted", "used")
        and fact.name not in _WAY_IN | _WORN | _OF_BOTH_LUNGS
        and (fact.name, fact.body_site) != _ACROSS
        and laterality.OTHER_SIDE not in fact.doubts  # "reduction of the other breast": meant to be another one
    )


# What shuts the vessel that one came through lies on the side of the puncture.
_WAY_IN = frozenset({"vascular-closure-device"})
_OF_BOTH_LUNGS = frozenset({"secretions", "mucus"})  # a look down the airway before one side is opened
_WORN = frozenset({"compression-devices"})  # on the leg that lies free
# The other pleura is opened from the side of the operation where the work goes across the midline.
_ACROSS = ("opening", "pleura")


def _one_each(note: OperativeNote, fact: Fact, sided: list[Fact]) -> bool:
    """Whether an injection or a measure is told with one on the other side ("four mils on the left and two on the
    right", "ER 90 L and 95 R"): each has its side, and neither contradicts the operation. A drain that is told again
    in another sentence is one and the same."""
    return fact.kind in _EACH and any(
        other.kind == fact.kind and _opposite(fact, other)
        and abs(other.evidence.first - fact.evidence.first) <= TOGETHER
        and (fact.kind != "drain" or any(one.holds(fact) and one.holds(other) for one in note.sections.description))
        for other in sided
    )  # fmt: skip


def _on_the_midline(operated: list[Fact], grammar: Grammar) -> bool:
    """Whether no operation with a side is on a part of which there are two: the spine has screws on both sides."""
    sites = [site_of(fact, grammar) for fact in operated]
    return all(site is None or site.group == "spine" for site in sites)


def _on_both(fact: Fact, sided: list[Fact]) -> bool:
    """Whether implants of one name are told of for either side."""
    return fact.kind == "device" and any(
        other.kind == "device" and other.name == fact.name and _opposite(fact, other) for other in sided
    )


# Drains that are the treatment: a chest drain for a pneumothorax goes where that is.
_TREATS = frozenset({"chest-tube", "nephrostomy"})
_EACH = frozenset({"injection_volume", "tourniquet", "tourniquet_pressure", "measurement", "grade", "drain", *_GIVEN})


def _opposite(first: Fact, second: Fact) -> bool:
    """Left against right. "Bilateral" is none: a disease of both sides may be treated on one."""
    return {first.laterality, second.laterality} == {"left", "right"}


def _harvest_sites(note: OperativeNote, grammar: Grammar) -> set[str]:
    sites = [site_of(fact, grammar) for fact in note.of("harvest_site")]
    return {name for site in sites if site is not None for name in (site.id, site.within) if name}


def _of_harvest(fact: Fact, harvest: set[str], grammar: Grammar) -> bool:
    """Whether a fact is about the place of the harvest (its closure, its dressing, its portal)."""
    site = site_of(fact, grammar)
    return fact.kind != "procedure" and site is not None and (site.id in harvest or site.within in harvest)


def _judged(note: OperativeNote, operated: list[Fact], fact: Fact, grammar: Grammar) -> Finding | None:
    """A contradiction, a question, or nothing, by what sort of statement it is and where its site lies. What was done,
    seen or ordered in a remark on the other side is a question at most."""
    place = site_of(fact, grammar)
    sites = [site for one in operated if (site := site_of(one, grammar)) is not None]
    related = place is not None and any(
        related_sites(place, site, grammar) and not _other_digit(place, site) for site in sites
    )
    elsewhere = place is not None and bool(sites) and not related
    severity: Severity
    if fact.kind in _FIRM:
        agreed = any(one.laterality == operated[0].laterality for one in note.of("preop_diagnosis", "postop_diagnosis"))
        if is_of_a_list(note, fact, operated, grammar):
            return None
        if fact.kind == "diagnosis" and place is None and agreed:
            return _conflict(operated[0], fact, grammar, "note")  # a disease of the history, beside the diagnosis
        if elsewhere:
            return None
        severity = "blocking" if fact.certainty == "affirmed" else "warning"
    elif fact.kind in _STEPS:
        looked = fact.name in _LOOKED
        severity = "blocking" if related and fact.status == "performed" and not looked else "note"
        if fact.kind == "preparation" and place is None and "head" not in (fact.name or ""):
            severity = "warning"  # "the left leg was prepped": the limb is often no site of its own
        if fact.kind == "anaesthesia" and (place is None or related):
            severity = "warning"  # a block is of the limb that is operated on
        if fact.kind == "drain" and place is None:
            if any(one.holds(fact) and _CREST.search(one.text) for one in note.sections.description):
                return None  # "the crest was closed over a drain"
            severity = "warning"  # a drain lies where was operated
        if fact.kind == "specimen" and place is None:
            severity = "warning"  # "specimen: left ovarian cyst": its side is that of what it was taken from
        if is_worn(fact) and not elsewhere and not both_told(note, operated[0].laterality, fact):
            severity = "warning"
    elif fact.kind in _GIVEN:
        if any(one.laterality == fact.laterality for one in note.of("harvest_site", "injection", "act", "anaesthesia")):
            return None
        severity = "warning" if fact.status == "performed" else "note"
    else:
        treated = is_treated(note, fact.evidence, fact.laterality)
        beside = treated and place is not None and not place.sided  # "left breast lifted off the fascia, normal"
        if (elsewhere and not beside) or (fact.name in _HEALTHY and not treated):
            return None
        near = related or beside or (place is not None and place.group == "spine" and _on_spine(operated, grammar))
        weighed = fact.name == "specimen-weight"  # what was taken out lay on the side of the operation
        severity = "warning" if weighed or (near and fact.kind in ("finding", "grade", "aftercare")) else "note"
        if is_worn(fact) and not elsewhere and not both_told(note, operated[0].laterality, fact):
            severity = "warning"
        if fact.kind in ("finding", "grade") and _before_work(note, fact):
            severity = "note"  # "right lung has plaques", told before anything was opened
        if fact.kind == "aftercare" and each_limb(note, fact, operated[0].laterality):
            severity = "note"  # "fifteen kilograms left leg, right leg full load"
    told = [one for one in note.of(*_ILL) if one is not fact and one.laterality == operated[0].laterality]
    aside = fact.kind not in _FIRM or (fact.kind == "diagnosis" and bool(told))  # a disease that is left as it is, too
    aside = (aside and is_aside(note, fact.evidence, fact.laterality)) or (
        fact.kind == "diagnosis" and _NOT_DONE.search(around(note, fact.evidence, fact.laterality)) is not None
    )
    if aside or announced(note, operated[0], fact) or is_one_more(note, fact, told):
        severity = "note"
    return _conflict(operated[0], fact, grammar, severity)


def _before_work(note: OperativeNote, fact: Fact) -> bool:
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    return passage is not None and before_work(note, passage)


# "R hand: old boxer's fracture, not treated": an illness that is told to be left as it is.
_NOT_DONE = re.compile(r"\b(?:not treated|nothing done|untouched|left alone|observed|healed|not operated)\b", re.I)
_CREST = re.compile(r"\b(?:iliac|crest|psis|asis)\b", re.I)


def _other_digit(one: Concept, other: Concept) -> bool:
    """Two fingers or toes: "fasciectomy of the right little finger and release of the left ring finger"."""
    return one.group == other.group == "digit" and one.id != other.id


def _on_spine(operated: list[Fact], grammar: Grammar) -> bool:
    """ "Left C6 radiculopathy ... fragment found behind the body on the right": a root has the side of its fragment."""
    rows = grammar.table("procedures", Concept)
    return all(fact.name in rows and rows[fact.name or ""].group == "spine" for fact in operated)


def _fragment(note: OperativeNote, firm: list[Fact], grammar: Grammar) -> list[Finding]:
    """The same where the operation on the spine has no side of its own: what presses lies where it hurts."""
    ill = [fact for fact in firm if fact.kind in _ILL]
    if not ill or not _on_spine(note.of("procedure", given=True), grammar):
        return []
    other = next((fact for fact in note.of("finding", given=True) if "fragment" in (fact.name or "")
                  and fact.certainty == "affirmed" and _opposite(ill[0], fact)), None)  # fmt: skip
    return [_conflict(ill[0], other, grammar, "warning")] if other is not None else []


def _among(note: OperativeNote, firm: list[Fact], grammar: Grammar) -> list[Finding]:
    other = next((fact for fact in firm if _opposite(firm[0], fact)), None)
    if other is None or _are_listed(note, firm[0], other):
        return []
    timed = {fact.laterality for fact in note.of("tourniquet_time", given=True)}
    # a tourniquet on either side with a time of its own: both were operated on
    each = firm[0].kind == other.kind == "tourniquet" and {"left", "right"} <= timed
    return [_conflict(firm[0], other, grammar, "note" if each else "blocking")]


def _are_listed(note: OperativeNote, one: Fact, other: Fact) -> bool:
    """ "Bunion right foot, hammertoe left foot": two illnesses in one breath, each with its side."""
    apart = one.name != other.name or (None not in (one.body_site, other.body_site) and one.evidence == other.evidence)
    return one.kind in _ILL and other.kind in _ILL and apart and any(
        passage.holds(one) and passage.holds(other) for passage in note.sections.description
    )


def _act_named(note: OperativeNote, firm: list[Fact], sided: list[Fact], grammar: Grammar) -> list[Finding]:
    """ "Op: debridement R shin ulcer + SSG from L thigh", an ulcer on the left: an act in the operation's name."""
    for act in sided:
        place = site_of(act, grammar) if act.kind == "act" and in_list(note, act) else None
        if place is None:
            continue
        for fact in firm:
            site = site_of(fact, grammar)
            if _opposite(fact, act) and site is not None and related_sites(place, site, grammar):
                return [_conflict(fact, act, grammar, "blocking")]
    return []


def _opened_with(note: OperativeNote, sided: list[Fact], grammar: Grammar) -> list[Finding]:
    """ "Left TAP block. Time out: right side confirmed.": a step with its side at the head of a note that names no
    operation with one."""
    head = note.sections.description[:_HEAD]
    steps = [fact for fact in sided if fact.kind in ("act", "anaesthesia") and fact.certainty == "affirmed"
             and fact.status == "performed" and any(one.holds(fact) for one in head)]  # fmt: skip
    agreed = [fact for fact in sided if fact.kind in ("consent", "time_out", "site_marking")]
    if not steps or not agreed or any(_opposite(steps[0], one) for one in steps):
        return []
    return [_conflict(steps[0], fact, grammar, "warning") for fact in agreed if _opposite(steps[0], fact)][:1]


_HEAD = 2  # passages


def _same_procedure(note: OperativeNote, operated: list[Fact], grammar: Grammar) -> list[Finding]:
    """The same operation said for two sides, neither as bilateral. Two different ones may well have two sides."""
    found: list[Finding] = []
    both = {fact.name for fact in operated if fact.laterality == "bilateral"}
    places = [site for fact in operated if fact.laterality == "bilateral" and (site := site_of(fact, grammar))]
    for index, first in enumerate(operated):
        for second in operated[index + 1 :]:
            own = site_of(first, grammar)
            if first.name in both or (own is not None and any(related_sites(own, one, grammar) for one in places)):
                continue  # "bilateral recession ... right recessed 5 mm, left recessed 5 mm"
            if first.name is not None and first.name == second.name and _opposite(first, second):
                # Both in the list of operations: two operations, unless one of them was a slip.
                listed = all(in_list(note, one) for one in (first, second)) or in_one(note, first, second)
                listed = listed or all(under_label(note, one) for one in (first, second))
                listed = listed or is_aside(note, second.evidence, second.laterality)  # "replaced in twenty eighteen"
                found.append(_conflict(first, second, grammar, "note" if listed else "blocking"))
    return found[:1]


def _one_astray(
    note: OperativeNote, operated: list[Fact], sided: list[Fact], grammar: Grammar
) -> list[Finding]:
    """Operations of two sides, though every diagnosis, consent and time-out names one: the others may be slips."""
    stated = [fact for fact in sided if fact.kind in _STATED and fact.certainty == "affirmed"]
    sides = {fact.laterality for fact in stated}
    if len(sides) != 1 or "bilateral" in sides:
        return []
    places = [site for fact in stated if (site := site_of(fact, grammar)) is not None]
    astray = [fact for fact in operated if _opposite(stated[0], fact) and in_list(note, fact)
              and fact.name not in _BALANCING
              and (own := site_of(fact, grammar)) is not None
              and any(related_sites(own, place, grammar) for place in places)
              and any(one is not fact and one.laterality == stated[0].laterality
                      and (its := site_of(one, grammar)) is not None and related_sites(own, its, grammar)
                      for one in operated)]  # fmt: skip
    opened = [fact for fact in operated if (fact.name or "").endswith(_OPENINGS) and _opposite(stated[0], fact)]
    astray += [fact for fact in opened if fact not in astray]
    if len(astray) == len(operated):
        return []
    return [_conflict(stated[0], fact, grammar, "warning") for fact in astray[:1]]


_BALANCING = frozenset({"breast-reduction", "mastopexy", "breast-augmentation"})  # to match the side that was ill
_OPENINGS = ("craniotomy", "craniectomy")  # the skull is opened on the side of what lies in it
_STATED = ("preop_diagnosis", "postop_diagnosis", "diagnosis", "consent", "time_out", "site_marking")
_LYING = re.compile(r"\b(left|right) lateral(?: decubitus)?\b", re.IGNORECASE)
_UP = re.compile(r"\b(left|right)(?: side| flank| chest| hip)? (?:side )?up(?:wards?|permost)?\b", re.IGNORECASE)


def _decubitus(note: OperativeNote) -> list[Finding]:
    """ "Left lateral decubitus, left side up": who lies on the left side has the right one up."""
    for passage in note.sections.description:
        lying, up = _LYING.search(passage.text), _UP.search(passage.text)
        if lying and up and lying[1].lower() == up[1].lower() and abs(up.start() - lying.end()) < _NEAR:
            return [
                placed(
                    finding("side_conflict", "warning", f"“{lying.group()}” and “{up.group()}” cannot both be right.",
                            ask="Say which side was up.", about="decubitus"), passage.evidence,
                )
            ]  # fmt: skip
    return []


_NEAR = 40  # characters


def _donor(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """A donor site that is told with both sides, where no marrow was drawn (that is taken from both crests)."""
    donors = [fact for fact in note.of("harvest_site") if fact.laterality in ("left", "right") and fact.body_site
              and fact.certainty == "affirmed"]  # fmt: skip
    if not donors or note.of("draw", "draw_count", "harvest_total"):
        return []
    alike = [fact for fact in donors if fact.body_site == donors[0].body_site and _opposite(donors[0], fact)]
    return [_conflict(donors[0], fact, grammar, "warning") for fact in alike[:1]]


def _conflict(first: Fact, second: Fact, grammar: Grammar, severity: Severity) -> Finding:
    kinds = grammar.table("kinds", Kind)
    label = kinds[second.kind].name.lower() if second.kind in kinds else second.kind
    about = called(second, grammar)
    return finding(
        "side_conflict",
        severity,
        f"Side: {called(first, grammar, 'the operation')} was said for the {first.laterality}, "
        f"{label}{f' ({about})' if about else ''} for the {second.laterality}.",
        [first, second],
        ask="Say which side is right.",
    )
