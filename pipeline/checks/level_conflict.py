"""Spinal levels across the note."""

from __future__ import annotations

import re
from collections import Counter
from functools import lru_cache

from pipeline.checks._level_roles import AGREED, BEFORE, Place, is_root, places
from pipeline.checks.base import beside, called, finding, read
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Severity
from pipeline.rows import Concept

MEANING = "A spinal level of the diagnosis, consent or time-out is none of the levels that were operated on."


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    levels = [
        fact
        for fact in note.of("spinal_level")
        if fact.text and fact.body_site not in _ANY and fact.certainty != "negated"
        and fact.status in ("performed", "planned", "conditional")
    ]
    # What is consented to may stand as a condition ("consent: microdiscectomy"); what else is, was not done.
    said = [one for one in places(note, levels) if one.level.status != "conditional" or one.role in AGREED]
    levels = [fact for fact in levels if any(one.level is fact for one in said)]
    named = _named_digits(note, grammar, said) or _bare(note, levels)
    if named or len({_plain(fact) for fact in levels}) < 2:
        return named
    operated = [one.level for one in said if one.role == "procedure"]
    operated = [fact for fact in operated if not is_root(note, fact)] or operated
    if operated and (short := _exposed(note, levels, operated)):
        return [_told(operated[0], short, "warning", grammar)]
    if operated and (root := _far_root(note, said, operated)) is not None:
        return [_told(operated[0], root, "warning", grammar)]
    if operated:
        done = {_plain(fact) for fact in operated}
        roles = BEFORE if not _is_spread(note) else AGREED
        stated = {one.level.id: one.level for one in said if one.role in roles}
        wrong = [fact for fact in stated.values() if not _covered(_plain(fact), done)]
        if wrong:
            return [_told(operated[0], fact, "blocking", grammar) for fact in wrong]
        return _located(note, levels, operated, grammar) or _stray(
            levels, operated, list(stated.values()) or operated[:1], grammar
        )
    spared = {one.level.id for one in said if one.role == "spared"}
    return _outlier([fact for fact in levels if fact.id not in spared], grammar)


def _is_spread(note: OperativeNote) -> bool:
    """Whether only the epidural space was injected: what is given there spreads to the level that is ill."""
    done = [fact.name or "" for fact in note.of("procedure", given=True)]
    between = note.says("interlaminar", "caudal", "tuohy", "loss of resistance")  # not at the root itself
    return bool(done) and all("epidural" in name for name in done) and between


_COUNTING = frozenset({"level", "levels", "counted", "count", "counting", "sacrum", "space", "interspace", "marked"})
_TO_LEVEL = 8  # tokens from such a word to the bare numbers


def _bare(note: OperativeNote, levels: list[Fact]) -> list[Finding]:
    """ "The count from the sacrum gave us three four", where the operation was on L4-L5: a level without its letter."""
    pairs: dict[tuple[int, int], Fact] = {}
    for level in levels:
        named = re.fullmatch(r"[CTL](\d+)-[CTLS](\d+)", _plain(level))
        if named is None:
            return []
        pairs[int(named[1]), int(named[2])] = level
    if len(pairs) != 1:
        return []
    (pair, fact), found = next(iter(pairs.items())), list[Finding]()
    for passage in note.sections.description:
        tokens = read(passage)
        for at in range(1, len(tokens) - 1):
            one, two = (token.quantity for token in tokens[at : at + 2])
            if one is None or two is None or one.value is None or two.value is None or one.unit or two.unit:
                continue
            near = [token.norm for token in tokens[max(0, at - _TO_LEVEL) : at]]
            after = tokens[at + 2].quantity if at + 2 < len(tokens) else None
            alone = tokens[at - 1].quantity is None and (after is None or after.form == "clock")
            adjacent = two.value == one.value + 1 or (int(one.value), int(two.value)) == (5, 1)
            if alone and adjacent and _COUNTING & set(near) and (int(one.value), int(two.value)) != pair:
                words = f"{tokens[at].text} {tokens[at + 1].text}"
                made = finding(
                    "level_conflict", "warning", f"“{words}” was said of the level; {fact.text} elsewhere.", [fact],
                    ask="Say which level is right.", about=f"w{passage.evidence.first + at}",
                )  # fmt: skip
                found.append(beside(made, passage.evidence))
    return found[:1]


