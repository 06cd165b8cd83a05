"""Sides that only the words of the note hold, where no entry has them: of a donor site, of the way in, in the name of
an operation, of one of two parts. Each reader gives what was said twice; `side_conflict` tells it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.checks._asides import is_aside
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence

_SIDE = r"(?P<side>left|right)"
# "Skin graft from the right thigh", "donor site left thigh", "Donor: alginate, dressing on left thigh".
_DONOR = re.compile(
    r"\b(?:(?:graft|skin|fat|tendon|vein|fascia|cartilage)s?(?: (?:taken|harvested|harvest|cut))?"
    r"(?: with [\w ]{2,20})? from (?:the )?|donor(?:-site)?(?: (?:site|area))?[\s:,]+(?:[\w-]+[\s:,]+){0,7}?)"
    rf"{_SIDE} (?P<part>[a-z]+)\b", re.I
)  # fmt: skip
_OF_ANOTHER = frozenset("lung kidney eye liver heart cornea lobe atrium hand arm".split())  # of a donor, who has both
_MARROW = ("draw", "draw_count", "harvest_total")  # marrow comes from both crests
# Devices that lie under the skin of the chest, and the way to where they lie. Common practice, no source.
_CHEST = re.compile(r"\b(?:ports?|port-a-cath|pacemaker|defibrillator|icd|crt-?[dp]?|generator|hickman|"
                    r"tunnell?ed (?:\w+ ){0,2}(?:line|catheter)|loop recorder)\b", re.I)  # fmt: skip
_WAY = re.compile(
    r"\b(?P<side>left|right|(?-i:[LR])) (?:(?:internal|external|upper|anterior) )?(?:jugular|subclavian|cephalic|"
    r"axillary|clavicle|subclavicular|infraclavicular|deltopectoral|prepectoral|pectoral|chest|neck)\b", re.I
)  # fmt: skip
# The side in the name of the operation, and the disease whose side it must be.
_NAMED = (
    (re.compile(rf"(?<!extended )\b{_SIDE}[- ](?:sided )?(?:hemi-?)?colectomy\b", re.I),
     re.compile(rf"\b{_SIDE}[- ](?:sided )?(?:colon|colonic|hemicolon)\b", re.I)),
    (re.compile(rf"\b{_SIDE}[- ](?:sided )?(?:hemi-?)?hepatectomy\b", re.I),
     re.compile(rf"\b{_SIDE}[- ](?:sided )?(?:lobe of the liver|liver|hepatic|hemiliver)\b", re.I)),
)  # fmt: skip
_INCISION = re.compile(
    rf"\bincision(?: at)? (?:[\d:.]+,? )?{_SIDE} (?!lower|upper|lateral|iliac|groin|flank|sub|para)|"
    rf"\b(?P<before>left|right) (?:gibson|curvilinear|hockey.?stick|oblique) (?:incision|approach)?", re.I
)  # fmt: skip
_PART = re.compile(rf"\b{_SIDE} (?P<part>[a-z]{{4,}})\b(?! (?:clamp|clip|retractor|forceps|scope|telescope|dissector))",
                   re.I)  # fmt: skip
_PARTS = re.compile(
    r"\b(?P<side>left|right|(?-i:[LR])) (?P<part>[a-z]{4,})\b"
    r"(?! (?:clamp|clip|retractor|forceps|scope|telescope|dissector))", re.I
)  # fmt: skip
_TITLES = frozenset({"procedure", "preop-diagnosis", "postop-diagnosis", "diagnosis", "indication", "preop_diagnosis"})
_NO_PART = frozenset(
    "stent stents drain drains wire screw side sided hand lower upper lateral medial distal proximal anterior "
    "posterior internal".split()
)
_OTHER = {"left": "right", "right": "left"}


@dataclass(frozen=True, slots=True)
class Clash:
    """Two places whose sides cannot both be right, as said."""

    first: str
    second: str
    at: Evidence
    about: str


def clashes(note: OperativeNote) -> Iterator[Clash]:
    """Every kind once at most. Pure."""
    for reader in (_donor, _way_in, _in_the_name, _incision, _of_two, _named_only, _crest, _crest_agreed, _pain,
                   _fossa, _graft):
        found = reader(note)
        if found is not None:
            yield found


def _donor(note: OperativeNote) -> Clash | None:
    if note.of(*_MARROW):
        return None
    said = [(passage, match) for passage in note.sections.description for match in _DONOR.finditer(passage.text)]
    for index, (_, match) in enumerate(said):
        for later, other in said[index + 1 :]:
            if other["part"].lower() != match["part"].lower() or other["side"].lower() == match["side"].lower():
                continue
            if match["part"].lower() in _OF_ANOTHER:
                continue
            if not _says_both(note, match["part"]) and not _asides(note, later, other):
                return Clash(match.group(), other.group(), later.evidence, "donor")
    return None


# The crest is looked after where it was opened: "right crest closed with a plaster".
_CREST = re.compile(
    rf"\b{_SIDE} (?:(?:posterior|anterior|iliac) )*(?:crest|psis|asis)(?: (?:was|is|wound|site|stab|puncture))* "
    r"(?:closed|dressed|dressing|sealed|stitched|pressed|plaster|steri-?strips?|pressure)\b", re.I
)  # fmt: skip


# A crest that was agreed on, prepared or used, on a side where none of the marrow is told to have come from.
_AGREED = re.compile(
    r"\b(?P<side>left|right|(?-i:[LR])) (?:(?:posterior|anterior|post|ant|iliac|superior) )*(?:crest|psis|asis)\b", re.I
)
_ANOTHER = re.compile(
    r"\b(?:other|opposite|contralateral|instead|sclerotic|first|tried|scar\w*|avoid\w*|dry|switch\w*|moved|changed|"
    r"too|old|previous\w*|ago|infect\w*|pain\w*|tattoo|rash|not|no|never|both|bilateral|if)\b", re.I
)
_AROUND_CREST = 45  # letters


_AT_TIME_OUT = re.compile(r"\b(?:TO|(?i:time[- ]?out|marked|confirmed|consent\w*|checked|read out|agreed))\b")
_BEGUN = re.compile(r"[.;]|\b(?:began|begun|start\w*|incision|skin|knife|took|taken|drew|pulled)\b", re.I)


def _crests_apart(note: OperativeNote) -> Clash | None:
    """The crest of the time-out and the one that is told of afterwards, where each is on one side only."""
    agreed: list[re.Match[str]] = []
    told: list[tuple[Passage, re.Match[str]]] = []
    for passage in note.sections.description:
        for match in _AGREED.finditer(passage.text):
            lead = _BEGUN.split(passage.text[: match.start()])[-1]
            around = passage.text[max(0, match.start() - _AROUND_CREST) : match.end() + _AROUND_CREST]
            if _AT_TIME_OUT.search(lead):
                agreed.append(match)
            elif _ANOTHER.search(around):
                return None
            else:
                told.append((passage, match))
    sides, others = {_full(match) for match in agreed}, {_full(match) for _, match in told}
    if len(sides) != 1 or len(others) != 1 or sides == others:
        return None
    return Clash(agreed[0].group(), told[0][1].group(), told[0][0].evidence, "crest")


def _crest_agreed(note: OperativeNote) -> Clash | None:
    """ "Time out left knee and left crest ... right posterior crest, prone, ten draws"."""
    drawn = [fact for fact in note.of(*_MARROW, "harvest_site", given=True) if fact.laterality is not None]
    side = str(drawn[0].laterality) if len({fact.laterality for fact in drawn}) == 1 else ""
    if side not in _OTHER:
        return _crests_apart(note) if drawn else None
    for passage in note.sections.description:
        for match in _AGREED.finditer(passage.text):
            around = passage.text[max(0, match.start() - _AROUND_CREST) : match.end() + _AROUND_CREST]
            if _full(match) != side and not _ANOTHER.search(around) and not _asides(note, passage, match):
                return Clash(f"{drawn[0].evidence.heard} ({side})", match.group(), passage.evidence, "crest")
    return None


def _crest(note: OperativeNote) -> Clash | None:
    """Marrow that was drawn on one side, and a crest closed on the other."""
    drawn = [fact for fact in note.of(*_MARROW, given=True) if fact.laterality is not None]
    sides = {fact.laterality for fact in drawn}
    side = next(iter(sides)) if len(sides) == 1 else None
    if side not in _OTHER:
        return None
    said = [(passage, match) for passage in note.sections.description for match in _CREST.finditer(passage.text)]
    if not said or any(match["side"].lower() == side for _, match in said):
        return None
    return Clash(f"{drawn[0].evidence.heard} ({side})", said[0][1].group(), said[0][0].evidence, "crest")


def _says_both(note: OperativeNote, part: str) -> bool:
    pattern = re.compile(rf"\b(?:both|bilateral|each) {part}s?\b|\b(?:left and right|right and left) {part}", re.I)
    return any(pattern.search(passage.text) for passage in note.sections.description)


def _asides(note: OperativeNote, passage: Passage, match: re.Match[str]) -> bool:
    said = passage.evidence.first + len(passage.text[: match.start("side")].split())
    return is_aside(note, Evidence(said, said, None, None, ""), _full(match))


def _titles(note: OperativeNote) -> list[Passage]:
    return [passage for passage in note.sections.description if passage.section in _TITLES]


def _way_in(note: OperativeNote) -> Clash | None:
    """ "Left internal jugular port", "pocket below the right clavicle": the way in and the pocket are on one side."""
    named = [passage for passage in note.sections.description if passage.section == "procedure"
             and _CHEST.search(passage.text)]  # fmt: skip
    title = [(_full(match), match.group()) for passage in named for match in _WAY.finditer(passage.text)]
    title = title or [(fact.laterality or "", f"{fact.evidence.heard} ({fact.laterality})") for passage in named
                      for fact in note.of("procedure", given=True) if passage.holds(fact)]  # fmt: skip
    if len({one for one, _ in title}) != 1 or title[0][0] not in _OTHER:
        return None
    side = title[0][0]
    rest = [(passage, match) for passage in note.sections.description
            if not any(passage is one for one in named) and passage.section not in _TITLES
            for match in _WAY.finditer(passage.text) if not _asides(note, passage, match)]  # fmt: skip
    if not rest or any(_full(match) == side for _, match in rest):
        return None
    return Clash(title[0][1], rest[0][1].group(), rest[0][0].evidence, "way")


def _full(match: re.Match[str]) -> str:
    return {"l": "left", "r": "right"}.get(match["side"].lower(), match["side"].lower())


def _in_the_name(note: OperativeNote) -> Clash | None:
    """ "Left colon cancer", "right hemicolectomy"."""
    titles = _titles(note)
    for done, ill in _NAMED:
        operated = [match for passage in titles if passage.section == "procedure"
                    for match in done.finditer(passage.text)]  # fmt: skip
        diseased = [(passage, match) for passage in titles if passage.section != "procedure"
                    for match in ill.finditer(passage.text)]  # fmt: skip
        sides = {match["side"].lower() for match in operated}
        if len(sides) == 1 and diseased and not sides & {match["side"].lower() for _, match in diseased}:
            return Clash(diseased[0][1].group(), operated[0].group(), diseased[0][0].evidence, "name")
    return None


def _incision(note: OperativeNote) -> Clash | None:
    """ "Kidney transplant, left iliac fossa ... incision 09:14 right Gibson": no other incision has the side."""
    operated = [fact for fact in note.of("procedure", given=True) if fact.laterality is not None]
    told = [(str(fact.laterality), f"{fact.evidence.heard} ({fact.laterality})") for fact in operated]
    told = told or [(match["side"].lower(), match.group()) for passage in _titles(note)
                    if passage.section == "procedure" for match in _PART.finditer(passage.text)
                    if match["part"].lower() not in _OF_ANOTHER]  # fmt: skip
    if len({one for one, _ in told}) != 1 or told[0][0] not in _OTHER or note.of("harvest_site"):
        return None
    side = told[0][0]
    said = [(passage, match, (match["side"] or match["before"]).lower()) for passage in note.sections.description
            if passage.section not in _TITLES for match in _INCISION.finditer(passage.text)]  # fmt: skip
    if not said or any(one == side for _, _, one in said):
        return None
    passage, match, other = said[0]
    if any(re.search(rf"\b{other}\b", title.text, re.I) for title in _titles(note)):
        return None  # "right iliac fossa, left kidney of a donor": both are in the title
    return Clash(told[0][1], match.group().strip(), passage.evidence, "incision")


def _of_two(note: OperativeNote) -> Clash | None:
    """Titles that name one part on the left and another on the right ("right parasymphysis, left angle"): what is told
    of one of them later, on the side of the other only."""
    sides: dict[str, set[str]] = {}
    for passage in _titles(note):
        for match in _PARTS.finditer(passage.text):
            if match["part"].lower() not in _NO_PART and not _asides(note, passage, match):
                sides.setdefault(match["part"].lower(), set()).add(_full(match))
    one_side = {part: next(iter(said)) for part, said in sides.items() if len(said) == 1}
    if {"left", "right"} - set(one_side.values()) or any(len(said) > 1 for said in sides.values()):
        return None
    told: dict[str, list[tuple[Passage, re.Match[str]]]] = {}
    for passage in note.sections.description:
        for match in _PARTS.finditer(passage.text) if passage.section not in _TITLES else ():
            if match["part"].lower() in one_side:
                told.setdefault(match["part"].lower(), []).append((passage, match))
    for part, places in told.items():
        wrong = [(passage, match) for passage, match in places if _full(match) == _OTHER[one_side[part]]]
        done = any(fact.laterality == _OTHER[one_side[part]] and fact.body_site == part
                   for fact in note.of("procedure", given=True))  # fmt: skip
        if len(wrong) == len(places) and not done and not _asides(note, *wrong[0]):
            return Clash(f"{one_side[part]} {part}", wrong[0][1].group(), wrong[0][0].evidence, "part")
    return None


def _named_only(note: OperativeNote) -> Clash | None:
    """ "Facet pain on the left ... procedure radiofrequency of the right medial branches": an operation that no entry
    holds with its side, against the diagnosis and the time-out."""
    if any(fact.laterality for fact in note.of("procedure", "harvest_site", given=True)):
        return None
    firm = [fact for fact in note.of(*_STATED, given=True) if fact.laterality is not None]
    sides = {fact.laterality for fact in firm}
    side = next(iter(sides)) if len(sides) == 1 else None
    if side not in _OTHER:
        return None
    for passage in note.sections.description:
        for match in _HEADED.finditer(passage.text):
            if match["side"].lower() == _OTHER[side] and not _asides(note, passage, match):
                return Clash(f"{firm[0].evidence.heard}", match.group(), passage.evidence, "named")
    return None


_STATED = ("preop_diagnosis", "postop_diagnosis", "diagnosis", "time_out", "site_marking", "consent")
_HEADED = re.compile(
    r"\b(?:procedure|operation)(?: is| was)?[: ] ?(?:(?!left\b|right\b|and\b|done\b|performed\b)[\w-]+ ){1,5}"
    rf"{_SIDE}\b(?! (?:lateral|decubitus|side up|hand|arm|lower|upper))", re.I
)  # fmt: skip

# What a root hurts lies on its own side: arm and leg pain of the spine, and the side that was operated on.
_SPINE = re.compile(r"\b(?:foraminotomy|microdis[ck]ectomy|dis[ck]ectomy|laminotomy|laminectomy|nerve root|"
                    r"transforaminal|hemilaminectomy|decompression)\b", re.I)  # fmt: skip
_PAINS = re.compile(
    rf"\bpain (?:down|in|into|of) (?:the |his |her )?{_SIDE} (?:arm|leg|buttock|foot|hand)\b|"
    r"\b(?P<before>left|right)(?:[- ]sided)? (?:(?:arm|leg|buttock) pain|radiculopathy|sciatica|brachialgia)\b", re.I
)  # fmt: skip


def _pain(note: OperativeNote) -> Clash | None:
    """ "Foraminotomy C6-C7 on the right ... pain down the left arm"."""
    done = [fact for fact in note.of("procedure", given=True) if fact.laterality]
    if {fact.laterality for fact in done} not in ({"left"}, {"right"}) or not any(
        _SPINE.search(fact.evidence.heard) for fact in done
    ):
        return None
    said = [(passage, match, (match["side"] or match["before"]).lower()) for passage in note.sections.description
            for match in _PAINS.finditer(passage.text) if passage.section not in ("history", "aftercare", "follow-up")]
    if {side for _, _, side in said} != {_OTHER[str(done[0].laterality)]}:
        return None
    passage, match, _ = said[0]
    return Clash(f"{done[0].evidence.heard} ({done[0].laterality})", match.group(), passage.evidence, "pain")


_FOSSA = re.compile(rf"\b{_SIDE} (?:iliac fossa|gibson|hockey.?stick)\b", re.I)
_PUT = re.compile(r"\b(?:kidney|graft|transplant|implanted|time[- ]?out|consent\w*|marked|incision|gibson)\b", re.I)
_ORGAN = re.compile(rf"\b{_SIDE} (?:(?:donor|cadaveric|deceased|living|allograft) )*kidney\b", re.I)
_NOT_GIVEN = re.compile(
    r"\b(?:native|own|other|both|nephrectom\w*|en bloc|each|dual|polycystic|atrophic|removed)\b", re.I
)


def _graft(note: OperativeNote) -> Clash | None:
    """ "It is a left kidney ... the right kidney was flushed": one kidney of the donor has one side."""
    if not any(fact.name == "kidney-transplant" for fact in note.of("procedure", given=True)):
        return None
    said = [(passage, match) for passage in note.sections.description for match in _ORGAN.finditer(passage.text)]
    if any(_NOT_GIVEN.search(passage.text) for passage, _ in said):
        return None
    for passage, match in said[1:]:
        if match["side"].lower() != said[0][1]["side"].lower() and not _asides(note, passage, match):
            return Clash(said[0][1].group(), match.group(), passage.evidence, "graft")
    return None


def _fossa(note: OperativeNote) -> Clash | None:
    """ "Kidney transplant, right iliac fossa ... kidney into the left iliac fossa": one graft has one place."""
    if not any("transplant" in (fact.name or "") for fact in note.of("procedure", given=True)):
        return None
    said = [(passage, match) for passage in note.sections.description if _PUT.search(passage.text)
            for match in _FOSSA.finditer(passage.text)]  # fmt: skip
    first = next(iter(said), None)
    for passage, match in said[1:]:
        same = first is None or match["side"].lower() == first[1]["side"].lower()
        if first is not None and not same and not _asides(note, passage, match):
            return Clash(first[1].group(), match.group(), passage.evidence, "fossa")
    return None
