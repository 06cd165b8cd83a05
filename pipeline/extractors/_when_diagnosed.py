"""When a diagnosis was one: "pre and post op", "before surgery and after it", "unchanged afterwards", "no change".

Words of time and of sameness make many phrases; they are put together here from their parts (common practice, no
source).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_OP = r"(?: (?:the )?(?:op|operation|surgery|procedure|operative|operatively|intervention|it))?"
_BEFORE = rf"(?:(?:pre|preop|preoperative|preoperatively|before){_OP})"
_AFTER = rf"(?:(?:post|postop|postoperative|postoperatively|after|afterwards|afterward|at the end){_OP})"
_JOIN = r"(?: (?:and|&|/|=|\+|,|or|as well as|as)(?: also| then)? )"
_SAME = r"(?:(?:the |of the )?same|unchanged|identical|confirmed|likewise|not changed|no different)"
_STAYS = r"(?:(?:it|it's|that|this|:|-|is|are|was|were|stays|stayed|remains|remained|still|just|exactly) ?)*"
_THINGS = (
    "leg side knee hip eye ear arm hand foot shoulder ankle elbow day time way dose incision position portal portals "
    "technique fashion manner as size drain dressing tube amount medicine regime"
).split()
_OTHER = rf"(?! (?:{'|'.join(_THINGS)})\b)"  # "the same leg"
_NEGATED = (r"(?:no change|without change|nothing (?:has |had )?changed|"
            r"(?:did not|has not|have not|didn't|hasn't) changed?)")  # fmt: skip
# What is "before and after" may be a film or a range of movement; said bare, it ends its statement.
_END = (r"(?= *$| [.;,:)#]| (?:the )?(?:same|procedure|operation|surgeon|doctor|dr|mister|mr|mrs|ms|patient|we|i|she|"
        r"he|for|diagnosis|dx|of|with|was|is|were|are|no|under|general|spinal|surgeons|endoscopist|consultant|operator|"
        r"miss|it's|i'm|until|pending|the (?:left|right|other)|as)\b)")  # fmt: skip
_MADE = "film|x|dose|view|picture|photo|scan|range|score|antibiotic|washout|irrigation|reduction|tourniquet|inject"
_NOT = r"(?! (?:antibiotic|film|x|dose|care|analges|range|view|picture|photo|scan|hb|instruct))"
_AFTER_OP = (
    r"(?:(?:post|after) (?:the )?(?:op|operation|surgery|operative|operatively)|postop|postoperative(?:ly)?)" + _NOT
)
_WE = r"(?:we|i|you)"
_BOTH = re.compile(
    rf"(?:both )?{_BEFORE}(?:{_JOIN}| )(?:(?:is|was|it|it's|still|also) )*"
    rf"(?:{_AFTER_OP}|{_AFTER}(?: (?:diagnosis|dx))?{_END})"
    rf"|{_BEFORE}(?:{_JOIN}| ){_STAYS}{_SAME} (?:{_AFTER}){_END}"
    rf"|(?:is|was|being) what {_WE} (?:expected|thought|suspected|assumed)(?: and|,)+ (?:what )?{_WE} found\b"
)
_LATER = re.compile(
    rf"(?:the )?(?:(?:{_SAME}|{_NEGATED})(?: (?:in )?(?:the )?(?:diagnosis|dx))? "
    rf"(?:afterwards?\b|(?:at|in) the end\b|(?:{_AFTER}){_END})"
    rf"|{_AFTER} (?:, )?(?:the )?(?:diagnosis |dx )?{_STAYS}(?:{_SAME}|{_NEGATED})\b{_OTHER}"
    rf"|(?:no|without|not a) (?:surprises?|other|new) (?:diagnosis )?(?:afterwards?\b|(?:{_AFTER}){_END})"
    r"|(?:that|this|which|it)(?:'s| is| was)(?: also| still| again| just| exactly)* "
    rf"what (?:[a-z']+ ){{1,5}}{_AFTER}{_END}"
    rf"|{_NEGATED} (?:in|of|to|about|with|for) (?:the |his |her )?(?:diagnosis|dx)\b"
    rf"|(?:diagnosis|dx) {_STAYS}(?:{_SAME}|{_NEGATED})\b"
    rf"|{_SAME} (?:diagnosis|dx)(?= *$| ?[.;,)])|(?:that|this|it)(?:'s| is| was) still the (?:diagnosis|dx)\b"
    rf"|{_NEGATED}(?= *$| [.;,]| (?:doctor|dr|surgeon|mister|mr|miss|ms)\b)"
    rf"|(?:diagnosis|dx) (?:stays|stayed|stands|stood|remains|remained|holds|held)"
    rf"(?: (?:just )?(?:as|the way) it (?:was|is)\b|(?: good| as before)?{_END})"
    r"|(?:nothing|no(?:thing)? (?:different|other)) new (?:in|about|to) the (?:diagnosis|dx)\b"
    r"|(?:the )?(?:diagnosis|dx) has not (?:moved|changed)\b"
    r"|(?:the )?same (?:diagnosis|dx) (?:leaving|coming out|going out|out) as (?:coming|going)? ?in\b)"
)
# Seen in this operation, and not on a film before it.
_SEEN = (
    r"(?:(?:at|during|on|in|by|with|through) (?:the |this |my |our )?(?:operation|op|surgery|procedure|arthroscopy|"
    r"exploration|exposure|opening|inspection|look|scope|table|theatre|theater|camera|joint|"
    r"screening|c-arm|fluoroscopy)\b(?! (?:on|of|in) )|"
    r"(?:intra ?(?:op|operatively|operative)|operatively|arthroscopically|inside|in there)\b|"
    r"(?:at|in) (?:the )?end\b|"
    r"(?:when|once|as soon as) (?:i|we|inside|open|opened|in|it|there|seen)\b)"
)
_IT_WAS = r"(?:that's|that is|that was|it's|it is|it was|this is|this was|which is|which was|was|is)"
_ALSO = r"(?: (?:also|just|exactly|indeed|precisely|still|again|really))*"
_STOP = (r"(?= *$| ?[.;,)]| (?:procedure|operation|surgeon|surgeons|doctor|dr|mister|mr|mrs|ms|patient|we|i|under|"
         r"general|spinal|until|pending|now|after|afterwards|as (?:the )?(?:diagnosis|dx))\b)")  # fmt: skip
_PROVED = (rf"(?:{_SAME}|verified|proven|proved|borne out|"
           r"(?:found )?(?:just )?as (?:expected|suspected|thought|feared)|found (?:the same|so|as such))")  # fmt: skip
_WHO = (r"(?:we|i|they|he|she|you|everyone|(?:the|his|her) (?:scan|scans|mri|m r i|ct|c t|ultrasound|x-rays?|films?|"
        r"pictures?|"
        r"duplex|echo|referral|gp|letter|clinic|radiologist|biopsy|angiogram|doppler|sonographer))")  # fmt: skip
_HELD = (r"(?:(?:had|have|all|always|already|originally) )*(?:thought|expected|suspected|feared|assumed|said|showed|"
         r"shown|"
         r"told us|were told|(?:saw|seen|found|met|felt|read) (?:in|at|on|before|last|from) (?:\w+ ?){1,3}|(?:came|"
         r"went|started|began|set off|booked|started out|start|go|come) (?:\w+ )?(?:in |out |off "
         r")?(?:with|for|"
         r"under)|had (?:it |them |him |her )?(?:going in|down|before|beforehand|listed|on the \w+)|had it|reckoned|"
         r"predicted|"
         r"promised|suggested|put down|consented \w+ for|going in|before|beforehand)")  # fmt: skip
# Said right behind the name of a diagnosis, where nothing else can be meant: "confirmed", "same finding at operation",
# "and it was exactly that when I looked", "and that's what we found".
_FOUND = re.compile(
    rf"{_PROVED}(?: (?:findings?|picture|thing|diagnosis|dx))? {_SEEN}"
    rf"|{_SEEN}(?: [^ .;]+){{0,7}} (?:, |: )?{_STAYS}{_PROVED}\b{_OTHER}"
    rf"|{_IT_WAS} (?:verified|proven|borne out)(?: {_SEEN}|{_STOP})|found as (?:expected|suspected|thought|feared)\b"
    r"|(?:arthroscopy|scope|operation|surgery|exploration) (?:agreed|proved it|(?:confirmed|showed) "
    rf"(?:it|this|that|the same|just that)){_STOP}"
    rf"|(?:so|that|which|as) (?:it |is how it )?(?:turned out|proved|remains|remained)(?: to be)?{_STOP}"
    rf"|(?:it |that )(?:remains|remained|stays|stayed) (?:that|so|the same){_STOP}"
    r"|(?:diagnosis|dx) (?:(?:is|was|proved) )?(?:correct|right|proven|true|borne out|as (?:expected|suspected))"
    rf"{_STOP}"
    rf"|{_IT_WAS}{_ALSO} (?:that|this|so|the case|true|{_SAME}) (?:{_SEEN}|{_STOP})"
    rf"|{_IT_WAS}{_ALSO} what (?:we|i|he|she|they|was|it was|there was)(?: also)? ?(?:found|saw|seen|there|met|had)?"
    rf"(?: {_SEEN}|{_STOP})"
    rf"|{_IT_WAS} what it (?:was|is) and {_IT_WAS} what it (?:was|is|stays)\b"
    rf"|(?:we|i) (?:found|saw) what (?:we|i) (?:had )?(?:expected|thought|suspected|feared)\b"
    rf"|(?:so|just that|exactly that|that|this) "
    r"(?:it was|was found|(?:is |was )?what (?:we|i) found|we found|i found)"
    rf"(?: {_SEEN}|{_STOP})"
    rf"|(?:we|i) (?:found|saw|met) "
    r"(?:the same|just that|exactly that|that|it so|nothing (?:else|new|different))"
    rf"(?: {_SEEN}|{_STOP})"
    rf"|(?:nothing|no) (?:else|new|other|more|different)(?: (?:was|findings?|diagnos[ie]s))? ?(?:found|seen)?"
    rf"(?: {_SEEN}|{_STOP})"
    rf"|(?:is|was) what it (?:was|is)(?: and (?:still )?(?:is|was))?\b"
    r"|(?:just |exactly )?as (?:expected|suspected|predicted|seen|shown) (?:from|on|by) (?:the |his |her )?"
    r"(?:ct|c t|mri|m r i|scans?|ultrasound|x-rays?|films?|echo|duplex|biopsy)\b"
    rf"|(?:just |exactly |pretty much )?as {_WHO} {_HELD}\b(?! to )"
)
# Bare, it is an item of its own: "hallux valgus, HVA 32; unchanged. Dr. Fenn".
_BARE = re.compile(rf"(?:{_PROVED}|{_NEGATED}|idem|ditto){_STOP}")
# In speech without marks the team follows: "cuff tear arthropathy left shoulder unchanged doctor pryor".
_BEFORE_TEAM = re.compile(
    rf"(?:{_PROVED}|{_NEGATED}) (?:surgeons?|doctor|dr|mister|mr|mrs|miss|missus|ms|procedure|operation|assistant)\b"
)
_MARKS = frozenset(",;.(-–—/")
# What stands under "post-operative diagnosis" in place of a name.
_AS_BEFORE = re.compile(
    rf"(?:{_AFTER}(?: (?:diagnosis|dx))? )?(?:{_STAYS}(?:{_SAME}|{_NEGATED}|idem|ditto|id)|see above"
    rf"|(?:the )?(?:same )?as (?:the )?(?:{_BEFORE}|above|before|stated|noted)(?: (?:diagnosis|dx))?)[ .]*"
)
OPENERS = frozenset("pre preop preoperative preoperatively before both post postop postoperative postoperatively after "
                    "afterwards same unchanged identical confirmed likewise no not nothing did has diagnosis dx "
                    "without the didn't hasn't that's it's that this which it is was being".split())  # fmt: skip


def said(norms: Sequence[str], at: int) -> bool | None:
    """Whether the words from token `at` on say that it was the diagnosis before and after the operation (True), or
    after it as before (False); None where they say neither."""
    text = " ".join(norms[at : at + 14])
    if _BOTH.match(text):
        return True
    return False if _LATER.match(text) else None


def alone(norms: Sequence[str]) -> bool:
    """Whether a sentence behind a diagnosis holds no more than that it was so: "Confirmed.", "At surgery the same." """
    text = " ".join(norms).rstrip(" .;")
    return any(pattern.fullmatch(text) is not None for pattern in (_FOUND, _BARE))


def found_so(norms: Sequence[str], at: int) -> bool:
    """Whether the words from token `at` on, said behind the name of a diagnosis, tell that it was found to be so."""
    text = " ".join(norms[at : at + 14])
    return _FOUND.match(text) is not None or _BEFORE_TEAM.match(text) is not None or (
        at > 0 and norms[at - 1] in _MARKS and _BARE.match(text) is not None
    )


# Right behind the name of a diagnosis nothing has to end it: "radiculopathy before and after Ottoline Barrow".
_CLOSE_BEHIND = re.compile(
    rf"(?P<both>before and after|pre and post(?: op)?)(?! (?:op )?(?:the )?(?:{_MADE}))\b|"
    rf"{_SAME} (?:after|afterwards?|post(?: op)?|postop)\b(?! (?:the |its |a )?(?:{_MADE}))|, same(?= *$| [.;)])"
)


def close_behind(norms: Sequence[str], at: int) -> bool | None:
    """As `said`, right behind the name of a diagnosis."""
    found = _CLOSE_BEHIND.match(" ".join(norms[at : at + 7]))
    return None if found is None else found["both"] is not None


_ONE = re.compile(r"(?:that|this|which|it)(?: is| was|'s)? (?:(?:still|also) )?(?:the|our|his|her) (?:diagnosis|dx)\b")


def is_one(norms: Sequence[str], at: int) -> bool:
    """ "A tear of the medial meniscus, that was the diagnosis"."""
    return _ONE.match(" ".join(norms[at : at + 6])) is not None


def of_other(norms: Sequence[str], at: int) -> bool:
    """Whether the "same" at a token is said of something else: "the same leg"."""
    return at + 1 < len(norms) and norms[at + 1] in _THINGS


def same_after(norms: Sequence[str]) -> bool:
    """Whether a sentence begins with that it was the same after the operation ("After surgery: same")."""
    text = " ".join(norms[:10])
    unsurprised = re.match(rf"(?:and )?(?:no|without) surprises? (?:afterwards?|{_AFTER}) \.", text)
    alone = re.fullmatch(rf"(?:the )?{_SAME}(?: (?:diagnosis|dx))? {_AFTER}[ .]*", text)  # "Same after."
    return unsurprised is not None or alone is not None or (
        re.match(rf"(?:and )?{_AFTER} {_STAYS}(?:{_SAME}|{_NEGATED})\b{_OTHER}", text) is not None
    )


_BOTH_SAME = re.compile(rf"(?:(?:diagnosis|dx) )?{_BEFORE}{_JOIN}{_AFTER}(?: (?:diagnosis|dx))? {_STAYS}{_SAME}[ .]*")


def both_same(norms: Sequence[str]) -> bool:
    """Whether a sentence says no more than that the diagnosis was one: "Pre/post same."."""
    return _BOTH_SAME.fullmatch(" ".join(norms[:10])) is not None


def as_before(words: str) -> bool:
    """Whether the words under "post-operative diagnosis" say no more than that it is the one before: "as above"."""
    return _AS_BEFORE.fullmatch(words.lower().replace("-", " ").strip(" .,:;")) is not None


_LIKE = (r"(?:(?:the |exactly |just |much |pretty much |all )*(?:same|no different|nothing different|identical|"
         r"unchanged)"
         r"(?: (?:diagnosis|dx|thing|story|findings?|picture|problem))?(?: after(?:wards)?| at the end)?)")  # fmt: skip
# "Same as the scan said", "what came out is what we thought going in", "no different from what we had down".
_AS_THOUGHT = re.compile(
    rf"\b(?:{_LIKE} (?:as|from|to|than)(?: what)? (?:{_WHO} {_HELD}|on (?:the|his|her) (?:scan|m ?r ?i|c ?t|film|"
    rf"x-ray))"
    rf"|(?:it's|it is|it was|that's|that was|this is|this was) the (?:[a-z]+ ){{1,4}}?(?:that )?(?:{_WHO} {_HELD}"
    r"|(?:the scan|the mri|the m r i|the ultrasound|the x-ray) (?:had )?show(?:ed|n))"
    rf"|{_SAME} as (?:going in|we went in|before we started)"
    rf"|{_SAME} (?:diagnosis|dx) (?:as|from|to) (?:before|beforehand|going in|pre ?op\w*|on admission|at the start)"
    rf"|(?:is|was|it's|that's|be|found|saw|met|got|had|just|exactly|precisely)(?: just| exactly| precisely| "
    rf"indeed)? what "
    rf"{_WHO} {_HELD})\b(?! to (?!be\b))"
)


def as_thought(norms: Sequence[str]) -> tuple[int, int] | None:
    """Where a sentence says that what was found is what had been thought: ("same as the scan said"), (first token,
    last token); None where it does not."""
    text = " ".join(norms)
    match = _AS_THOUGHT.search(text)
    if match is None or _OF_THING.search(text[: match.start()]):
        return None
    first = text[: match.start()].count(" ")
    return first, first + match[0].count(" ")


# "The size is the same as we had planned", "the other side is no different from before": of one thing.
_OF_THING = re.compile(rf"\b(?:{'|'.join(_THINGS)}|implant|cup|stem|length|angle|range|position|rest|pressure|exposure)"
                       r"(?: (?:is|was|are|were|stays|stayed))? ?$")  # fmt: skip
