"""The site of the operation across procedure, diagnosis, consent and time-out: another joint, another finger."""

from __future__ import annotations

import re

from pipeline.checks import _digits
from pipeline.checks._asides import before_work
from pipeline.checks._further_illness import is_of_a_list
from pipeline.checks.base import called, finding, placed, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding
from pipeline.rows import Concept

MEANING = "The digit or joint of the diagnosis, consent or time-out is not that of the procedure."

# Words for any digit: they agree with every one.
_ANY_DIGIT = frozenset({"digit", "finger", "toe", "fingertip", "ray", "nail-bed"})
_FIRM = ("time_out", "site_marking", "consent", "preop_diagnosis", "postop_diagnosis", "diagnosis")


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    return _by_sites(note, grammar) or _bare_fingers(note) or _other_finger(note, grammar) or _digits.apart(note)


def _by_sites(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    sites = grammar.table("sites", Concept)
    operated = [
        (fact, site)
        for fact in note.of("procedure")
        if fact.certainty == "affirmed" and fact.status in ("performed", "planned")
        and (site := site_of(fact, grammar)) is not None
    ]  # fmt: skip
    harvest = {site.id for fact in note.of("harvest_site") if (site := site_of(fact, grammar)) is not None}
    if not operated or _several(note, operated):
        return []
    found: list[Finding] = []
    for fact in note.of(*_FIRM):
        site = site_of(fact, grammar)
        if site is None or fact.certainty == "negated" or fact.status in ("historical", "other_person"):
            continue
        same_sort = [(one, place) for one, place in operated if place.group == site.group]
        if site.group not in ("joint", "digit") or not same_sort or len(same_sort) != len(operated):
            continue
        if {site.id, *(place.id for _, place in operated)} & _ANY_DIGIT:
            continue
        ill = [site_of(one, grammar) for one in note.of("diagnosis", "preop_diagnosis", "postop_diagnosis")]
        if fact.kind in _AGREED and site.group == "digit" and any(one is not None and one.id == site.id for one in ill):
            continue  # "thumb CMC arthritis, ring trigger finger ... time out: thumb, ring finger"
        if is_of_a_list(note, fact, [one for one, _ in operated], grammar):
            continue
        if site.id in harvest or any(_related(site, place, sites) for _, place in operated):
            continue
        found.append(_told(same_sort[0][0], same_sort[0][1], fact, site, grammar))
    return found


_FINGER = r"(?:thumb|index|middle|long|ring|little|small)(?: fingers?)?"
# "R ring + small", "left index and middle": names of fingers in a row behind a side, which no entry holds as a site.
_ROW = re.compile(rf"\b(?:left|right|L|R) ({_FINGER}(?:(?: ?[+&/,] ?| and ){_FINGER})+)(?=[\s.,;:]|$)", re.IGNORECASE)
# "TO 1610 L ring", "bony mallet L ring finger".
_ALONE = re.compile(r"\b(?:left|right|L|R) (thumb|index|middle|ring|little|small)\b(?! (?:toe|phalan))", re.IGNORECASE)
# "R 5th metacarpal neck": the ray of the small finger.
_BY_NUMBER = re.compile(
    r"\b(1st|2nd|3rd|4th|5th|first|second|third|fourth|fifth) (?:mc\b|metacarpal|finger|ray)", re.IGNORECASE
)
_RAYS = {"1s": "thumb", "2n": "index", "3r": "middle", "4t": "ring", "5t": "small", "fi": "thumb", "se": "index",
         "th": "middle", "fo": "ring"}  # fmt: skip
_ONE = re.compile(r"thumb|index|middle|long|ring|little|small", re.IGNORECASE)
_SAME_FINGER = {"little": "small", "long": "middle"}
_AGREED = ("time_out", "site_marking", "consent")
_TITLES = frozenset({"procedure", "diagnosis", "preop-diagnosis", "postop-diagnosis"})


def _bare_fingers(note: OperativeNote) -> list[Finding]:
    """Fingers of the time-out that are not among those of the operation and its diagnosis."""
    titles = " . ".join(one.text for one in note.sections.description if one.section in _TITLES)
    named = _fingers(titles)
    for fact in note.of(*_AGREED) if named else ():
        earlier = [one.text for one in note.sections.description if one.evidence.last < fact.evidence.first]
        other = _fingers(fact.evidence.heard) - named - _fingers(" . ".join(earlier))
        if other and fact.certainty == "affirmed":
            return [finding(
                "site_conflict", "blocking", f"The {' and '.join(sorted(named))} fingers are operated on, but the "
                f"{' and '.join(sorted(other))} was said as well ({fact.kind.replace('_', ' ')}).", [fact],
                ask="Say which is right.",
            )]  # fmt: skip
    return []


def _fingers(text: str) -> set[str]:
    names = {name.lower() for row in _ROW.finditer(text) for name in _ONE.findall(row[1])}
    alone = {match[1].lower() for match in _ALONE.finditer(text)}
    alone |= {_RAYS[match[1].lower()[0:2]] for match in _BY_NUMBER.finditer(text)}
    return {_SAME_FINGER.get(name, name) for name in names | alone}


# What is told beside the digit that is operated on: a neighbour, a donor, how it is held.
_BESIDE = re.compile(
    r"\b(?:buddy|tap(?:e|ed|ing)|beside|next to|adjacent|neighbou?r\w*|other|normal|donor|compar\w+|against|opposite|"
    r"in line|axis|between|not|no|spare[ds]?|intact|free|ray|web|transfer\w*|graft\w*|from the|pulse|ago|"
    r"previous\w*|"
    r"later|next|tip|bruised|nothing|healed|index procedure|flexor|extensor|slip|oximet\w+|probe|both)\b",
    re.IGNORECASE,
)
_DIGIT = r"(thumb|index|middle|long|ring|little|small)"
_NAMED = re.compile(rf"\b{_DIGIT}(?= (?:finger|came|was|released|A[1-4]\b|pulley))|"
                    rf"\bA[1-4](?: pulley)?(?: of)?(?: the)?(?: left| right| L| R)? {_DIGIT}\b",
                    re.IGNORECASE)  # fmt: skip
_UNTOLD = frozenset({"aftercare", "follow-up", "history", "indication", "imaging", "consent"})


def _other_finger(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """A finger that something was done to, which neither the operation nor its diagnosis nor the time-out names."""
    sites = grammar.table("sites", Concept)
    stated = note.of("procedure", *_FIRM)
    titles = [one for one in note.sections.description
              if one.section in _TITLES or any(one.holds(fact) for fact in stated)]  # fmt: skip
    on_digit = any((site := sites.get(fact.body_site or "")) is not None and site.group == "digit" for fact in stated)
    named = {_SAME_FINGER.get(word.lower(), word.lower()) for one in titles for word in _ONE.findall(one.text)}
    if not named or not (on_digit or any(_ROW.search(one.text) for one in titles)):
        return []
    for passage in note.sections.description:
        if any(passage is one for one in titles) or passage.section in _UNTOLD or before_work(note, passage):
            continue
        told = [(match[1] or match[2]).lower() for match in _NAMED.finditer(passage.text)
                if not _BESIDE.search(_part(passage.text, match))]
        other = [word for word in told if _SAME_FINGER.get(word, word) not in named]
        if other:
            made = finding(
                "site_conflict", "warning", f"The {' and '.join(sorted(named))} is operated on, but the {other[0]} was "
                "told of as well.", ask="Say which is right.", about=f"w{passage.evidence.first}",
            )  # fmt: skip
            return [placed(made, passage.evidence)]
    return []


def _part(text: str, match: re.Match[str]) -> str:
    """The words around a finger, from the mark before it to the one behind it."""
    before, after = re.split(r"[,;.]", text[: match.start()])[-1], re.split(r"[,;.]", text[match.end() :])[0]
    return f"{before}{match[0]}{after}"


def _several(note: OperativeNote, operated: list[tuple[Fact, Concept]]) -> bool:
    """Whether several operations are listed, one of them without a site: it may be that of the other diagnosis."""
    listed = [fact for fact in note.of("procedure") if fact.certainty == "affirmed" and fact.status == "performed"]
    return len(listed) > _FEW and any(all(fact is not one for one, _ in operated) for fact in listed)


_FEW = 2


def _related(first: Concept, second: Concept, sites: object) -> bool:
    table = sites if isinstance(sites, dict) else {}
    return bool(_chain(first, table) & _chain(second, table))


def _chain(site: Concept, table: dict[str, Concept]) -> set[str]:
    """The site and what it is part of, up to but without the whole limb or region."""
    found: set[str] = set()
    here: Concept | None = site
    while here is not None and here.id not in found and (here.group in ("joint", "digit") or here is site):
        found.add(here.id)
        here = table.get(here.within)
    return found


def _told(procedure: Fact, place: Concept, fact: Fact, site: Concept, grammar: Grammar) -> Finding:
    digit = site.group == "digit"
    return finding(
        "site_conflict",
        "blocking" if digit else "warning",
        f"{called(procedure, grammar, 'The operation')} is on the {place.name.lower()}, "
        f"but the {site.name.lower()} was said as well ({fact.kind.replace('_', ' ')}).",
        [procedure, fact],
        ask="Say which is right.",
    )
