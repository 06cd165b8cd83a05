"""What a picture taken before the operation showed: the words of a sentence that tell of it, and of nothing seen today.

A sentence with marks tells of its picture as a whole, or the part of it between semicolons. In speech without marks a
picture is told in a phrase: "mri showed a posterior horn tear | at arthroscopy ...", "root tear suspected on mri |
...", and what is confirmed right behind is a finding of today.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.records import Mention, Scope, Sentence

_PICTURES = _words("mri ct xray radiograph radiographs ultrasound scan sonogram mammogram arthrogram films film "
                   "imaging scanned xrayed x-rayed "
                   "angiogram mr venogram echocardiogram dexa pet mrcp mra cxr uss scans echo")  # fmt: skip
_PICTURED_BY = _PICTURES | {"x"}  # "x ray"
_TOLD = _words("showed shows show shown revealed reveals demonstrated demonstrates confirmed suggested suggestive "
               "reported queried queries raised consistent described describes mentioned mentions called")  # fmt: skip
_NOW = _words("specimen intraoperative intraoperatively guided guidance under intraop fluoroscopy final obtained "
              "taken repeat probe portable used visualize brought our hardware position cross-table we")  # fmt: skip
_SCANNED = frozenset({"scanned", "xrayed", "x-rayed"})
_NOT_HERE = frozenset({"aftercare", "follow-up", "description"})
_LATER = _NOT_HERE
_STREAM = 8  # tokens without a mark: a longer stretch of speech may tell of more than its picture
_SENTENCE = 20  # tokens of a sentence that ends with a full stop


def tells(sentence: Sentence, at: int | None = None) -> bool:
    """Whether a sentence (its words at token `at`) tells what imaging before the operation showed."""
    if sentence.section == "imaging":
        return True
    if not sentence.says(_PICTURED_BY):
        return False
    if _is_stream(sentence):
        return any(at is None or first <= at <= last for first, last in spans(sentence))
    first, end = _part(sentence, at)
    if at is not None and at >= _turn(sentence, first, end):
        return False
    return _is_told(sentence, first, end)


def old(sentence: Sentence) -> list[Scope]:
    """What was done or put in before a picture that tells of it, with the number that counts it: "MRI showed a torn
    graft after reconstruction", "CT showed two screws". What was found and measured stays as it is."""
    if not sentence.says(_PICTURED_BY) and sentence.section != "imaging":
        return []
    if any(token.norm in _AFTERWARDS for token in sentence.tokens[:_LED]):
        return []  # "postoperative x-ray showed good alignment of the prosthesis"
    return [
        Scope("status", "historical", m.first - (m.first > first and sentence.tokens[m.first - 1].quantity is not None),
              m.last, "pictured")
        for first, last in _before(sentence) for m in sentence.mentions
        if first <= m.first and m.last <= last and m.table in _DONE
    ]  # fmt: skip


_DONE = frozenset({"procedures", "acts", "devices", "drains", "injectates", "drugs"})


def _before(sentence: Sentence) -> tuple[tuple[int, int], ...]:
    """First and last tokens of what a picture told of; not of a sentence that only comes to speak of its picture
    ("arthroscopy for a tear on MRI")."""
    told = spans(sentence)
    if told and sentence.section != "imaging" and not sentence.says(_BEFORE_ONLY):
        return ()  # a scan by sound may be one of today
    whole = told[:1] == ((0, len(sentence.tokens) - 1),) and sentence.section != "imaging"
    if not whole or _is_stream(sentence):
        return told
    norms = [token.norm for token in sentence.tokens]
    led = next(at for at, norm in enumerate(norms) if norm in _PICTURED_BY)
    if led > _LED or any(m.first < led and m.table in ("procedures", "acts") for m in sentence.mentions):
        return ()
    end = next((at for at in range(led, len(norms)) if norms[at] in ("today", "we", "which", ";")), len(norms))
    return ((0, end - 1),)


