"""Remarks on the other side: told on purpose for comparison, of what was before or comes later, no slip of the tongue.

"Under examination the right shoulder was stable", "left kidney: small stone, observed", "the left foot has the same
deformity, she wants it done next spring". A check that finds another side there asks quietly; it does not fall silent,
since a slip may stand in such a sentence too. Words of remarks: common practice, no source.
"""

from __future__ import annotations

import re

from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence

_SIDES = {
    "left": re.compile(r"^(?:left|l|os|lt|left-sided)$"), "right": re.compile(r"^(?:right|r|od|rt|right-sided)$"),
}  # fmt: skip
_BACK, _AHEAD, _NEAR = 4, 14, 12  # words before and after the side, and between it and what was said with it
_BEHIND = 5  # words behind what tells that nothing is done there
_FURTHER = 18  # words to "not repaired"

# Nothing is done there: it is healthy, like the other, or left as it is.
_LEFT_ALONE = re.compile(
    r"\b(?:compar\w+|contralateral|normal|healthy|unaffected|uninvolved|asymptomatic|unremarkable|symmetric\w*|"
    r"(?:same|similar) (?:\w+ )?(?:deformity|problem|disease|shape|changes?|condition|thing|findings?|lesion|"
    r"operation|trouble)|untouched|unchanged|same as (?:on )?(?:the|its)|as (?:it (?:is|was)|before)|"
    r"stays|keeps|continue (?:\w+ )?(?:drops|treatment|medication)|"
    r"(?:carries|goes|carry|go) on|continues|never|watch\w*|observe[ds]?|"
    r"(?:will|can|could|must|has to) wait|waits|"
    r"observation|surveillance|monitored|conservative\w*|splint only|left alone|(?:con|pre)served|retained|"
    r"(?:did|do|was|were)(?: not|n't) (?:\w+ ){0,2}(?:anything|touch\w*|treat\w*|operat\w*)|did nothing|"
    r"(?:is|are|was|were|still|looks?|knee|hip|shoulder|elbow|wrist|hand|ankle|foot|eye|ear|side) (?:fine|ok|okay)|"
    r"(?:kidney|testis|lung|ovary|breast|groin) (?:fine|ok|okay|good)|"
    r"(?:does|do)(?: not|n't) (?:hurt|bother|trouble)|painless|"
    r"needs? nothing|nothing (?:to do|needed|for) (?:there|on it|that side|that one|it)|"
    r"sees (?:well|fine|normally)|mild (?:signs|changes|symptoms)|"
    r"pulses?(?: \w+)? (?:present|palpable|good|normal|strong)|quiet|isolated|ventilated|"
    r"one[- ]lung|(?:iv|i v|drip|cannula|venflon|bp|cuff|line) (?:in |on |at )?(?:the )?(?:left|right|l|r) "
    r"(?:hand|arm|forearm|wrist|foot|leg)|"
    r"treated without (?:surgery|operation)|not (?:bothering|troubling|troublesome)|"
    r"(?:is|was|stays) dry|is (?:known to be )?(?:occluded|absent|atrophic|blind|deaf)|hears|dressed only|only dressed|"
    r"(?:pseudo)?phakic|aphakic|amblyopic|benign|(?:weak|stiff|painful|numb|worn|bad) too|"
    r"(?:arm|hand|wrist|leg|foot) (?:with|has|had|for) (?:the |a |an )?(?:bp|blood|cuff|drip|cannula|line|iv|i v|"
    r"arterial|pulse|sats?|monitor)|"
    r"no (?:symptoms|issues?|problems?|trouble|complaints?|pain|disease|surgery|operation|treatment|reflux|clots?|dvt|"
    r"hernias?|fractures?|tears?|stones?|lesions?|mass(?:es)?|tumou?rs?|effusion|weakness|injur(?:y|ies)|"
    r"abnormalit(?:y|ies))|"
    r"nothing (?:\w+ ){0,3}(?:in|into|on|to|at)\b|cancelled|canceled|(?:may|can) be used|free use|"
    r"(?:knee|hip|shoulder|elbow|wrist|ankle) (?:is )?free|"
    r"(?:not|nothing|neither)(?: \w+){0,2} (?:touched|looked at|inspected|"
    r"done|operated|opened|treated|seen|injured|involved|affected|"
    r"needed|addressed|repaired|fixed|released|removed|excised|explored|injected|drained|reduced|resected|divided)|"
    r"(?:arm|leg|limb|hand|foot) (?:(?:is|was|lay|lies|out|up|held|kept|put|placed|lying|resting|padded|strapped) )?"
    r"(?:out|tucked|padded|strapped|abducted|wrapped|across|lowered|flat|straight|bent|flexed|extended|dropped|"
    r"hanging|secured|taped|dependent|(?:hung|let|kept|brought) down|free|"
    r"(?:in|on|over|by|at|beside|under|above|behind) (?:a|an|the|his|her)? ?"
    r"(?:\w+[- ]){0,2}(?:boot|stirrup|holder|support|board|boards|pillow|traction|side|chest|post|head|body|rest|"
    r"cushion))|"
    # "a pillow under the left shin", "bump under the right hip"
    r"(?:pillow|bolster|bump|wedge|roll|towel|cushion|pad|gel|sandbag|support) (?:is |was )?(?:under|beneath|below|"
    r"behind|between))\b"
)
# Said of the operated side too, at the end: a remark only where both sides were examined.
_FIRM = re.compile(r"\b(?:stable|intact|negative|full|good)\b")
_EXAMINED = re.compile(
    r"\b(?:exam\w*|eua|lachman|pivot|drawer|tests?|tested|under (?:the |general )?an(?:a)?esth(?:esia|etic))\b"
)
# It was done before, or will be.
_SEASONS = "year|month|week|spring|summer|autumn|fall|winter"
_MONTHS = "january|february|march|april|may|june|july|august|september|october|november|december"
_ANOTHER_DAY = re.compile(
    rf"\b(?:ago|previously|last (?:{_SEASONS})|next (?:{_SEASONS}|time)|"
    rf"(?:in (?:the )?|done |had |since )?(?:19|20)\d\d|"
    rf"in (?:two thousand|nineteen|twenty) (?!degree|minute|week|day|hour|percent)\w+|"
    rf"in (?:{_MONTHS}|{_SEASONS})|at a later \w+|later (?:date|stage|on)|"
    r"(?:days?|weeks?|months?|years?) (?:before|earlier|previously|back) (?:by|at|in|with|and|here|elsewhere)|"
    r"(?:is|are|was|were) (?:planned|scheduled|booked|listed|due)|"
    r"(?:has|have) (?:already )?(?:an? |had )?(?:\w+ ){0,2}(?:tkr|thr|tka|tha|replacement|resurfacing|prosthesis|"
    r"arthroplasty|fusion|avf|fistula|graft|stent|bypass|implant)|"
    r"as an? (?:child|boy|girl|baby|infant|teenager|young)|planned (?:for )?\d|"
    r"(?:done|had|operated|finished) (?:on )?\d{1,2}[/.]\d{1,2}(?:[/.]\d+)?|(?:2nd|second|1st|first|fellow|other) eye|"
    r"only (?:prn|if|when)\b|(?:at )?that time|since then|ever since|has (?:\w+ ){0,2}since\b|"
    r"another (?:day|time|sitting|session)|second (?:stage|sitting)|staged|"
    r"in (?:about |another |roughly )?(?:\d+|a|an|two|three|four|five|six|eight|ten|twelve) ?(?:-\d+ ?)?"
    r"(?:weeks?|months?|years?|wks?|mths?)|in \d+/(?:12|52)|to follow|in due course|"
    r"(?:will|to) be (?:done|operated|treated|reviewed|seen|followed|addressed|listed)|wants it)\b"
)
_TREATED = re.compile(
    r"\b(?:prepp?|prepar|drap|incis|inject|open|plac|insert|repair|remov|fix|clos|sutur|drill|implant|ream|harvest|"
    r"aspirat|resect|excis|debrid|shav|clipp?|ligat|divid|infiltrat|reduc|pinn?|anchor|drain|releas|irrigat|stapl|"
    r"cement|block|mark|wash|expos|enter|dissect|lift|elevat|cannulat|punctur|graft|transferr?|screw|plat|wir)"
    r"(?:ed|e|ing|ion|n|t|s)?\b|\bcut\b"
)


