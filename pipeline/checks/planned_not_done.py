"""A procedure that was planned, and of which nobody said that it was done or left out."""

from __future__ import annotations

import re

from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding

MEANING = "A procedure was said as planned before the operation, and never as done or as left out."

# "Had been planned, vein too small so not done": left out, and the reason told.
_OUT = re.compile(
    r"\b(?:left alone|not (?:done|performed|carried out|possible|needed|required|attempted|indicated)|abandoned|"
    r"deferred|aborted|cancelled|canceled|postponed|omitted|instead|rather than|declined|refused|convert(?:ed)?|"
    r"conversion|no need|unnecessary|not necessary|did not need|did without|skipped|dropped|gave up|decided "
    r"against|but (?:then |in the end )?(?:we |i )?(?:did|performed|made|ended up|opted|chose|proceeded)|"
    r"(?:next|another|a later|a second) (?:stage|sitting|session|time|date))\b",
    re.IGNORECASE,
)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    procedures = note.of("procedure")
    done = [fact for fact in procedures if fact.status == "performed" and fact.certainty != "suspected"]
    settled = {fact.name for fact in done} | {fact.name for fact in note.of("act") if fact.status == "performed"}
    begun = _first_step(note)
    found: list[Finding] = []
    told: set[str | None] = set()
    for fact in procedures:
        if fact.status != "planned" or fact.certainty == "negated" or fact.name in settled | told:
            continue
        if _is_kind_of(note, fact):
            continue
        if _left_out(note, fact) or _was_before(note, fact) or any(_more_exact(one, fact, grammar) for one in done):
            continue
        # Planned after the first step is what will be done another day; before it, it was for today.
        start = begun if begun is not None else min((one.evidence.first for one in done if one.evidence.first
                                                     > fact.evidence.first), default=None)  # fmt: skip
        if start is None or (fact.evidence.first > start and not _was_planned(note, fact)):
            continue
        told.add(fact.name)
        found.append(
            finding(
                "planned_not_done",
                "warning",
                f"{called(fact, grammar)} was planned; the note does not say that it was done.",
                [fact],
                ask="Say that it was done, or that it was left out and why.",
            )
        )
    return found + _acts(note) + _drains(note, grammar) + _other_side(note, grammar)


# Acts that are operations by themselves, if a part stands before them: "a psoas release", "lateral tenodesis".
_OPERATIONS = frozenset({"release", "tenodesis", "tenotomy", "fusion", "arthrodesis", "osteotomy", "transfer",
                         "lengthening", "reconstruction", "transplantation", "decompression"})  # fmt: skip
_LEFT = re.compile(r"\b(?:left (?:alone|as|it|them|be)|spared|untouched|no need|did not|didn't|was not|were not|not)\b")
_BESIDE = 9  # words from the part to what was made of it


def _acts(note: OperativeNote) -> list[Finding]:
    """The same of acts that no row of procedures names: the part that they are of is looked for."""
    performed = [fact for fact in note.of("act", "procedure") if fact.status == "performed"]
    done = {fact.name for fact in performed}
    last = max((fact.evidence.first for fact in performed if fact.kind == "procedure"), default=-1)
    found: list[Finding] = []
    for fact in note.of("act"):
        if fact.status != "planned" or fact.certainty == "negated" or fact.name not in _OPERATIONS or fact.name in done:
            continue
        passage = next((one for one in note.sections.description if one.holds(fact)), None)
        words = passage.text.lower().split() if passage is not None else []
        at = fact.evidence.first - passage.evidence.first if passage is not None else 0
        part = words[at - 1].strip(",") if at else ""
        if fact.evidence.first > last or len(part) < 4 or any(
            (name or "").endswith(f"-{fact.name}") for name in done) or _left_out(note, fact):  # fmt: skip
            continue
        story = " ".join(one.text.lower() for one in note.sections.description)
        later = re.findall(rf"\b{re.escape(part)}\b((?: [\w']+[,.]?){{0,{_BESIDE}}})", story)
        if any(_LEFT.search(one) for one in later):
            continue
        found.append(
            finding(
                "planned_not_done", "warning",
                f"{part} {fact.name} was planned; the note does not say that it was done.", [fact],
                ask="Say that it was done, or that it was left out and why.",
            )
        )  # fmt: skip
    return found


_MEANT = re.compile(r"\b(?:plan (?:was|is|had been)|planned|intended|meant to|wanted to)\b", re.I)
_NONE = re.compile(r"\b(?:none|no drain|without)\b", re.I)