def _named_digits(note: OperativeNote, grammar: Grammar, said: list[Place]) -> list[Finding]:
    """A digit that only the name or the words of a diagnosis, consent or time-out hold ("trigger thumb")."""
    operated = {one.level.body_site: one.level for one in said if one.role == "procedure" and one.level.body_site}
    if not operated or any(one.role in BEFORE for one in said):
        return []
    found: list[Finding] = []
    rows = grammar.table("procedures", Concept)
    sites = {rows[fact.name or ""].site for fact in note.of("procedure", given=True) if fact.name in rows}
    if sites & _RAYS:
        return []  # "scarf osteotomy and fusion of the second toe": the first names the great toe
    for fact in note.of(*BEFORE):
        words = f" {fact.name or ''} {fact.text or ''} ".lower().replace("-", " ").replace(".", " ")
        words += _named_apart(note, fact)
        digits = {site.id for site, phrase in _digits(grammar) if f" {phrase} " in words}
        if digits and not digits & set(operated) and fact.certainty != "negated" and fact.status == "performed":
            found.append(_told(next(iter(operated.values())), fact, "blocking", grammar))
    return found[:1]


def _named_apart(note: OperativeNote, fact: Fact) -> str:
    """ "Right middle trigger finger": the digit whose name the disease stands in, as " middle finger "."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    if passage is None:
        return ""
    words = [word.strip(".,;:()").lower() for word in passage.text.split()]
    first, last = fact.evidence.first - passage.evidence.first, fact.evidence.last - passage.evidence.first
    match = _APART.search(" ".join(words[max(0, first - 2) : last + 3]))
    return f" {match[1]} finger " if match else ""


_APART = re.compile(r"\b(index|middle|long|ring|little|small) (?:trigger|mallet|jersey|locked|stiff)[a-z]* finger\b")


@lru_cache(maxsize=4)
def _digits(grammar: Grammar) -> tuple[tuple[Concept, str], ...]:
    """(digit, a phrase that names it), without words for any digit."""
    rows = grammar.table("sites", Concept).values()
    return tuple((row, phrase) for row in rows if row.group == "digit" and row.id not in _ANY for phrase in row.say)


_RAYS = frozenset({"metatarsal", "first-metatarsal", "metacarpal"})
_ANY = frozenset({"digit", "finger", "toe", "fingertip", "ray", "nail-bed", "nail-plate", "pulp"})


def _far_root(note: OperativeNote, said: list[Place], operated: list[Fact]) -> Fact | None:
    """ "L4-L5 microdiscectomy ... the S1 root is tight": a root that neither leaves nor crosses the one lumbar level
    that was operated on. Common anatomy, no source."""
    done = {_plain(fact) for fact in operated}
    pair = next(iter(done)).split("-") if len(done) == 1 else []
    if len(pair) != len(("upper", "lower")) or not pair[0].startswith("L"):
        return None
    stated = {_plain(one.level) for one in said if one.role in BEFORE}
    return next((one.level for one in said if one.role != "spared" and _plain(one.level) not in {*pair, *stated}
                 and is_root(note, one.level)), None)  # fmt: skip


def _plain(fact: Fact) -> str:
    return (fact.text or "").upper().replace(" ", "").replace("/", "-").replace("\u2013", "-")


def _covered(level: str, done: set[str]) -> bool:
    """Whether a level is one of those done, a part of one ("L4" of "L4-L5"), or within what a construct spans
    ("T12 to L2")."""
    parts = set(level.split("-"))
    if any(parts <= set(other.split("-")) or set(other.split("-")) <= parts for other in done):
        return True
    return _spanned(level, done)


def _spanned(level: str, done: set[str]) -> bool:
    """Whether a level lies within what a construct spans, "T12 to L2" or screws from L4 to S1."""
    parts = set(level.split("-"))
    places = [_SPINE.index(part) for part in parts if part in _SPINE]
    single = [_SPINE.index(other) for other in done if other in _SPINE]
    spans = [single] + [[_SPINE.index(part) for part in other.split("-") if part in _SPINE] for other in done]
    return len(places) == len(parts) and any(
        len(span) > 1 and max(span) - min(span) > 1 and min(span) <= min(places) and max(places) <= max(span)
        for span in spans
    )


_SPINE = tuple(f"{letter}{number}" for letter, most in (("C", 7), ("T", 12), ("L", 5), ("S", 5))
               for number in range(1, most + 1))  # fmt: skip


def _exposed(note: OperativeNote, levels: list[Fact], operated: list[Fact]) -> Fact | None:
    """ "Fusion T4-L3 ... exposed T4 to L1": the end of an exposure that the operation reaches beyond."""
    bared = note.of("act", given=True)
    shown = [fact for fact in levels for passage in note.sections.description if passage.holds(fact) and any(
        act.name == "exposure" and passage.holds(act) and fact.evidence.first > act.evidence.last
        for act in bared)]  # fmt: skip
    spots = {_SPINE.index(part): fact for fact in shown for part in _plain(fact).split("-") if part in _SPINE}
    if len(spots) < 2 or any(_BEYOND.search(passage.text) for passage in note.sections.description
                             if any(passage.holds(fact) for fact in shown)):  # fmt: skip
        return None
    for fact in operated:
        ends = [_SPINE.index(part) for part in _plain(fact).split("-") if part in _SPINE]
        if len(ends) == 2 and fact not in shown and min(ends) <= max(spots) and max(ends) >= min(spots):
            if max(ends) > max(spots):
                return spots[max(spots)]
            if min(ends) < min(spots):
                return spots[min(spots)]
    return None


_BEYOND = re.compile(r"\b(?:sacr\w+|ilia\w*|pelvi\w+|occip\w+|skull|more|further)\b", re.IGNORECASE)  # no level


_LOCATED = re.compile(
    r"\b(?:locali[sz]ed|level(?:s)? (?:was |were )?(?:checked|confirmed|verified|marked)|"
    r"(?:checked|confirmed|verified) (?:the )?levels?|needle (?:was )?(?:at|in|under|into|to|through)|"
    r"marker (?:at|in))\b", re.IGNORECASE
)  # fmt: skip
_MOVED = re.compile(
    r"\b(?:moved|above|below|higher|lower|recount\w*|then|instead|first|wrong|corrected|again|next|another|so)\b", re.I
)


def _located(note: OperativeNote, levels: list[Fact], operated: list[Fact], grammar: Grammar) -> list[Finding]:
    """ "Localised at C4-C5 and C5-C6", where C5-C6 and C6-C7 were operated on; not where the needle was moved on."""
    for passage in note.sections.description:
        done = {_plain(fact) for fact in operated
                if any(not passage.evidence.first <= one.first <= passage.evidence.last
                       for one in (fact.evidence, *fact.also))}  # fmt: skip
        cue = _LOCATED.search(passage.text)
        if not done or cue is None or _MOVED.search(passage.text):
            continue
        start = passage.evidence.first + len(passage.text[: cue.end()].split())
        for fact in levels:
            places = [one for one in (fact.evidence, *fact.also) if 0 <= one.first - start <= _TO_LEVEL]
            alike = "-" in _plain(fact) or not any("-" in one for one in done)
            pairs = {one for one in done if "-" in one} if "-" in _plain(fact) else set()  # not the vertebrae of screws
            if alike and places and passage.holds(fact) and not _covered(_plain(fact), pairs or done):
                return [_told(operated[0], fact, "warning", grammar)]
    return []


def _stray(levels: list[Fact], operated: list[Fact], stated: list[Fact], grammar: Grammar) -> list[Finding]:
    """ "L4-L5 decompression ... TLIF L3-L4", the diagnosis of L4-L5: an operation on a level that is named this once,
    beside one on the level of the diagnosis. A fusion that reaches further is told with its screws."""
    before = {_plain(fact) for fact in stated}
    often = Counter(_plain(place) for place in levels for _ in (place.evidence, *place.also))
    odd = [fact for fact in operated if "-" in _plain(fact) and often[_plain(fact)] == 1
           and not _covered(_plain(fact), before) and not any(_covered(one, {_plain(fact)}) for one in before)
           and not _in_a_row(fact, levels)
           and not _spanned(_plain(fact), {_plain(one) for one in operated if one is not fact})]  # fmt: skip
    return [_told(stated[0], fact, "warning", grammar) for fact in odd[:1] if len(operated) > len(odd)]


def _in_a_row(fact: Fact, levels: list[Fact]) -> bool:
    """ "L3-L4 and L4-L5 laminectomy": told together."""
    return any(other is not fact and (other.group == fact.group is not None
               or abs(other.evidence.first - fact.evidence.first) <= _ROW) for other in levels)  # fmt: skip


_ROW = 4  # words


def _outlier(levels: list[Fact], grammar: Grammar) -> list[Finding]:
    """Without a procedure beside it: a level said once that has no vertebra in common with the one said often."""
    counted = Counter(_plain(fact) for fact in levels).most_common()
    if not counted:
        return []
    # Decompression over several levels names many; only one stray level beside a steady one is asked for.
    if counted[0][1] < 2 or len(counted) != 2 or counted[1][1] > 1 or _covered(counted[1][0], {counted[0][0]}):
        return []
    often = next(fact for fact in levels if _plain(fact) == counted[0][0])
    return [
        _told(often, fact, "note", grammar)
        for fact in levels
        if _plain(fact) != counted[0][0] and Counter(_plain(one) for one in levels)[_plain(fact)] == 1
    ]


def _told(first: Fact, second: Fact, severity: Severity, grammar: Grammar) -> Finding:
    return finding(
        "level_conflict",
        severity,
        f"Level {first.text} and level {second.text or called(second, grammar)} were both said.",
        [first, second],
        ask="Say which level is right, or that both were meant.",
    )
