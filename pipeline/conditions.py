"""What hangs on an "if" in a sentence: the condition itself, and what is to be done then."""

from __future__ import annotations

from itertools import pairwise

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.records import Sentence

_PAST = _words("was were had did showed revealed remained went came tolerated")
_USED = _words("used needed necessary required indicated chosen planned")
_CONSIDER = _words("consider repeat escalate refer discuss")
_CALLS = _words("call ring phone contact")
_FUTURE = _words("will would should can could may must shall")


def hangs_on(sentence: Sentence, cue_first: int, cue_last: int, reach: int) -> tuple[int, int]:
    """First and last token of what hangs on an "if": where the words behind the condition say what is to be done then,
    nothing before it; where what stands before it hangs on it, nothing that a comma begins behind it."""
    first, last = _among_clauses(sentence, cue_first, cue_last, reach)
    tokens = sentence.tokens
    if cue_first and tokens[cue_first - 1].norm in _SOONER:
        return cue_first - 1, last  # "review at six weeks, sooner if there is any concern"
    before = tokens[cue_first - 1].norm if cue_first else ""
    then = None if before == "only" else _then(sentence, cue_last, last)
    if before == "only":  # "heparin only if immobile boot six weeks"
        ahead = [m.first for m in sentence.mentions if m.first > cue_last + 1 and m.table in _TO_DO | {"dressings"}]
        last = min([last, *(at - 1 for at in ahead[:1])])
    if then is not None and (before in (",", ";") or not any(token.punctuation for token in tokens[first:cue_first])):
        first = cue_first  # "stitches out day ten if locking comes back mri", "home tomorrow; if febrile ultrasound"
    first = _behind_its_own_time(sentence, first, cue_first)
    if then is not None or any(first <= m.first < cue_first and m.table in _TO_DO for m in sentence.mentions):
        last = _up_to_next(sentence, cue_last if then is None else then, last)
    return first, last


def has_reason(sentence: Sentence, cue_last: int) -> bool:
    """ "Stitches out at ten days, come back at once for fever": what to call for stands behind the call, and is
    nothing before it."""
    ahead = sentence.tokens[cue_last + 1 : cue_last + 2 + _TO_REASON]
    place = next((at for at, token in enumerate(ahead) if token.norm in _REASONS or token.punctuation), None)
    if place is None or ahead[place].punctuation or place + 1 >= len(ahead):
        return False
    behind = ahead[place + 1].quantity
    return behind is None or behind.dimension != "time"


_SOONER = _words("sooner earlier")
_REASONS, _TO_REASON = _words("for if with should when"), 6  # tokens from a call to what it is for


def _then(sentence: Sentence, cue_last: int, last: int) -> int | None:
    """The first token of what is to be done if a condition holds, where it is told behind the condition without a verb
    of its own: "if locking comes back mri", "if positive washout"."""
    norms = [token.norm for token in sentence.tokens[: last + 1]]
    ahead = norms[cue_last + 1 :]
    if not ahead or ahead[0] in _USED or "if" in ahead:
        return None
    named = {m.first for m in sentence.mentions if m.table in _TO_DO}
    for at in range(cue_last + 2, last + 1):
        if norms[at] == "," or sentence.tokens[at].norm in (";", "."):
            return None
        if (at in named or norms[at] in TESTS) and norms[at - 1] not in _TIED_TO:
            return at
    return None


def _behind_its_own_time(sentence: Sentence, first: int, cue: int) -> int:
    """ "Non weight bearing six weeks plate out only if bothering": of two orders without a mark between them, the one
    with a length of time of its own does not hang on the "if" behind the other."""
    if any(token.punctuation for token in sentence.tokens[first:cue]):
        return first
    ordered = sorted({m.first: m.last for m in sentence.mentions if first <= m.first < cue and m.table in _TO_DO | {
        "dressings"}}.items())  # fmt: skip
    for (_, last), (second, _) in pairwise(ordered):
        between = sentence.tokens[last + 1 : second]
        if any(token.quantity is not None and token.quantity.dimension == "time" for token in between):
            first = second
    return first


def _up_to_next(sentence: Sentence, start: int, last: int) -> int:
    """The last token before a comma behind which something with a time or a dose of its own is ordered."""
    for at in range(start + 1, last):
        if sentence.tokens[at].norm != ",":
            continue
        end = next((i for i in range(at + 1, last + 1) if sentence.tokens[i].norm == ","), last + 1)
        part = sentence.tokens[at + 1 : end]
        timed = any(token.quantity is not None and token.quantity.dimension == "time" for token in part)
        if timed and any(at < m.first < end and m.table in _TO_DO for m in sentence.mentions):
            return at - 1
    return last