# A boot that is worn afterwards, not the one of the table.
_FOR_LATER = re.compile(r"\bboot\b.{0,60}\b(?:weeks?|wks?|until|till|days?|weight|home|clinic|crutches|review)\b", re.I)
_BEFORE_WORK = re.compile(
    r"\b(?:post|pad|roll|support|bolster) in place\b|"
    r"\b(?:before|until|prior to) (?:the )?(?:harvest|incision|opening|draping|prepping)\b|"
    r"\bno (?:drain|graft|screw|plate|wire|block|repair|injection|incision)s?\b"
)


def is_aside(note: OperativeNote, said: Evidence, side: str | None) -> bool:
    """Whether a side, said at or near some words of the description, is a remark on the other side. Pure."""
    passage = _passage(note, said)
    if passage is None or side not in _SIDES:
        return False
    if _in_parallel(note, passage, side):
        return True
    words = _BEFORE_WORK.sub("", around(note, said, side))
    if _ANOTHER_DAY.search(words):
        return True
    left_alone = _LEFT_ALONE.search(words) or _LEFT_ALONE.search(around(note, said, side, _FURTHER))
    if left_alone is None and _EXAMINED.search(passage.text.lower()):
        left_alone = _FIRM.search(words)
    if left_alone is None or (left_alone.group().endswith("boot") and _FOR_LATER.search(passage.text)):
        return False
    before, _, behind = words.partition(left_alone.group())
    near = " ".join(behind.split()[:_BEHIND]) if behind else ""  # "right kidney normal on the scan, drain out when dry"
    return not _TREATED.search(f"{before} {near}")