def _drains(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """ "The plan was for a drain", and no word of one that was placed, or of none."""
    drains = note.of("drain")
    if any(fact.status != "planned" or fact.certainty == "negated" for fact in drains):
        return []
    meant = [
        fact for fact in drains
        if not _left_out(note, fact) and any(
            passage.holds(fact) and passage.section not in _AHEAD and _MEANT.search(passage.text)
            and not _NONE.search(passage.text)
            for passage in note.sections.description
        )
    ]  # fmt: skip
    return [
        finding(
            "planned_not_done", "warning",
            f"{called(fact, grammar)} was planned; the note does not say that it was placed.", [fact],
            ask="Say that it was placed, or that it was left out and why.",
        )
        for fact in meant[:1]
    ]  # fmt: skip


_AHEAD = frozenset({"aftercare", "follow-up"})
_ONE_SIDE = re.compile(r"\b(?:only|other side|contralateral|later|another day|next|not|stage[ds]?|alone)\b", re.I)


_GOT = r"\b{} (?:one|side|knee|hip|shoulder|ankle|elbow|wrist) (?:then )?(?:gets|got|receives|received|had|has)\b"


def _other_side(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """Agreed on or planned for both sides, and told of one."""
    both = [fact for fact in note.of("procedure", "consent", "time_out") if fact.laterality == "bilateral"
            and fact.certainty == "affirmed" and (fact.status == "planned" or fact.kind != "procedure")]  # fmt: skip
    done = [fact for fact in note.of("procedure", "act", "injection", "injection_volume", given=True)
            if fact.laterality is not None]  # fmt: skip
    sides = {fact.laterality for fact in done}
    if not both or len(sides) != 1 or "bilateral" in sides:
        return []
    told = [passage.text for passage in note.sections.description if any(passage.holds(fact) for fact in done)]
    if _ONE_SIDE.search(" ".join(told)):
        return []
    other = "left" if sides == {"right"} else "right"
    if any(re.search(_GOT.format(other), passage.text, re.I) for passage in note.sections.description):
        return []  # "the left one gets the other five": told, though no entry holds it
    return [
        finding(
            "planned_not_done", "warning",
            f"{called(both[0], grammar, 'The operation')} was said for both sides; only the {done[0].laterality} side "
            "is told as done.",
            [both[0], done[0]], ask="Say that the other side was done, or why it was not.", about="side",
        )
    ]  # fmt: skip


# "Microfracture was planned", "a trephination had been planned": for today, wherever in the story it stands.
_WAS = re.compile(r"^(?:\W|release|repair|it)* ?(?:was|were|had been|has been)(?: \w+ly| also| first)? "
                  r"(?:planned|intended|scheduled|meant)\b(?! (?:for|in|as|at|on|next|later))", re.I)  # fmt: skip


_SORT = re.compile(r"\b(?:having|for|is|was|did|this|as) (?:an?|the|her|his) (?:planned|scheduled|elective|booked)$")


def _is_kind_of(note: OperativeNote, fact: Fact) -> bool:
    """ "We're having a planned caesarean": what sort of operation this is."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    before = passage.text.lower().split()[: fact.evidence.first - passage.evidence.first] if passage else []
    return _SORT.search(" ".join(before)) is not None


def _was_planned(note: OperativeNote, fact: Fact) -> bool:
    for passage in note.sections.description:
        if passage.holds(fact):
            words = passage.text.split()
            return _WAS.match(" ".join(words[fact.evidence.last - passage.evidence.first + 1 :])) is not None
    return False


def _first_step(note: OperativeNote) -> int | None:
    steps: list[Fact] = [
        fact
        for fact in note.of("act", "approach", "injection", "draw", "device", "suture", "finding", "aftercare", "drain")
        if fact.status in ("performed", "planned") and fact.certainty != "negated"
    ]
    return min((fact.evidence.first for fact in steps), default=None)


def _left_out(note: OperativeNote, fact: Fact) -> bool:
    passages = note.sections.description
    at = next((at for at, passage in enumerate(passages) if passage.holds(fact)), None)
    return at is not None and any(_OUT.search(passage.text) for passage in passages[at : at + 2])


# "The arteriogram shows", "needle biopsy proven", "who performed the septorhinoplasty": done before this operation.
_SHOWED = re.compile(
    r"\b(?:show\w*|reveal\w*|prove[nd]?|demonstrat\w*|confirm\w*|suggest\w*|report\w*|result\w*|positive|negative|ago|"
    r"years?|previously)\b"
)
_HAD = re.compile(r"\b(?:underwent|performed|had|status post|s/p|previous|prior|after|following|since|post-?op)\b")
_REACH = 6  # words


def _was_before(note: OperativeNote, fact: Fact) -> bool:
    """Whether the words around it tell of it as of something that was there before the operation."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None:
        return False
    words = passage.text.lower().split()
    first, last = fact.evidence.first - passage.evidence.first, fact.evidence.last - passage.evidence.first
    behind = " ".join(words[last + 1 : last + 1 + _REACH]).split(".")[0]
    return bool(_SHOWED.search(behind) or _HAD.search(" ".join(words[max(0, first - _REACH) : first])))


def _more_exact(done: Fact, fact: Fact, grammar: Grammar) -> bool:
    """Whether what was done is the planned thing said more exactly: "hysterectomy", "vaginal hysterectomy"."""
    plan = set(called(fact, grammar).lower().split())
    return bool(plan) and plan <= set(called(done, grammar).lower().split()) and not (
        fact.laterality and done.laterality and fact.laterality != done.laterality
    )
