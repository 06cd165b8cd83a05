"""Sides of a limb that only the words of the note hold: the operated joint named with the other side, and orders for
the other limb ("left hip ... weight as tolerated on the right")."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.checks._asides import is_aside
from pipeline.checks._both_sides import tells_both
from pipeline.checks._side_words import Clash
from pipeline.checks._worn import both_told, side_of, worn_words
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence

_PART = (
    r"knee|hip|shoulder|elbow|wrist|ankle|foot|thumb|hallux|big toe|great toe|tibia|femur|fibula|humerus|radius|ulna|"
    r"clavicle|patella|calcaneus|heel|forefoot|hindfoot|thigh|calf|shin|forearm|hand|acl|achilles"
)
_NAMED = re.compile(rf"\b(?P<side>left|right|(?-i:[LR])) (?P<part>{_PART})\b(?!['-])", re.I)
_OTHER = {"left": "right", "right": "left"}
_STATED = ("procedure", "preop_diagnosis", "postop_diagnosis", "diagnosis", "consent", "time_out", "site_marking")
_GIVEN = ("injection", "injection_volume", "medication_dose", "medication_volume")
# What is taken from another limb, measured on it, or told of another day or disease. Common practice, no source.
_ELSEWHERE = re.compile(
    r"\b(?:graft|donor|harvest\w*|hamstring\w*|gracilis|semitendinosus|skin|vein|crest|marrow|blood|cuff|cannula|drip|"
    r"line|iv|i v|tourniquet|pressure|dominant|handed|other|opposite|contralateral|compar\w+|both|bilateral|than|like|"
    r"as|history|previous\w*|earlier|last|ago|before|next|later|planned|future|second|also|too|staged|was done|had|"
    r"not today|clinic|lies|lying|decubitus|lateral position|pillow|bolster|bump|pad\w*|stirrup|boot|holder|table|post|"
    r"patellar tendon|tendon of|traction|chaperone|"
    r"stocking\w*|pump|crutch\w*|cane|stick|drain|instead|wrong|sorry|correction|pulse|saphenous)\b|"
    r"\b(?:no|not|without|nothing|none)\b[^|]*\|", re.I,
)  # fmt: skip
_BACK, _AHEAD = 8, 8  # words


def limb_clashes(note: OperativeNote) -> Iterator[Clash]:
    """The first such place, where everything that is stated of the operation has one side. Pure."""
    sides = {fact.laterality for fact in note.of(*_STATED, given=True)} - {None}
    side = next(iter(sides)) if len(sides) == 1 else None
    if side not in _OTHER or tells_both(note):
        return
    if any(fact.laterality == _OTHER[side] for fact in note.of(*_GIVEN)):
        agreed = _named(note, side, agreed_only=True)
        yield from (agreed,) if agreed is not None else ()
        return  # an amount of its own for the other side: both may have been treated
    found = _named(note, side) or _ordered(note, side) or _tourniquet(note, side)
    if found is not None:
        yield found


def _full(match: re.Match[str]) -> str:
    return {"l": "left", "r": "right"}.get(match["side"].lower(), match["side"].lower())


def _named(note: OperativeNote, side: str, *, agreed_only: bool = False) -> Clash | None:
    """The joint of the operation with the other side: "Right knee arthroscopy ... findings left knee: ..."."""
    own: dict[str, str] = {}
    other: list[tuple[Passage, re.Match[str]]] = []
    for fact in note.of(*_STATED, given=True) if not note.of("procedure", given=True) else ():
        if fact.laterality == side and fact.body_site:  # "tennis elbow on the right side"
            own.setdefault(fact.body_site.replace("-", " "), f"{fact.evidence.heard} ({side})")
    for passage in note.sections.description:
        for match in _NAMED.finditer(passage.text):
            if _full(match) == side:
                own.setdefault(match["part"].lower(), match.group())
            else:
                other.append((passage, match))
    known = {match["part"].lower() for passage, match in other if _is_aside(note, passage, match)}
    for passage, match in other:
        if passage.section in _ORDERS and match["part"].lower() in known:
            continue  # "(Left hip mild cam, asymptomatic.) ... Left hip x-ray at 6 weeks."
        if match["part"].lower() not in own or _is_struck(passage, match):
            continue
        agreed = _AGREED.search(passage.text[: match.start()]) is not None  # "R foot padded, TO 1400 L hip"
        if not agreed and (agreed_only or _is_elsewhere(passage, match)):
            continue
        if agreed or _heads(passage, match) or not _is_aside(note, passage, match):
            return Clash(own[match["part"].lower()], match.group(), passage.evidence, "limb")
    return None


_ORDERS = frozenset({"aftercare", "follow-up"})


def _is_struck(passage: Passage, match: re.Match[str]) -> bool:
    """ "Right knee arthroscopy. Correction, left knee": what was taken back is no side."""
    said = passage.evidence.first + len(passage.text[: match.start()].split())
    return any(one.first <= said <= one.last for one in passage.taken_back)


def _heads(passage: Passage, match: re.Match[str]) -> bool:
    """ "Findings L knee: trochlea normal": what heads the findings is no remark on a healthy side."""
    return passage.text[match.end() :].startswith(":") and _HEADING.search(passage.text[: match.start()]) is not None


_HEADING = re.compile(r"\b(?:findings?|arthroscopy|scope)(?: (?:of|in) (?:the )?| )$", re.I)


# Right behind these stands the side that was agreed on, whatever else the sentence tells.
_HOUR = (r"(?:for|at|the|confirmed|done|on|was|\d{3,4}|[\d:.]+|oh|half|past|quarter|to|am|pm|one|two|three|four|five|"
         r"six|seven|eight|nine|ten|eleven|twelve|\w+teen|twenty|thirty|forty|fifty)")  # fmt: skip
_AGREED = re.compile(
    rf"\b(?:(?-i:TO)|t/o|time[- ]?out|consent(?:ed)?|site marked|marking)(?:[,:]? {_HOUR})*[,:]? (?:the )?$", re.I
)


def _is_elsewhere(passage: Passage, match: re.Match[str]) -> bool:
    before = re.split(r"[.;]", passage.text[: match.start()])[-1].split()[-_BACK:]
    behind = re.split(r"[.;]", passage.text[match.end() :])[0].split()[:_AHEAD]
    return _ELSEWHERE.search(" ".join([*before, "|", *behind])) is not None


def _is_aside(note: OperativeNote, passage: Passage, match: re.Match[str]) -> bool:
    said = passage.evidence.first + len(passage.text[: match.start()].split())
    side = _full(match) if "part" in match.groupdict() else side_of(match)
    ahead = " ".join(passage.text[: match.start()].split()[-_TO_SIDE:])
    return not _WAY_IN.search(ahead) and is_aside(note, Evidence(said, said, None, None, ""), side)


_TO_SIDE = 4  # words: "portals on the right wrist, ligaments stable" is the way in and no remark
_WAY_IN = re.compile(r"\b(?:portals?|incisions?|approach|arthrotomy|scope)\b", re.I)


_CUFF = re.compile(
    r"\b(?:tourniquet|tq|cuff)(?: (?:is|was|were|placed|applied|put|on|to|the|his|her|high|upper|proximal))* "
    r"(?P<side>left|right|(?-i:[LR])) (?:upper |lower |proximal )?(?:arm|forearm|thigh|leg|calf|ankle|finger|hand)\b|"
    r"\b(?P<before>left|right) (?:upper )?(?:arm|thigh|leg|calf|ankle) (?:tourniquet|tq|cuff)\b(?! pressure)", re.I,
)  # fmt: skip


def _tourniquet(note: OperativeNote, side: str) -> Clash | None:
    """ "Left olecranon ... tourniquet right arm": no tourniquet is told of on the operated limb."""
    said = [(passage, match, (match["side"] or match["before"]).lower()[0]) for passage in note.sections.description
            for match in _CUFF.finditer(passage.text)]  # fmt: skip
    if not said or any(one == side[0] for _, _, one in said):
        return None
    if any(re.search(r"\b(?:blood pressure|bp)\b", passage.text, re.I) for passage, _, _ in said):
        return None
    passage, match, _ = said[0]
    return Clash(f"the operation ({side})", match.group(), passage.evidence, "cuff")


def _ordered(note: OperativeNote, side: str) -> Clash | None:
    """ "Weight as tolerated on the left", where the right one was operated on and has no order of its own."""
    told = [(passage, match) for passage in note.sections.description for match in worn_words(passage)]
    if both_told(note, side):
        return None
    for passage, match in told:
        if not _is_struck(passage, match) and not _is_aside(note, passage, match):
            return Clash(f"the operation ({side})", match.group(), passage.evidence, "worn")
    return None
