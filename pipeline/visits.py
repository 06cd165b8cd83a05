"""When the patient is to be seen again: the word that makes a time one of a follow-up, and what the visit is."""

from __future__ import annotations

from collections.abc import Set

from pipeline.clauses import word_set as _words
from pipeline.records import Sentence

_CUES_AGAIN = _words(
    "rtc u fu follow followup opd rv xr xrays control review reviewed seen see clinic check appointment recall revisit "
    "visit return returns back results result level test labs film films imaging echo duplex scan mri xray ray rays "
    "radiograph radiographs repeat repeated change gp listed psa bloods fbc amylase pth tsh colonoscopy ultrasound ct "
    "recheck surveillance consultation removed removal out"
)
_LOOKED_IN = _words("cystoscopy gastroscopy endoscopy ogd sigmoidoscopy hysteroscopy bronchoscopy laryngoscopy"
                    " mammogram angiogram")
_WHEN = _words("in at after within around about by every approximately his her the a next ~")
_SEEN_NOW = _words("was were had been has underwent under using showed")


def cue_of(sentence: Sentence, index: int, leads: Set[str] = frozenset()) -> int | None:
    """The word that makes the time at a token one of a follow-up ("review in six weeks"); `leads`: words to it."""
    tokens = sentence.tokens
    lead = tokens[index - 1].norm if index else ""
    if not index or lead in (",", "and", ".", ";"):  # "sling, physio from tomorrow, six weeks clinic"
        seen = tokens[index + 1].norm if index + 1 < len(tokens) else ""
        after = [token.quantity for token in tokens[index + 2 : index + 4] if token.norm not in _IN][:1]
        later = bool(after) and after[0] is not None and after[0].dimension == "time"
        if seen in _SEEN_AGAIN and not later:
            return index + 1
    for at in range(index - 1, max(-1, index - 11), -1):
        token = tokens[at]
        timed = token.quantity is not None and token.quantity.dimension == "time"
        if timed and lead == "," and not any(m.first == index + 1 and m.table != "guidance" for m in sentence.mentions):
            return cue_of(sentence, at, leads)  # "review 2/52 ROS, 6/52 XR"
        if timed or token.norm in (".", ";"):
            return None
        if token.norm in _LOOKED_IN and index - at == 2 and lead in ("in", "at", "after"):
            return at  # "cystoscopy in three months"
        if token.norm == "level" and at and tokens[at - 1].norm == "heart":
            continue  # "above heart level for three days"
        if token.norm == "again" and at and tokens[at - 1].norm in _COMES:
            return at  # "he comes again in four weeks"
        if token.norm not in _CUES_AGAIN or (token.norm == "u" and (not at or tokens[at - 1].norm != "/")):
            continue
        walked = at > 1 and tokens[at - 1].norm.endswith("ed") and token.norm in ("see", "review", "clinic")
        if not walked and any(other.norm in _SEEN_NOW for other in tokens[max(0, at - 3) : at]):
            return None
        if token.norm == "for" or lead == "for" and token.norm in ("out", "back", "seen", "see"):
            return None
        if token.norm in ("out", "removed", "removal") and not _stitches(sentence, at):
            continue
        return at if lead in _WHEN or lead in leads or index - at <= 2 else None
    if lead in ("in", "at", "after", "within"):
        for at in range(index + 1, min(index + 7, len(tokens))):
            if tokens[at].norm in (".", ";", ","):
                return None
            if tokens[at].norm == "again" and tokens[at - 1].norm in _COMES:
                return at
            if tokens[at].norm in ("follow", "followup", "review", "clinic", "appointment", "recall", "check"):
                return at
    return None


_COMES = frozenset({"come", "comes", "coming", "see", "seen"})
_IN = frozenset({"in", "at", "after"})
_SEEN_AGAIN = frozenset({"clinic", "follow-up", "followup", "review", "appointment", "opd", "outpatients"})


def _stitches(sentence: Sentence, at: int) -> bool:
    near = sentence.tokens[max(0, at - 5) : at + 5]
    return any(token.norm.startswith(("sutur", "stitch", "stapl", "clip", "drain", "stent", "pack", "cathet", "wire",
                                      "splint", "cast", "pin")) for token in near)  # fmt: skip


def name_of(sentence: Sentence, cue: int) -> str | None:
    """What the follow-up is, where it is more than a visit: "x-ray", "scan", "sutures out"."""
    word = sentence.tokens[cue].norm
    if word in ("ray", "rays", "xray", "xr", "xrays", "radiograph", "radiographs"):
        return "x-ray"
    if word in ("out", "removed", "removal"):
        near = [token.norm for token in sentence.tokens[max(0, cue - 5) : cue + 4]]
        before = [*reversed(near[: min(cue, 5)]), *near[min(cue, 5) :]]  # "splint 6 weeks, wires out at eight"
        thing = next((norm for norm in before if norm.startswith(("sutur", "stitch", "stapl", "clip", "drain", "stent",
                     "pack", "cathet", "wire", "splint", "cast", "pin"))), "sutures")  # fmt: skip
        named = sentence.tokens[cue - 1].norm if cue else ""
        if not any(norm == thing for norm in near[: min(cue, 5)]) and named.isalpha() and named not in _NO_THING:
            thing = named  # "nephrostomy out day 2, stent out 3 weeks"
        return f"{thing} out"
    if word in ("scan", "mri", "duplex", "colonoscopy", "ultrasound", "ct") or word in _LOOKED_IN:
        return word
    return None


_NO_THING = _words("is are be to it they them come comes coming taken then will can may and the all both when after")
_AGAIN = _words("seen follow followup review recheck")


def alone(sentence: Sentence) -> int | None:
    """A follow-up without a number of its own ("seen tomorrow", "follow up in clinic"), in instructions only."""
    if not sentence.says(_AGAIN):
        return None
    planned = sentence.section in ("aftercare", "follow-up") or any(s.value == "planned" for s in sentence.scopes)
    for at, token in enumerate(sentence.tokens):
        following = sentence.tokens[at + 1].norm if at + 1 < len(sentence.tokens) else ""
        if token.norm == "seen" and following in ("tomorrow", "again"):
            return at
        if not planned:
            continue
        if token.norm == "follow" and [t.norm for t in sentence.tokens[at + 1 : at + 4]] == ["up", "on", "the"]:
            continue  # "he had scrubbed in to follow up on the loss of the pulse"
        if token.norm == "follow" and following == "up" or token.norm in ("followup", "review", "recheck"):
            return at
    return None
