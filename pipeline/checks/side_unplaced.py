"""A side that was said in passing, against that of the operation: "the lids of the left eye" in a right eye's note."""

from __future__ import annotations

import re

from pipeline import laterality
from pipeline.checks._asides import is_aside, is_treated
from pipeline.checks._both_sides import tells_both
from pipeline.checks.base import called, finding, related_sites, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage, SaidSide
from pipeline.records import Fact, Finding
from pipeline.rows import Concept

MEANING = "A side was said that no entry of the note holds, and it is not that of the operation."


_FOR = ("preop_diagnosis", "postop_diagnosis", "diagnosis")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    operated = [fact for fact in note.of("procedure", given=True) if fact.laterality is not None
                and fact.name not in _STOMAS]
    # Where no operation has a side, what it was for may have one.
    ill = not operated
    operated = operated or [fact for fact in note.of(*_FOR, given=True) if fact.laterality is not None]
    sides = {fact.laterality for fact in operated}
    if len(sides) != 1 or "bilateral" in sides:
        return []
    harvest = {fact.body_site for fact in note.of("harvest_site")}
    both = tells_both(note)
    found: list[Finding] = []
    for passage in note.sections.description:
        for said in passage.sides:
            if said.side in sides or said.site in harvest:
                continue
            related = _is_related(said.site, operated, grammar)
            if related is False:
                continue  # the arm with the drip, the side on which the surgeon stood
            if ill and not _is_treated(note, passage, said.site, operated):
                continue
            aside = is_aside(note, said.evidence, said.side) or both or _is_remark(note, passage, said)
            aside = aside or (said.site in _VESSELS and _ACCESS.search(passage.text) is not None)
            aside = aside or any(_GRAFT_OF_OTHER.search(one.text) for one in note.sections.description)
            aside = aside or any(one.laterality == said.side and laterality.OTHER_SIDE in one.doubts
                                 for one in note.of("injection", "injection_volume", given=True))  # done there later
            made = finding(
                "side_unplaced", "warning" if (related or _acted_on(passage, said)) and not aside else "note",
                f"“{said.evidence.heard}” was said; {called(operated[0], grammar, 'the operation')} is on the "
                f"{operated[0].laterality}.", [operated[0]], ask="Say which is right.", about=f"w{said.evidence.first}",
            )  # fmt: skip
            found.append(
                Finding(made.check, made.severity, made.message, made.key, made.ask, made.arithmetic, made.facts,
                        (said.evidence, *made.evidence))
            )  # fmt: skip
    return found


# Their side is where the bowel was brought out, and none of the operation.
_STOMAS = frozenset({"ileostomy", "colostomy", "gastrostomy", "jejunostomy"})


def _is_remark(note: OperativeNote, passage: Passage, said: SaidSide) -> bool:
    """ "Left foot orthotic.", "R kidney compensatory.": a few words on that part alone, and nothing done there."""
    behind = passage.text.split()[said.evidence.last - passage.evidence.first + 1 :]
    words = passage.text.split()
    at = said.evidence.first - passage.evidence.first
    opens = at <= 0 or words[at - 1].endswith((";", "."))  # "NWB R 8 wks; L leg full."
    short = opens and 0 < len(behind) <= _SHORT
    plain = short and all(
        word.strip(".,").isalpha() and not word.strip(".,").endswith(("ed", "ing", "put", "cut")) for word in behind
    )
    done = any(passage.holds(fact) for fact in note.of(*_WORK, given=True))
    measured = _PICTURE.search(passage.text) is not None and _SIZE.match(" ".join(behind[:_BEHIND])) is not None
    return (plain or measured) and not done and not is_treated(note, said.evidence, said.side)