def _bare_before(sentence: Sentence, cue: int) -> int:
    """ "Emg showed slowing, transposition if unstable": an operation named right before an "if", that no verb of the
    past stands before, hangs on it. The token of the "if" itself where there is none."""
    for mention in sentence.mentions:
        if mention.last == cue - 1 and mention.table in ("procedures", "acts") and not (
            sentence.tokens[mention.last].norm.endswith("ed")
        ):
            at = mention.first - 1
            while at > 0 and sentence.tokens[at].norm in ("a", "an", "the", "any"):
                at -= 1
            return cue if at >= 0 and sentence.tokens[at].norm in _PAST else mention.first
    return cue


_TO_DO = frozenset({"procedures", "acts", "drugs", "injectates", "aftercare", "dispositions", "irrigation", "devices"})
_TIED_TO = _words("with on off of for to in by without no under and or the a an from after at their his her my is was")
# What is looked at or done next, said as a bare noun or verb.
TESTS = _words(
    "emg ncs ct mri us uss ultrasound xray x-ray scope rescope ercp pet transfuse re-excise reexcise re-operate "
    "re-look relook re-repair re-scope mua explore aspirate re-aspirate endoscopy puncture tap washout lavage reinject "
    "re-inject re-operation reoperation"
)


def _among_clauses(sentence: Sentence, cue_first: int, cue_last: int, reach: int) -> tuple[int, int]:
    """First and last token of what hangs on an "if" among several clauses: what follows until something is told
    again, and the clause before it where no other one says what will be done. What was done hangs on nothing."""
    norms = [token.norm for token in sentence.tokens]
    opened = [*clauses.starts(sentence), len(norms)]
    at = max(index for index, start in enumerate(opened) if start <= cue_first)
    first, end = opened[at], at + 1
    while end < len(opened) - 1 and not set(norms[opened[end] : opened[end + 1]]) & _PAST:
        end += 1
    if cue_first == opened[0] and set(norms[cue_last + 1 : opened[min(1, len(opened) - 1)]]) & _USED:
        end = len(opened) - 1  # "if cement was used, the canal was dried and it was injected": nobody says it was
    then = set(norms[cue_last + 1 : opened[end]]) & _FUTURE
    if at and not then and not set(norms[opened[at - 1] : first]) & _PAST:
        first = opened[at - 1]
    marks = any(token.punctuation for token in sentence.tokens[first:cue_first])
    if set(norms[first:cue_first]) & _PAST or (then and not marks and not set(norms[first:cue_first]) & _FUTURE):
        first = _bare_before(sentence, cue_first)  # "complications nil if it swells we would drain it"
    if first < cue_first and _is_told_out(sentence, first, cue_first):
        first = cue_first
    calls = [index for index in range(max(first, cue_first - 3), cue_first) if norms[index] in _CALLS]
    first = calls[-1] if calls else first  # "review six weeks call if fever"
    if not calls and set(norms[cue_last + 1 : opened[end]]) & _CONSIDER and not any(
        token.punctuation for token in sentence.tokens[first:cue_first]
    ):
        first = cue_first  # "review six weeks if no better consider an osteotomy"
    last = min(opened[end] - 1, cue_last + reach)
    if len(norms) <= _STREAM or any(token.punctuation for token in sentence.tokens[first:last]):
        return behind_list(sentence, first, cue_first), last
    # without marks, what was done lies on both sides of it: "... enoxaparin forty tonight if no bleeding clips to skin"
    before = [m.first for m in sentence.mentions
              if m.last < cue_first and m.table not in ("sites", "sides", "events", "routes")]  # fmt: skip
    near = before and cue_first - before[-1] <= _NEAR and not _tells_more(sentence, before[-1], cue_first)
    first = max(first, before[-1] if near else cue_first)
    named = [m.last for m in sentence.mentions if m.first > cue_last and m.table in clauses.HEADS | {"devices"}]
    if not set(norms[cue_last + 1 : last + 1]) & (_FUTURE | _THEN):
        last = min([last, *named[:1], *([] if named else [cue_last + _IF_WORDS])])
    return first, last


