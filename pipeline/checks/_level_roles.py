"""What a level of the spine or a digit was said of: the operation, a statement before it, or a neighbour left alone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.checks.base import read
from pipeline.clauses import FINITE
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence, Fact, Token

BEFORE = frozenset({"preop_diagnosis", "postop_diagnosis", "diagnosis", "consent", "time_out", "site_marking"})
_NEAR, _NEAR_LIST = 6, 4  # words: "microdiscectomy on the left at L4-L5"; "L2-L3, L3-L4 and L4-L5"
# Steps that are done to a level, among steps that only find or reach it.
_DONE = re.compile(r"ectomy|otomy|ostomy|fusion|desis|plasty|decompress|fixation|instrument|release|repair|excision|"
                   r"amputation|reduction|correction|removal|injection|nerve-block|ablation")  # fmt: skip
_ENDINGS = ("ectomy", "otomy", "fusion", "desis", "plasty")
_WORDS = frozenset("decompression decompressed fused instrumented corrected released pinned amputated straightened "
                   "operated laminectomies correction amputation".split())  # fmt: skip
_SCREWS = frozenset({"screw", "screws", "cage", "cages", "spacer"})  # where they were put is where was operated
_EARLIER = frozenset("old existing previous prior earlier former removed".split())
AGREED = frozenset({"consent", "time_out", "site_marking"})
_DOING = frozenset("did performed done carried underwent we i then proceeded made".split())
_SPARED = frozenset(
    "normal unremarkable intact spared untouched uninvolved unaffected healthy uninjured fine adjacent neighbouring "
    "neighboring compared comparison counting counted marker excluded preserved".split()
)
_NOT = frozenset({"not", "no", "without", "free", "never", "nor"})
_AWAY = frozenset("involved affected treated operated touched triggering fused included addressed stenosis compression "
                  "instability herniation opened entered decompressed released of".split())  # fmt: skip
_ALONE = (("left", "alone"), ("left", "untouched"), ("not", "to"))
_CORRECTED = frozenset({"corrected", "changed", "amended", "altered"})
_ENDS = frozenset({".", ";", ":", ","})
_REACH = 7  # words that a level's own clause goes on behind it
_DISEASED = frozenset({"herniation", "herniated", "stenosis", "fracture", "degenerate", "degenerative", "procedure"})


@dataclass(frozen=True, slots=True)
class Place:
    """`role`: a kind of `BEFORE`, "procedure", "spared", or "" for anything else."""

    level: Fact
    role: str


def places(note: OperativeNote, levels: list[Fact]) -> Iterator[Place]:
    """Every place where a level was said, in the order said, with what it was said of there."""
    said = sorted(((place.first, place.last, level) for level in levels for place in (level.evidence, *level.also)),
                  key=lambda item: item[:2])  # fmt: skip
    others = _others(note)
    before: tuple[int, str] | None = None
    for first, last, level in said:
        passage = next((one for one in note.sections.description
                        if one.evidence.first <= first <= one.evidence.last), None)  # fmt: skip
        own = {other.kind for other in note.group(level) if other.kind in BEFORE | {"procedure"}}
        if own:
            role = own.pop() if len(own) == 1 else "procedure" if "procedure" in own else ""
        elif passage is not None and _is_spared(passage, first, last):
            role = "spared"
        else:
            role = _role(first, last, others, passage)
            same = passage is None or (before is not None and before[0] >= passage.evidence.first)
            if before is not None and same and first - before[0] <= _NEAR_LIST and not _led(first, before[0], others):
                role = before[1]
        before = (last, role)
        yield Place(level, role)


def _others(note: OperativeNote) -> list[tuple[int, int, str]]:
    """(first word, last word, role) of what a level can be of."""
    found: list[tuple[int, int, str]] = []
    for fact in note.facts:
        if fact.status not in ("performed", "planned") or fact.certainty == "negated":
            continue
        role = "procedure" if fact.kind == "procedure" or (fact.kind == "act" and _is_done(fact)) else fact.kind
        if role == "procedure" or role in BEFORE:
            found += [(_begins(place, role), place.last, role) for place in (fact.evidence, *fact.also)]
    agreed = [fact.evidence for fact in note.of(*AGREED)]
    for passage in note.sections.description:
        start = passage.evidence.first
        tokens = read(passage)
        if any(one.first == start and one.last >= passage.evidence.last for one in agreed):
            continue  # "Consent: L3/4 and L4/5 decompression": agreed to
        found += [(start + token.first, start + token.last, "procedure") for at, token in enumerate(tokens)
                  if token.norm in _WORDS or token.norm.endswith(_ENDINGS)
                  or (token.norm in _SCREWS and not _EARLIER & {one.norm for one in tokens[max(0, at - 4) : at]})]
    return found


def _begins(place: Evidence, role: str) -> int:
    """A time-out is told with its whole sentence, which may hold the operation before it."""
    named = _TIME_OUT.search(place.heard) if role == "time_out" else None
    return place.first + (len(place.heard[: named.start()].split()) if named else 0)


_TIME_OUT = re.compile(r"\btime[- ]?out\b", re.IGNORECASE)


def _is_done(act: Fact) -> bool:
    return bool(_DONE.search(f"{act.name or ''} {act.text or ''}"))


def _role(first: int, last: int, others: list[tuple[int, int, str]], passage: Passage | None) -> str:
    """What began last before the level in its sentence; else what follows it there; else what is near."""
    inside = others
    if passage is not None:
        inside = [one for one in others if passage.evidence.first <= one[0] <= passage.evidence.last]
    started = [one for one in inside if one[0] <= first and (first - one[1] <= _NEAR)]
    if started:
        begun = max(started, key=lambda one: (one[0], -one[1]))
        return _agreed(begun, inside, passage) or begun[2]
    behind = [one for one in inside if one[0] > last and one[0] - last <= _NEAR]
    if behind:
        return min(behind)[2]
    if passage is not None and (_PICTURE.search(passage.text) or _is_told_alone(passage)):
        return ""  # "MRI left extrusion L5-S1; L4-L5 scar only": what a picture showed, whatever is told beside it
    near = [one for one in others if one[0] <= first and first - one[1] <= _NEAR]
    if passage is None or passage.evidence.last - passage.evidence.first < _NEAR:  # a few words with the level
        near = near or [one for one in others if one[0] > last and one[0] - last <= _NEAR]
    return min(near, key=lambda one: min(abs(first - one[1]), abs(one[0] - last)))[2] if near else ""


def _is_told_alone(passage: Passage) -> bool:
    """ "The first needle was at C4/5, it was moved one down.": a whole sentence, which goes on with nothing."""
    marked = passage.text.rstrip().endswith((".", ";"))
    found = re.search(r"\b(?:confirm|check|verif|locali[sz]|mark|count)\w*", passage.text, re.IGNORECASE)
    return marked and found is None and any(token.norm in FINITE for token in read(passage))


_TO_ALONE = 20  # tokens
_LEFT_ALONE = re.compile(r"[^#.]*\b(?:leav\w+|left) (?:(?:it|that|this|them|one|level) )*(?:alone|as it is|be)\b")
_PICTURE = re.compile(r"\b(?:mri?|ct|scans?|myelogram|emg|discogra\w+)\b", re.IGNORECASE)


def _agreed(done: tuple[int, int, str], inside: list[tuple[int, int, str]], passage: Passage | None) -> str:
    """ "Consent: microdiscectomy L4-L5" tells what was agreed on, "time out done, we did the laminectomy at" what was
    done: the kind of the statement, or ""."""
    firm = [one for one in inside if one[2] in AGREED and one[0] <= done[0]]
    if done[2] != "procedure" or not firm or passage is None:
        return ""
    start = passage.evidence.first
    words = {token.norm for token in read(passage) if firm[-1][0] < start + token.first < done[0]}
    return "" if words & _DOING else max(firm)[2]


def _led(first: int, before: int, others: list[tuple[int, int, str]]) -> bool:
    """Whether something of its own stands between two levels of a row."""
    return any(before < one[0] < first for one in others)


def _is_spared(passage: Passage, first: int, last: int) -> bool:
    """Whether the words beside a level tell that nothing was wrong with it or done to it."""
    tokens = read(passage)
    start, end = first - passage.evidence.first, last - passage.evidence.first
    here = [at for at, token in enumerate(tokens) if token.first <= end and token.last >= start]
    if not here:
        return False
    behind = _clause(tokens, here[-1] + 1)
    ahead = [token.norm for token in tokens[max(0, here[0] - 3) : here[0]]]
    ahead = ahead[next((at + 1 for at in range(len(ahead) - 1, -1, -1) if ahead[at] in _ENDS | {"and"}), 0) :]
    if any(word in _SPARED or word in ("not", "except") for word in ahead):
        return True
    if _MOVED.search(" ".join(token.norm for token in tokens[here[-1] + 1 : here[-1] + 1 + _REACH])):
        return True
    before = [token.norm for token in tokens[max(0, here[0] - _REACH) : here[0]]]
    if before[-1:] == ["from"] and _CORRECTED & set(before):
        return True  # "level corrected at time-out from L5/S1": no longer held
    if _LEFT_ALONE.match(" ".join(token.norm for token in tokens[here[-1] + 1 : here[-1] + 1 + _TO_ALONE])):
        return True  # "C4/5 has a bulge and was discussed; we agreed to leave it alone"
    if _DISEASED & set(behind[:2]):
        return False
    told = any(word in _SPARED for word in behind)
    denied = any(word in _NOT and _AWAY & set(behind[at + 1 : at + 3]) for at, word in enumerate(behind))
    alone = any(tuple(behind[at : at + 2]) in _ALONE for at in range(len(behind)))
    return told or denied or alone


# "It was L5-S1 so we moved up one": where the needle was found to be at first.
_MOVED = re.compile(r"\b(?:moved|went|go|move|shifted|came) (?:one )?(?:up|down|higher|lower)\b|\bone (?:too|level) "
                    r"(?:low|high|lower|higher|up|down)\b")  # fmt: skip


def is_root(note: OperativeNote, level: Fact) -> bool:
    """ "R C6 root free", "both L4 + L5 roots free": a nerve, which may belong to the level above or below it."""
    passage = next((one for one in note.sections.description if one.holds(level)), None)
    if passage is None or "-" in (level.text or ""):
        return False
    end = level.evidence.last - passage.evidence.first
    behind = [token for token in read(passage) if token.first > end]
    while behind and (behind[0].norm in _ROW or (behind[0].quantity and behind[0].quantity.form == "level")):
        behind.pop(0)
    return bool(behind) and behind[0].norm in _ROOTS


_ROW = frozenset({"and", "+", ",", "&", "exiting", "traversing"})
_ROOTS = frozenset({"root", "roots", "nerve", "nerves", "ganglion"})


def _clause(tokens: tuple[Token, ...], start: int) -> list[str]:
    """The words behind a level up to the next mark, time of day or level."""
    words: list[str] = []
    for token in tokens[start : start + _REACH]:
        if token.norm in _ENDS or (token.quantity is not None and token.quantity.form in ("level", "clock")):
            break
        words.append(token.norm)
    return words

