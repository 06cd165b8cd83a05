"""What can only be true of the other side, told of the operated one: "left hemithyroidectomy ... the left lobe was not
touched", "right knee ... the right knee will be done in the spring"; what can only be told of it, told of the other
("muscle stripped on the right only"); and who was agreed on for the left by one and for the right by the other.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Set

from pipeline.checks._side_words import Clash
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence, Fact

_OTHER = {"left": "right", "right": "left"}
_STATED = ("procedure", "preop_diagnosis", "postop_diagnosis", "diagnosis")
_SIDE = r"(?P<side>left|right|(?-i:[LR]))"
# Parts that are operated on as a whole: what is told of them is told of the operation. Common practice, no source.
_PART = (r"(?:side|one|knee|hip|shoulder|elbow|wrist|ankle|foot|hand|thumb|eye|ear|breast|lung|kidney|ovary|testis|"
         r"testicle|groin|carotid|lobe|leg|arm|heel|toe|cord|adnexa)")  # fmt: skip
_LATER = (r"(?:comes|will be (?:done|operated|treated|injected|scoped|replaced)|is (?:to be )?(?:planned|booked|listed|"
          r"scheduled|done) (?:for|in|next|later)|(?:can|will) (?:wait|follow))")  # fmt: skip
_DAY = (r"(?:maybe |perhaps |later |again )?(?:in (?:the )?(?:\w+ )?(?:spring|summer|autumn|fall|winter|weeks?|months?|"
        r"wks?|year)|next (?:week|month|year|time)|later|another day|at a later)")  # fmt: skip
# Nothing was done there, or it is well.
_SPARED = re.compile(
    rf"\b{_SIDE} (?:total )?{_PART}(?: of (?:\w+ ){{1,2}}\w+)?"
    r"(?: (?:is|was|has|had|still|itself|today|stable|and)){0,5} "
    r"(?:(?:never|not|nothing)(?: \w+){0,2} (?:touched|looked at|operated|treated|done|injected|a problem|"
    r"troubled|opened|explored|affected)|untouched|unaffected|"
    rf"healthy|occluded|hears well|sees well|uninvolved|not involved|left alone|(?:{_LATER}) {_DAY})\b|"
    rf"\bnothing (?:\w+ ){{1,3}}(?:in|into|on|to|at) (?:the )?(?P<into>left|right)(?: {_PART})?\b|"
    r"\b(?P<stays>left|right) (?:lobe|kidney|ovary|testis|tube|breast|lung) (?:[\w-]+ ){1,5}(?:stays|was left alone)\b|"
    rf"\b(?P<hears>left|right) {_PART} (?:[\w-]+ ){{0,6}}(?:hears|sees) well\b", re.I,
)  # fmt: skip
_YET = re.compile(r"\b(?:pulse|until|before|after|once|sensation|nerve|portal|wound|x-?ray|at the end|now|cartilage|"
                  r"compartment|meniscus|range|movement|power|pre-?op\w*)\b", re.I)  # fmt: skip
_ONLY = re.compile(
    rf"\b(?:on|to|of|from) the {_SIDE}(?: side)? only\b|\bonly (?:on |to )?the (?P<only>left|right)(?: side)?\b", re.I
)
_AGREED = re.compile(
    r"\b(?:arrow|mark(?:ed|ing|er)?|cross|consent(?:ed)?(?: form)?|form|wristband|band|list|x-?rays?)"
    rf"(?: (?:is|was|says|said|on|for|the|site|at|shows|reads|confirms|form|drawn|also|signed|agrees)){{0,4}}:? "
    rf"{_SIDE}\b"
    rf"(?! (?:arm|hand)ed| (?:posterior |anterior |iliac )*(?:crest|psis|asis|ilium))", re.I,
)  # fmt: skip
_NAMED = re.compile(rf"\b{_SIDE} (?!posterior|anterior|iliac|crest|psis|handed|hand dominant)[a-z]{{3,}}", re.I)
_TIME_OUT = re.compile(r"\b(?:time[- ]?out|sign[- ]?in|briefing|consent\w*)\b", re.I)
_TWO = re.compile(r"\b(?:both|bilateral\w*|each|crests?|psis|asis|graft|donor|harvest\w*|two (?:operations|procedures)|"
                  r"also|not|other|opposite|contralateral|and (?:the )?(?:left|right)|lateral)\b", re.I)  # fmt: skip
_REMOVED = re.compile(r"\b(?:wires?|drains?|stents?|pins?|nephrostomy)\b", re.I)
_OUT = re.compile(r"\b(?:out|remov\w+)\b", re.I)


def own_side(note: OperativeNote) -> Iterator[Clash]:
    """The first place of each sort. Pure."""
    yield from _agreed(note)
    yield from _removed(note)
    sides = {fact.laterality for fact in note.of(*_STATED, given=True)} - {None}
    done = {fact.laterality for fact in note.of("procedure", given=True)} - {None}
    side = next(iter(done or sides)) if len(done or sides) == 1 else None
    if side not in _OTHER:
        return
    yield from _spared(note, side)
    yield from _same_crest(note, side)
    yield from _only(note, side, done)


def _full(said: str) -> str:
    return {"l": "left", "r": "right"}.get(said.lower(), said.lower())


def _struck(passage: Passage, at: int) -> bool:
    said = passage.evidence.first + len(passage.text[:at].split())
    return any(one.first <= said <= one.last for one in passage.taken_back)


def _spared(note: OperativeNote, side: str) -> Iterator[Clash]:
    for passage in note.sections.description:
        for match in _SPARED.finditer(passage.text):
            said = _full(match["side"] or match["into"] or match["hears"] or match["stays"])
            if said == side and not _YET.search(match.group()) and not _struck(passage, match.start()):
                yield Clash(f"the operation ({side})", match.group(), passage.evidence, "spared")
                return


_RELATIVE = re.compile(
    r"\b(?P<same>op(?:erative|erated|eration)?[- ]side|ipsilateral|same[- ]side)|(?P<other>contralateral|opposite)",
    re.I,
)
_CREST = re.compile(r"^,? (?:(?:posterior|anterior|iliac|superior) )*(?:crest|psis|asis)\b", re.I)


def _same_crest(note: OperativeNote, side: str) -> Iterator[Clash]:
    """ "Harvest: op side PSIS" of a left knee, and marrow from the right one."""
    drawn = {fact.laterality for fact in note.of("draw", "harvest_site", "harvest_total", given=True)} - {None}
    if len(drawn) != 1 or not drawn <= {*_OTHER}:
        return
    for passage in note.sections.description:
        for match in _RELATIVE.finditer(passage.text):
            meant = side if match["same"] else _OTHER[side]
            if _CREST.match(passage.text[match.end() :]) and drawn != {meant}:
                yield Clash(match.group(), f"marrow from the {next(iter(drawn))}", passage.evidence, "same crest")
                return


def _only(note: OperativeNote, side: str, done: Set[str | None]) -> Iterator[Clash]:
    """ "Muscle off on the right only" of an operation on the left."""
    for passage in note.sections.description if done else ():
        for match in _ONLY.finditer(passage.text):
            if _full(match["side"] or match["only"]) != side and not _struck(passage, match.start()) and not (
                _TWO.search(passage.text)
            ):
                yield Clash(f"the operation ({side})", match.group(), passage.evidence, "only")
                return


def _agreed(note: OperativeNote) -> Iterator[Clash]:
    """ "Left thumb base, arrow is on the right, consent says left": one time-out, two sides."""
    told = note.sections.description
    for at, passage in enumerate(told):
        said = [match for match in _AGREED.finditer(passage.text) if not _struck(passage, match.start())]
        opening = told[at - 1] if said and 0 < at < _OPENING and not told[at - 1].taken_back else None
        ahead = passage.text[: said[0].start()] if said else ""
        named = [*(_NAMED.finditer(opening.text) if opening is not None else ()), *_NAMED.finditer(ahead)]
        every = [*named, *said]
        if len(every) < _TWICE or _TWO.search(passage.text) or (opening is not None and _TWO.search(opening.text)):
            continue
        if named and not _TIME_OUT.search(passage.text) and len(said) < _TWICE:
            continue
        sides = {_full(match["side"]) for match in every}
        if len(sides) > 1:
            first = every[0]
            other = next(match for match in every if _full(match["side"]) != _full(first["side"]))
            yield Clash(first.group(), other.group(), passage.evidence, "agreed")
            return


_TWICE, _OPENING = 2, 4  # sides; sentences a narration opens with: "Right ankle, yes? Consent says left."


def _removed(note: OperativeNote) -> Iterator[Clash]:
    """ "Wire out of the left at four weeks", where the only wire is on the right."""
    for fact in note.of("aftercare", "follow_up"):
        thing = _REMOVED.search(fact.evidence.heard)
        if fact.laterality not in _OTHER or thing is None or not _OUT.search(fact.evidence.heard):
            continue
        word = thing.group().lower().rstrip("s")
        put = {one.laterality for one in note.of("device", "drain", given=True) if _is_called(one, word)}
        if put == {_OTHER[str(fact.laterality)]}:
            yield Clash(f"{word} ({_OTHER[str(fact.laterality)]})", fact.evidence.heard, _at(fact), "removed")
            return


def _is_called(fact: Fact, word: str) -> bool:
    return word in (fact.name or fact.text or "").lower() or word in fact.evidence.heard.lower()


def _at(fact: Fact) -> Evidence:
    return fact.evidence