_AFTERWARDS = _words("postoperative postop post-op post-operative completion postreduction post-reduction control")
_BEFORE_ONLY = _words("mri ct xray x radiograph radiographs mammogram arthrogram mr dexa pet mrcp mra cxr scanned "
                      "xrayed")  # fmt: skip
_LED = 4  # tokens: "his preoperative MRI showed"


def spans(sentence: Sentence) -> tuple[tuple[int, int], ...]:
    """First and last tokens of what is told of pictures from before the operation."""
    held: tuple[tuple[int, int], ...] | None = sentence.memo.get("pictures")
    if held is None:
        held = sentence.memo["pictures"] = tuple(_spans(sentence))
    return held


def _spans(sentence: Sentence) -> Iterator[tuple[int, int]]:
    last = len(sentence.tokens) - 1
    if sentence.section == "imaging":
        yield 0, last
    elif not sentence.says(_PICTURED_BY) or sentence.section in _NOT_HERE:
        return
    elif _is_stream(sentence):
        yield from _in_stream(sentence)
    elif _is_told(sentence, 0, last + 1):
        yield 0, _turn(sentence, 0, last + 1) - 1


def _is_stream(sentence: Sentence) -> bool:
    tokens = sentence.tokens
    if any(token.punctuation for token in tokens[:-1]):
        return False
    return len(tokens) > _STREAM and (not tokens[-1].punctuation or len(tokens) > _SENTENCE)