def _is_told_out(sentence: Sentence, first: int, cue: int) -> bool:
    """ "No sport six months if it dislocates again, revision": an instruction with its time is whole without the "if",
    where what it hangs on is no matter of how the patient does."""
    before = sentence.tokens[cue - 1].quantity
    if before is None or before.unit not in ("d", "wk", "mo") or _AS_NEEDED & {
        token.norm for token in sentence.tokens[cue + 1 : cue + 1 + _NEAR]
    }:
        return False
    return any(m.table == "aftercare" and first <= m.first < cue for m in sentence.mentions)


def _tells_more(sentence: Sentence, named: int, cue: int) -> bool:
    """ "Oxytocin five units loss six hundred no transfusion if ...": another statement stands between a thing and the
    "if", so that it does not hang on it."""
    numbers = words = 0
    between = sentence.tokens[named + 1 : cue]
    lasting = any(token.quantity is not None and token.quantity.unit in ("d", "wk", "mo") for token in between)
    if lasting and any(m.table == "aftercare" and m.first == named for m in sentence.mentions) and not (
        _AS_NEEDED & {token.norm for token in sentence.tokens[cue + 1 : cue + 1 + _NEAR]}
    ):
        return True  # "no contact sport six months if the graft does not unite he waits"
    if lasting and _LATER & {token.norm for token in sentence.tokens[cue + 1 : cue + 1 + _NEAR]}:
        return True  # "indomethacin for three weeks if the numbness persists ..."
    for token in sentence.tokens[named + 1 : cue]:
        numbers += token.quantity is not None
        words += token.quantity is None and token.norm not in _HOW_OFTEN | _WHEN
        if token.norm in ("no", "none", "nil", "loss") or numbers and token.norm.endswith("ed"):
            return True
    return numbers > _NUMBERS or words > 1 and numbers > 0


_AS_NEEDED = _words("needed required tolerated comfortable pain painful able possible stable necessary wanted safe")
_LATER = _words("persist persists fails fail recurs recur worsens returns dislocates redislocates still continues")
_WHEN = _words("tonight tomorrow later then only again in the to for of on")
_NUMBERS = 2  # a dose and how often


def behind_list(sentence: Sentence, first: int, cue: int) -> int:
    """ "To the ward, home if he has passed urine": only what stands right before an "if" hangs on it."""
    norms = [token.norm for token in sentence.tokens]
    first = max([first, *(at + 1 for at in range(first, cue - 1) if norms[at] == ";")])
    comma = max((at for at in range(first, cue) if norms[at] == ","), default=None)
    if comma is not None and _was_given(sentence, first, comma) and _names(sentence, comma + 1, cue):
        return comma + 1
    if comma is None or comma + 1 >= cue or norms[comma + 1] in ("or", "and", "then"):
        return first
    parts = [m for m in sentence.mentions if first <= m.first]
    dated = any((said := token.quantity) is not None and said.dimension == "time" for token in (
        sentence.tokens[comma + 1 : cue]
    ))
    told = any(m.last < comma for m in parts) and (dated or any(comma < m.first < cue for m in parts))
    return comma + 1 if told and not set(norms[first:cue]) & clauses.FINITE else first


def _was_given(sentence: Sentence, first: int, last: int) -> bool:
    """ "40 mg triamcinolone injected, a second one if needed": a deed with its amount stands before the comma."""
    part = sentence.tokens[first:last]
    deed = any(token.norm in _DEEDS for token in part)
    return deed and any(token.quantity is not None and token.quantity.unit for token in part) and not any(
        token.norm in _FUTURE | _THEN for token in part
    )


def _names(sentence: Sentence, first: int, last: int) -> bool:
    """Whether more than how often stands at tokens first..last-1."""
    return any(
        token.quantity is None and not token.punctuation and token.norm not in _HOW_OFTEN
        for token in sentence.tokens[first:last]
    )


_DEEDS = _words("injected given infiltrated instilled inserted placed implanted removed drained aspirated performed "
                "done")  # fmt: skip
_HOW_OFTEN = _words("every hour hours hourly daily times a day week weeks months up to max maximum as only and or "
                    "orally in after later po iv")  # fmt: skip
_STREAM = 12  # tokens
_NEAR = 8  # tokens before an "if"
_IF_WORDS = 3  # of a condition that names nothing ("if rhesus negative")
_THEN = _words("then give repeat return call come contact take start increase stop use convert proceed we")
