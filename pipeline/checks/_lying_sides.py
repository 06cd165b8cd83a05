"""Sides of how the patient lies and is held, of the crest that marrow comes from, and of two joints that are done one
after the other: "left leg in the holder" of a right knee, "with the left side up" of a right hip, "right iliac crest"
at the time-out and draws from the left one, "right shoulder first ... then the right shoulder".
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pipeline.checks._side_words import Clash
from pipeline.note import OperativeNote, Passage

_OTHER = {"left": "right", "right": "left"}
_STATED = ("procedure", "preop_diagnosis", "postop_diagnosis", "diagnosis", "consent", "time_out", "site_marking")
_SIDE = r"(?P<side>left|right|(?-i:[LR]))"
_LIMB = r"(?:leg|thigh|knee|arm|hip|foot|ankle|hand|forearm|elbow|limb)"
# The limb that is held or pulled at is the one that is operated on, unless it is said to be the well one.
_HELD = re.compile(
    rf"\b{_SIDE} {_LIMB}(?: (?:is|was|went|up|placed|put|held))* (?:in|into|over|on) (?:a|an|the)? ?(?:"
    r"(?:circumferential |arthroscopic |arthroscopy |thigh |leg |limb |arm |elbow )?(?:leg )?holder|bolster|"
    r"(?:\d[\d.]* ?(?:kg|lbs?|pounds|kilos?|n) (?:of )?)?(?:balanced |skin |longitudinal |lateral )?traction(?! table)|"
    r"tower|spider)\b", re.I,
)  # fmt: skip
_WELL = re.compile(
    r"\b(?:well|other (?:leg|arm|limb|side|foot|hip|knee)|opposite|fracture table|contralateral|non-?operative|healthy|"
    r"unaffected|both|lithotomy|also|too|abduct\w*|out of the way|harvest\w*|graft)\b", re.I,
)  # fmt: skip
# Who lies on one side has the other up: that is the side of the operation.
_UP = re.compile(
    rf"\b{_SIDE} (?:side |hip |shoulder |elbow |knee |leg |arm )?(?:side )?up(?:permost|wards?)?\b"
    r"(?! to| at| \d| \w+ (?:to|past)\b)", re.I,
)  # fmt: skip
_LATERAL = re.compile(r"\b(?:lateral|decubitus|park bench|side up)\b", re.I)
_TOURNIQUET = re.compile(r"\b(?:tourniquet|tq|cuff|traction)\b", re.I)
_KNEE = re.compile(r"\bknee (?:arthroscopy|scope)|\barthroscop\w+|\bmenisc\w+", re.I)
_NEAR = 60  # characters

_CREST = re.compile(
    rf"\b{_SIDE} (?:(?:posterior|anterior|post|ant|superior|iliac|pelvic|hip)[ -]){{0,3}}(?:crest|asis|psis|ic)\b|"
    r"\b(?:crest|asis|psis) (?:on|of) the (?P<behind>left|right)\b", re.I,
)
_BOTH_CRESTS = re.compile(r"\b(?:both|each|either|bilateral|two)(?: \w+){0,3} (?:crests?|sides|psis|asis)\b|\bcrests\b|"
                          r"\bbilaterally\b", re.I)  # fmt: skip
_MOVES = re.compile(
    r"\b(?:other|second|then|also|moved|switch\w*|next|turned|opposite|again|too|not|instead|dry|clot\w*|fail\w*|"
    r"history|previous\w*|before|tap)\b", re.I,
)  # fmt: skip
_DRAWN = ("draw", "draw_count", "harvest_total")

_JOINT = r"(?:knee|hip|shoulder|elbow|wrist|ankle|foot|hand|side|thumb|heel)"
_FIRST = re.compile(
    rf"\b{_SIDE} {_JOINT}(?: (?:was|is|done|came|went))* first\b|"
    rf"\b(?:first|start\w* (?:with|on)|began (?:with|on)) (?:the |on the )?(?P<second>left|right) {_JOINT}\b", re.I,
)  # fmt: skip
_THEN = re.compile(
    r"\b(?:then|next|now|on to|moving to|moved to|turned to|turning to|followed by|second)(?:,)? "
    rf"(?:to |on |for |came )?(?:the )?{_SIDE}(?: {_JOINT}\b|(?=,|\.| (?:no|same|now|with|under|from|got|needle|"
    r"posterior|anterior|prepped|another|\d+|one|two|three|four|five|six|ten|twenty|thirty|forty|sixty|eighty)\b))|"
    r"\b(?:swap|swapping|change|switch|switching) sides[.,;]?(?: now)?(?: to)?(?: the)? (?P<swap>left|right)\b", re.I,
)  # fmt: skip


_BEGINS = 12  # letters of the next sentence: "Swap sides. Left, ..."
# "Graft from the same knee, the right one".
_SAME = re.compile(r"\bsame (?:knee|side|leg|hip|shoulder|arm|limb|elbow),? (?:the )?(?P<side>left|right)\b", re.I)


def lying_clashes(note: OperativeNote) -> Iterator[Clash]:
    """The first place of each sort. Pure."""
    sides = {fact.laterality for fact in note.of(*_STATED, given=True)} - {None}
    side = next(iter(sides)) if len(sides) == 1 else None
    if side in _OTHER:
        yield from _held(note, side)
        yield from _lain_on(note, side)
    yield from _crests(note)
    if side is None or side == "bilateral":
        yield from _in_turn(note)


def _full(said: str) -> str:
    return {"l": "left", "r": "right"}.get(said.lower(), said.lower())


def _around(passage: Passage, match: re.Match[str]) -> str:
    return passage.text[max(0, match.start() - _NEAR) : match.end() + _NEAR]


def _held(note: OperativeNote, side: str) -> Iterator[Clash]:
    knee = any(_KNEE.search(passage.text) for passage in note.sections.description)
    for passage in note.sections.description:
        same = _SAME.search(passage.text)
        if same is not None and _full(same["side"]) != side and not passage.taken_back:
            yield Clash(f"the operation ({side})", same.group(), passage.evidence, "lying")
            return
        for match in (*_HELD.finditer(passage.text), *_UP.finditer(passage.text)):
            around = _around(passage, match)
            up = " up" in match.group().lower()
            if "holder" in match.group().lower() and not knee:
                continue  # on a fracture table the well leg is held
            if _full(match["side"]) == side or _WELL.search(around) or passage.taken_back:
                continue
            if up and (not _LATERAL.search(around) or _TOURNIQUET.search(around)):
                continue
            yield Clash(f"the operation ({side})", match.group(), passage.evidence, "lying")
            return


# Who lies on one side is operated on from the other. Common practice, no source.
_LAIN = re.compile(r"\b(?P<side>left|right) lateral decubitus\b", re.I)
_FROM_ABOVE = re.compile(r"lung|lobectomy|thorac|vats|pleur|nephr|kidney|pyeloplasty|adrenal|hip|shoulder|chest", re.I)


def _lain_on(note: OperativeNote, side: str) -> Iterator[Clash]:
    """ "Right VATS, right lateral decubitus"."""
    done = [fact for fact in note.of("procedure", given=True) if fact.laterality == side]
    if not any(_FROM_ABOVE.search(f"{fact.name or ''} {fact.text or ''} {fact.body_site or ''}") for fact in done):
        return
    for passage in note.sections.description:
        match = _LAIN.search(passage.text)
        said = match is not None and not passage.taken_back and not _UP.search(passage.text)
        if match is not None and said and _full(match["side"]) == side:
            yield Clash(f"the operation ({side})", match.group(), passage.evidence, "lying")
            return


def _side(match: re.Match[str]) -> str:
    return _full(match["side"] or match["behind"])


def _crests(note: OperativeNote) -> Iterator[Clash]:
    """Marrow from one crest, and the other one at the time-out or wherever else it is told."""
    drawn = {fact.laterality for fact in note.of(*_DRAWN) if fact.laterality in _OTHER}
    told = [(passage, match) for passage in note.sections.description for match in _CREST.finditer(passage.text)]
    both = any(_BOTH_CRESTS.search(passage.text) for passage in note.sections.description)
    if both and len(told) > 1 and len({_side(match) for _, match in told}) == 1:
        yield Clash("both crests", told[1][1].group(), told[1][0].evidence, "crest")
        return
    if len(drawn) > 1 or any(_BOTH_CRESTS.search(passage.text) for passage in note.sections.description):
        return
    if not note.of(*_DRAWN) or not told:
        return
    passage, first = told[0]
    for passage, match in told[1:]:
        before = passage.text[max(0, match.start() - _NEAR) : match.start()]
        if _side(match) != _side(first) and not _MOVES.search(before) and not passage.taken_back:
            yield Clash(first.group(), match.group(), passage.evidence, "crest")
            return


def _in_turn(note: OperativeNote) -> Iterator[Clash]:
    """One of two joints first, and then the same again."""
    begun: str | None = None
    said = ""
    told = note.sections.description
    for at, passage in enumerate(told):
        first = _FIRST.search(passage.text)
        text = f"{passage.text} {told[at + 1].text[:_BEGINS] if at + 1 < len(told) else ''}"
        if begun is None and first is not None:
            begun, said = _full(first["side"] or first["second"]), first.group()
            later = _THEN.search(text, first.end())
        else:
            later = _THEN.search(text) if begun is not None else None
        if later is not None:
            if _full(later["side"] or later["swap"]) == begun:
                yield Clash(said, later.group(), passage.evidence, "in turn")
            return