_VESSELS = frozenset({"groin", "femoral-artery", "common-femoral-artery", "femoral-vein", "radial-artery"})
_SHORT = 3  # words
# "Scan: right testis 1.2 mL, left testis 1.4 mL": how large the other one is.
_PICTURE = re.compile(r"\b(?:scan|ultrasound|uss?|sonogram|mri|ct|echo)\b", re.IGNORECASE)
_SIZE = re.compile(r"(?:[a-z]+,? ){0,3}[\d.]+ ?(?:ml|mls|cc|mm|cm|g)\b", re.IGNORECASE)
# "ACL reconstruction with contralateral bone-patellar tendon-bone autograft": the other limb is opened too.
_GRAFT_OF_OTHER = re.compile(
    r"\b(?:contralateral|opposite|other side'?s?) (?:[\w-]+ ){0,5}"
    r"(?:auto)?(?:graft|hamstrings?|tendon|donor|fibula)s?\b|"
    r"\b(?:(?:auto)?graft|patellar tendon|hamstrings?) (?:from|of) the (?:contralateral|opposite|other|left|right)\b",
    re.IGNORECASE,
)
# Where a sheath went in is no side of what was treated through it.
_ACCESS = re.compile(r"\b(?:puncture[ds]?|sheath|access|closure device|angio-?seal)\b", re.IGNORECASE)
_WORK = ("act", "device", "injection", "injection_volume", "approach", "preparation", "drain", "specimen", "closure",
         "procedure", "tourniquet", "site_marking", "time_out", "consent")  # fmt: skip
_ACT = re.compile(
    r"\b(?:punctured|incised|opened|resected|excised|removed|clipped|ligated|divided|drained|biopsied|cannulated|"
    r"stented|dissected|mobili[sz]ed|exposed|entered|repaired|closed|grafted|closing|opening|incising|resecting|excising|"
    r"dividing|dissecting|mobili[sz]ing|exposing|entering|repairing|draining|closure of|entry into|started|began|"
    r"proceeded with|performed|completed|finished|did) (?:the |a |on the |with the |to the )?$", re.IGNORECASE
)  # fmt: skip


def _acted_on(passage: Passage, said: SaidSide) -> bool:
    """ "Punctured the right lower pole" in an operation on the left kidney: something was done there."""
    words = passage.text.split()
    before = " ".join(words[: said.evidence.first - passage.evidence.first]) + " "
    led = _ACT.search(before) or _LED_IN.search(before) or _DRAIN_TO.search(before)
    if led or (_ALL.search(before) and _DRAINED.search(before)):
        return True
    behind = " ".join(words[said.evidence.last - passage.evidence.first + 1 :][:_BEHIND])
    return _DONE.match(behind) is not None


# "Left lower pole punctured", "right chest clipped and prepped"; "it was sewn" tells of where.
_DONE = re.compile(
    r"(?:(?:upper|lower|mid|middle|posterior|anterior|medial|lateral|pole|calyx|calix|chest|it|was|were|is|then|first|"
    r"where) ){0,4}"
    r"(?:punctured|incised|excised|clipped|ligated|cannulated|stented|prepped|draped|shaved|sewn|sutured|harpooned|"
    r"infiltrated|injected|drilled|resected|stapled|divided|marked|blocked)\b", re.IGNORECASE,
)  # fmt: skip
# "Wire up the right side", "needle into the left pedicle"
_LED_IN = re.compile(
    r"\b(?:wire|guidewire|scope|needle|catheter|stent|sheath|trocar|cannula|knife|drill|balloon|lead)s? (?:\w+ )?"
    r"(?:up|into|through|down|along) (?:the |to the )?$", re.IGNORECASE,
)  # fmt: skip
_DRAIN_TO = re.compile(r"\bdrains? (?:\d+ ?(?:F|Fr|Ch|French) )?(?:to the |in the |into the )?$", re.IGNORECASE)
_ALL = re.compile(r"\b(?:both|all)(?: on the| to the)? $", re.IGNORECASE)
_DRAINED = re.compile(r"\b(?:drains?|ports?|trocars?)\b", re.IGNORECASE)
_BEHIND = 5  # words


def _is_treated(note: OperativeNote, passage: Passage, site: str, ill: list[Fact]) -> bool:
    """Whether something is told to be done there, to the very part that is ill or to one that was not named."""
    done = any(passage.holds(fact) for fact in note.of("act", "device", "injection", "injection_volume", given=True))
    return done and (not site or site in {fact.body_site for fact in ill})


def _is_related(site: str, operated: list[Fact], grammar: Grammar) -> bool | None:
    """Whether the part of the body is that of the operation; None where that cannot be told."""
    place = grammar.table("sites", Concept).get(site)
    places = [one for fact in operated if (one := site_of(fact, grammar)) is not None]
    if place is None or not places:
        return None
    return any(related_sites(place, one, grammar) for one in places)
