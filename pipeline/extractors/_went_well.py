"""That nothing went wrong, in the words of everyday: "it all went to plan", "no bother at any point", "nothing went
wrong". What is said of one step ("the block went in well"), of another day or of the patient's complaint is none of it.
"""

from __future__ import annotations

import re

from pipeline.extractors import _in_norms, base
from pipeline.records import Fact, Reading, Sentence

_TROUBLE = (r"(?:hitch|hitches|hiccups?|mishaps?|dramas?|bother|trouble|troubles|upsets?|incidents?|problems?|issues?|"
            r"worries|excitement)")  # fmt: skip
_ALL = (r"(?:(?:it|that|this|they) all|it|all|all of (?:it|that|this)|everything|everything else|things|"
        r"(?:the |a )?(?:whole )?(?:case|operation|op|procedure|surgery|thing|lot))")  # fmt: skip
_WELL = (r"(?:(?:very |really |pretty |quite |so |just |perfectly |all )?(?:well|smoothly|fine|nicely|beautifully|ok|"
         r"okay|swimmingly|uneventfully|according to plan|to plan|as planned|like clockwork)|"
         rf"without (?:a |an |any )?(?:single )?{_TROUBLE})")
_AT_ALL = (r"(?: (?:at any (?:point|stage|time)|at all|whatsoever|along the way|on the way|anywhere|throughout|"
           r"(?:all )?the way through|from start to finish|to report|today|during (?:the )?(?:case|operation|"
           r"surgery)))")
# Behind these it is of one thing: "no trouble with the airway", "no bother finding the duct".
_OF_ONE = (r"(?! (?:with|in|of|from|at|on|during|since|to|for|about|before|after|over|than|until|except|but|ever|yet|"
           r"there|[a-z]+ing)\b)")  # fmt: skip
_NEVER_WRONG = re.compile(
    rf"\b(?:{_ALL} (?:has |had |have )?(?:all )?(?:went|gone|ran|passed off|went off|went through) {_WELL}\b"
    rf"|(?:went|gone|passed off|went off) (?:off |through )?without (?:a |any )?(?:hitch|hiccups?|mishaps?|dramas?)\b"
    r"|could(?:n't| not) have gone (?:any )?(?:better|smoother|more smoothly)\b"
    r"|nothing (?:at all )?(?:went|has gone|had gone) wrong\b"
    r"|nothing (?:untoward|adverse)\b(?: (?:happened|occurred|to report|at any \w+))?"
    rf"|nothing to (?:report|note|declare)(?: (?:by|in the) way of {_TROUBLE})?\b{_OF_ONE}"
    r"|nothing (?:unexpected|bad|dramatic) (?:happened|occurred)\b"
    rf"|(?:no|not a|never any) {_TROUBLE}(?:{_AT_ALL}|\b{_OF_ONE})"
    r")"
)
_OPENERS = frozenset("went gone ran passed nothing no without not never".split())
# "He gave no trouble", "had no bother": of a complaint.
_HAS = frozenset("had has have having gave give gives given giving been caused causing causes with of".split())
_BUT = frozenset("otherwise apart except besides then until till before initially first part last previous earlier "
                 "second after".split())  # fmt: skip
_LIMITED = re.compile(r"^(?: ?,)? (?:until|till|except|apart|but for|initially|at first|last time|the first|other than|"
                      r"before|in the past|ago)\b")  # fmt: skip
_BEFORE = 4  # tokens


def told(reading: Reading, sentence: Sentence) -> list[Fact]:
    """One fact that denies all complications, where a sentence says so in such words."""
    if not sentence.says(_OPENERS):
        return []
    norms = [token.norm for token in sentence.tokens]
    for first, last in _in_norms.found(sentence, _NEVER_WRONG):
        before = norms[max(0, first - _BEFORE) : first]
        behind = " " + " ".join(norms[last + 1 : last + 5])
        if _BUT & set(before) or (before and before[-1] in _HAS and norms[first] in ("no", "without", "not", "never")):
            continue
        if _LIMITED.match(behind):
            continue
        if base.scope_at(sentence, "status", first, "performed") not in ("performed", "planned"):
            continue
        return [base.make("complication", reading, sentence, first, last, name="none", certainty="negated",
                          status="performed")]  # fmt: skip
    return []
