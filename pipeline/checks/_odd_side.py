"""A side that is said once against all others: the other name of an operation that has its side in it ("right
hemicolectomy ... we started the left hemicolectomy"), or a part that is told on the operated side elsewhere ("vein
harvest, left leg ... taken from the right leg")."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.checks._asides import is_aside
from pipeline.checks._side_words import Clash
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence, Fact

_SIDED_NAME = re.compile(r"(?:^|-)(left|right)-")
_WAY = re.compile(r"^(?:laparoscopic|robotic|open|extended|total|partial|radical|simple)-")
# Parts of which there are two, in words of their region. Common anatomy, no source.
_REGIONS = (
    "breast chest axilla chestwall", "lung chest hemithorax pleura thorax", "groin scrotum testis testicle cord",
    "kidney flank ureter loin", "leg thigh calf groin", "arm forearm", "neck carotid", "eye", "ear mastoid",
    "ovary tube adnexa", "nostril maxilla cheek", "breast flap",
)
_PARTS = "|".join(sorted({word for region in _REGIONS for word in region.split()} - {"chestwall"}))
_SAID = re.compile(r"\b(?P<side>left|right) (?:(?:lower|upper|whole|entire) )?"
                   rf"(?P<part>internal mammary(?= vessel)|{_PARTS})\b", re.IGNORECASE)
# Where the other side is rightly spoken of. Common practice, no source.
_OTHERWISE = re.compile(
    r"\b(?:other|opposite|contralateral|both|bilateral\w*|each|normal|healthy|compar\w+|symmetr\w+|uninvolved|drip|iv|"
    r"intravenous|cannula|line|pressure|cuff|padd\w+|support\w*|flex\w*|abduct\w*|posit\w+|tuck\w*|arm ?board|pulse|"
    r"previous\w*|prior|old|earlier|ago|donor|graft|skin|if|later|next|second|instead|not|no|without|unlike|"
    r"than|also|too|turned|lateral|up|down|prepped|tube|head|cross\w*|mobile|extended|"
    r"retract\w+|hand|follow\w*|surveillance)\b", re.I,
)  # fmt: skip
_BOTH = re.compile(r"\b(?:(?:other|opposite|contralateral|second|first) side|bilateral|both sides)\b", re.IGNORECASE)
_ELSEWHERE = frozenset({"indication", "history", "imaging", "consent", "aftercare", "follow-up"})
_AROUND = 60  # letters


def odd_sides(note: OperativeNote) -> Iterator[Clash]:
    """The first of each sort. Pure."""
    for reader in (_in_a_name, _of_a_part, _of_a_puncture):
        found = reader(note)
        if found is not None:
            yield found


def _in_a_name(note: OperativeNote) -> Clash | None:
    """The same operation with the other side in its name."""
    told: dict[str, tuple[str, Fact]] = {}
    for fact in note.of("procedure", given=True):
        side = _SIDED_NAME.search(_bare(fact))
        if side is None or fact.certainty != "affirmed" or fact.doubts:
            continue
        rest = _bare(fact).replace(side[1], "", 1)
        known, first = told.setdefault(rest, (side[1], fact))
        passage = next((one for one in note.sections.description if one.holds(fact)), None)
        if passage is None or passage.section == "procedure" or "heart" in rest:
            continue  # two of a list: "left heart catheterization, right heart catheterization"
        if known != side[1] and not is_aside(note, fact.evidence, _side(side[1])):
            return Clash(first.evidence.heard, fact.evidence.heard, fact.evidence, "name")
    return None


def _bare(fact: Fact) -> str:
    return _WAY.sub("", fact.name or "")


def _side(said: str) -> str:
    return "left" if said.lower() == "left" else "right"


def _of_a_part(note: OperativeNote) -> Clash | None:
    """One part on the side of the operation, or that its title names, and once on the other."""
    if any(_BOTH.search(passage.text) for passage in note.sections.description):
        return None
    operated = [fact for fact in note.of("procedure", given=True) if fact.laterality]
    sides = {str(fact.laterality) for fact in operated}
    region = {word for fact in operated for one in _REGIONS if (fact.body_site or "-") in one.split()
              for word in one.split()}  # fmt: skip
    said = [(passage, match) for passage in note.sections.description for match in _SAID.finditer(passage.text)
            if passage.section not in _ELSEWHERE]  # fmt: skip
    for part in dict.fromkeys(match["part"].lower() for _, match in said):
        here = [(passage, match) for passage, match in said if match["part"].lower() == part]
        named = {_side(match["side"]) for passage, match in here if passage.section == "procedure"}
        side = next(iter(sides or named)) if len(sides or named) == 1 else ""
        mine = part in region or part == "internal mammary" and "breast" in region
        mine = mine or any(_side(match["side"]) == side for _, match in here)
        astray = [(passage, match) for passage, match in here if _side(match["side"]) != side]
        if side not in ("left", "right") or not mine or len(astray) != 1:
            continue
        passage, match = astray[0]
        listed = any(there is passage and abs(one.start() - match.start()) < _AROUND and one is not match
                     for there, one in here)  # fmt: skip
        taken = part in region and re.search(r"\bfrom (?:the )?$", passage.text[: match.start()], re.IGNORECASE)
        if listed or taken:
            continue  # "right arm three percent, left arm three percent"; "vein from the left thigh"
        around = passage.text[max(0, match.start() - _AROUND) : match.start()] + passage.text[match.end() :][:_AROUND]
        if not _OTHERWISE.search(around) and not is_aside(note, _place(passage, match), _side(match["side"])):
            said_first = f"{operated[0].evidence.heard} ({side})" if operated else f"{side} {part}"
            return Clash(said_first, match.group(), passage.evidence, "part")
    return None


_ACCESS = re.compile(
    r"\b(?P<side>left|right) (?:common )?(?:groin|femoral|cfa|radial|brachial)(?: (?:artery|vein))?\b", re.IGNORECASE
)
_SHUT = re.compile(
    r"\b(?:press\w*|compress\w*|closed|sealed|closure|device|angio-?seal|ha?emosta\w+|dry)\b", re.IGNORECASE
)


def _of_a_puncture(note: OperativeNote) -> Clash | None:
    """ "Right common femoral punctured ... left groin pressed": closed where nothing was opened."""
    if any(_BOTH.search(passage.text) for passage in note.sections.description):
        return None
    said = [(passage, match) for passage in note.sections.description for match in _ACCESS.finditer(passage.text)
            if passage.section not in _ELSEWHERE]  # fmt: skip
    shut = [(passage, match) for passage, match in said
            if _SHUT.match(passage.text[match.end() :].lstrip(" ,").removeprefix("was "))]
    opened = {_side(match["side"]) for passage, match in said if (passage, match) not in shut}
    if len(shut) != 1 or len(opened) != 1 or _side(shut[0][1]["side"]) in opened or len(said) < _THREE:
        return None
    first = next(match for passage, match in said if (passage, match) not in shut)
    return Clash(first.group(), shut[0][1].group(), shut[0][0].evidence, "puncture")


_THREE = 3  # mentions


def _place(passage: Passage, match: re.Match[str]) -> Evidence:
    at = passage.evidence.first + len(passage.text[: match.start()].split())
    return Evidence(at, at, None, None, match.group())