def _part(sentence: Sentence, at: int | None) -> tuple[int, int]:
    """The part between semicolons around a token, the whole sentence for None: first token and the one behind it."""
    if at is None:
        return 0, len(sentence.tokens)
    marks = [index for index, token in enumerate(sentence.tokens) if token.norm == ";"]
    first = max((mark for mark in marks if mark < at), default=-1) + 1
    end = min((mark for mark in marks if mark > at), default=len(sentence.tokens))
    return (max(first, at - _PICTURED), min(end, at + _PICTURED // 2)) if end - first > _UNMARKED else (first, end)


_UNMARKED, _PICTURED = 40, 24  # tokens


def _is_told(sentence: Sentence, first: int, end: int) -> bool:
    end = _turn(sentence, first, end)
    part = [token.norm for token in sentence.tokens[first:end]]
    if len(part) > 2 and part[0] in ("mri", "mrcp", "ct", "mra") and part[1] == ":" and sentence.section not in _LATER:
        return True
    norms = set(part) | {"xray" for one, other in pairwise(part) if one == "x" and other in ("ray", "rays")}
    if not norms & _PICTURES or norms & _NOW or sentence.section in _NOT_HERE:
        return False
    if norms & _SCANNED and {"was", "were", "been", "had"} & norms:
        return True  # "he was scanned in May, the cuff was torn"
    shown = any(norm in _PICTURES and "on" in part[max(0, index - 3) : index] for index, norm in enumerate(part))
    return shown or bool(norms & _TOLD)


def _turn(sentence: Sentence, first: int, end: int) -> int:
    """ "MRI showed a tear, we found synovitis": the comma behind a picture with which it comes to today, or `end`."""
    norms = [token.norm for token in sentence.tokens[first:end]]
    shown = next((at for at, norm in enumerate(norms) if norm in _TOLD), len(norms))
    for at in range(shown + 1, len(norms) - 1):
        if norms[at] in (",", "but") and norms[at + 1] in _AND_THEN and _PICTURES & {*norms[:at]}:
            return first + at
    return end


_AND_THEN = _words("we i today arthroscopically intraoperatively")


def _in_stream(sentence: Sentence) -> Iterator[tuple[int, int]]:
    norms = [token.norm for token in sentence.tokens]
    for at, norm in enumerate(norms):
        ray = norm == "x" and norms[at + 1 : at + 2] in (["ray"], ["rays"])
        if norm not in _PICTURES and not ray:
            continue
        last = at + ray
        if _of_today(norms, at, last):
            continue
        lead = at - 1
        while lead >= 0 and norms[lead] in _OF_A_PICTURE:
            lead -= 1
        if lead >= 0 and norms[lead] in _SEEN_ON:
            told = _seen_on(sentence, norms, lead, last)
        else:
            told = _shown_by(sentence, norms, lead + 1, last)
        if told is not None:
            yield told


def _of_today(norms: list[str], at: int, last: int) -> bool:
    """A picture taken to see what is done, or one still to come: "under ultrasound", "next ct at three months"."""
    before, behind = set(norms[max(0, at - 2) : at]), norms[last + 1 : last + 3]
    return bool(before & _BESIDE or _BESIDE & set(behind)) or behind[:1] == ["if"] or (
        behind[:1] in (["in"], ["at"]) and behind[1:2] == ["#time"] or behind[:1] == ["only"]
    )


_BESIDE = _words("completion under guided guidance control intraoperative intraop final repeat next check with if then "
                 "no using")  # fmt: skip
_OF_A_PICTURE = _words("the a an his her preop preoperative outside old last plain recent initial")
_SEEN_ON = _words("on from in by per of")
_SEEN = _words("suspected seen expected queried reported described known shown visible noted diagnosed was were be "
               "been had is as called")  # fmt: skip
_CONFIRMED = _words("confirmed verified found true correct real there present")


def _seen_on(sentence: Sentence, norms: list[str], lead: int, last: int) -> tuple[int, int] | None:
    """ "Root tear suspected on mri": the thing before it, unless it was confirmed or not found today."""
    behind = [norm for norm in norms[last + 1 : last + 4] if norm not in ("was", "were", "and", "but", "is")]
    if behind[:1] and (behind[0] in _CONFIRMED | _AFTER or behind[0] in ("not", "never", "no")):
        return None
    at = lead - 1
    while at >= 0 and norms[at] in _SEEN:
        at -= 1
    named = _named(sentence, at)
    denied = named is not None and named.first > 0 and norms[named.first - 1] in ("no", "without")
    return None if named is None or denied else (named.first, last)  # "no thrombosis on the scan" is kept as denied


_AFTER = _words("afterwards after postop postoperatively later")


def _named(sentence: Sentence, last: int) -> Mention | None:
    return next((m for m in sentence.mentions if m.last == last and m.table in _FOUND), None)


def _shown_by(sentence: Sentence, norms: list[str], first: int, last: int) -> tuple[int, int] | None:
    """ "Mri had shown a tear and a cyst | today ...": up to what tells of the work, of another time or of a plan."""
    index = last + 1
    while index < len(norms) and (norms[index] in _LEADS or norms[index] in _TOLD):
        index += 1
    if index < len(norms) and norms[index] in _WELL:
        return first, index  # "ct normal"
    begun = {m.first for m in sentence.mentions if m.table in _WORK}
    opened = clauses.starts(sentence)
    end = index
    while end < len(norms) and end <= last + _SHOWN and end not in begun and norms[end] not in _ENDS:
        if norms[end] == "at" and norms[end + 1 : end + 2] and norms[end + 1] in _OPERATIONS:
            break
        if norms[end] == "no" and end in opened and end > index:
            break
        end += 1
    told = any(index <= m.first < end and m.table in _FOUND for m in sentence.mentions)
    return (first, end - 1) if told or norms[last + 1 : last + 2] and _TOLD & set(norms[last + 1 : index]) else None


_FOUND = frozenset({"findings", "diagnoses", "complications", "grades"})
_LEADS = _words("had has have was with of a an the : also in")
_WELL = _words("normal clear negative unremarkable nad")
_SHOWN = 12  # tokens
_WORK = frozenset({"anaesthesia", "positions", "preparations", "approaches", "prophylaxis", "tourniquet", "procedures",
                   "acts", "drugs", "injectates", "aftercare", "dispositions", "dressings", "team", "counts",
                   "irrigation", "sutures", "specimens"})  # fmt: skip
_ENDS = _words("today intraop intraoperatively eua we i consented consent previous prior plan planned so he she "
               "patient under through but second next now then here not")  # fmt: skip
_OPERATIONS = _words("arthroscopy scope surgery operation laparoscopy laparotomy exploration opening theatre")