_STEPS = ("time_out", "clock_time", "approach", "tourniquet")


def before_work(note: OperativeNote, passage: Passage) -> bool:
    """Whether a whole sentence stands before the time-out, the incision and the cuff: what it tells was known before.
    Pure."""
    steps = [one.evidence.first for one in note.of(*_STEPS, given=True)]
    told = passage.text.rstrip().endswith(".") and passage.section not in ("findings", "description", "complications")
    return told and len(steps) > 1 and passage.evidence.last < min(steps)


def _in_parallel(note: OperativeNote, passage: Passage, side: str) -> bool:
    """ "Left ovary stuck to the side wall. ... Right ovary: adhesions only.": each of the two has a sentence that
    begins with it, so that both were meant."""
    own = _HEAD.match(passage.text)
    if own is None or own["side"].lower() != side or _TAKEN.search(passage.text):
        return False
    labelled = passage.text[own.end() :].startswith(":")
    if not labelled and _TREATED.search(passage.text):
        return False
    other = {"left": "right", "right": "left"}[side]
    return any(
        (head := _HEAD.match(one.text)) is not None and head["side"].lower() == other
        and head["part"].lower() == own["part"].lower()
        for one in note.sections.description if one.section == passage.section
    )  # fmt: skip


_TAKEN = re.compile(
    r"\b(?:out|off|removed|excised|resected|taken|delivered|sent|closed|closure|incis\w+|prepp\w+|draped|sutur\w+|open\w*|"
    r"inject\w+|drain\w*|repair\w*|implant\w*|fixed|drilled)\b", re.I,
)  # fmt: skip
_HEAD = re.compile(r"(?:the )?(?P<side>left|right) (?P<part>[a-z]{3,})\b", re.I)


def is_treated(note: OperativeNote, said: Evidence, side: str | None) -> bool:
    """Whether something is done to the side that is said there ("the left breast was lifted, normal margins"). Pure."""
    return _TREATED.search(around(note, said, side)) is not None


def _passage(note: OperativeNote, said: Evidence) -> Passage | None:
    return next((one for one in note.sections.description
                 if one.evidence.first <= said.first <= one.evidence.last), None)  # fmt: skip


def around(note: OperativeNote, said: Evidence, side: str | None, ahead: int = _AHEAD) -> str:
    """The words around a side, as far as the sentence, another side and the reach of a remark go; "" without one."""
    passage = _passage(note, said)
    if passage is None or side not in _SIDES:
        return ""
    raw = passage.text.lower().split()
    words = [word.strip(".,;:()\"'") for word in raw]
    here = [at for at, word in enumerate(words) if _SIDES[side].match(word)]
    if not here:
        return ""
    place = said.first - passage.evidence.first
    at = min(here, key=lambda index: (abs(index - place), index))
    if abs(at - place) > _NEAR:
        return ""
    first, end = at, at + 1
    while first > max(0, at - _BACK) and not raw[first - 1].endswith((".", ";", ":")) and not _sided(words, first - 1):
        first -= 1
    while end < min(len(raw), at + ahead) and not raw[end - 1].endswith(".") and (
        not _sided(words, end) or (words[end] == words[at] and words[end - 1] == "and")  # "left ureter and left kidney"
    ):
        end += 1
    return " ".join(words[first:end])


def _sided(words: list[str], at: int) -> bool:
    """Whether a word is a side; "left alone" is none."""
    after = words[at + 1] if at + 1 < len(words) else ""
    return words[at] == "right" or (words[at] == "left" and after not in _LEFT_BEHIND)


_LEFT_BEHIND = frozenset("alone untouched unchanged open behind as in it there".split())
