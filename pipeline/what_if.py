"""What hangs on an "if": what should bring the patient back, and what comes next if this operation does not help."""

from __future__ import annotations

from pipeline import conditions
from pipeline.clauses import word_set as _words
from pipeline.records import Sentence

_IF = _words("if should unless")
_FAILS = _words(
    "fails fail failed persists persist settled settle improve improves improved improvement recurs recur "
    "recurrence help helps relief work works worsens worsen unsuccessful insufficient inadequate remain remains "
    "continue continues still symptoms pain deteriorates progress progresses positive reaccumulates unresolved "
    "bothers stays bothersome better needed lost loosens unhealed nonunion bridging opens bleeds"
)
_THEN = _words(
    "can considered thought will would consider then offer offered discuss plan proceed may repeat next could recommend"
)
_TELLING = _words("was were had tested checked")
_CALL = _words("call calls return returns contact report seek attend ring rings phone phones emergency ed casualty a&e")


_AHEAD = frozenset({"", "aftercare", "follow-up", "disposition"})


def _thought_of(sentence: Sentence, norms: list[str]) -> bool:
    """ "Reversal may be thought of after six months"."""
    return (
        bool({"considered", "thought"} & set(norms)) and bool({"may", "can", "could"} & set(norms))
        and any(token.quantity is not None and token.quantity.dimension == "time" for token in sentence.tokens)
    )  # fmt: skip


def _when_in_vain(norms: list[str], at: int) -> bool:
    """ "When it not helps we speak about the prosthesis"."""
    return norms[at] == "when" and norms[at + 1 : at + 2] in (["it"], ["this"], ["that"]) and bool(
        {"not", "doesn't", "fails"} & set(norms[at + 2 : at + 4])
    ) and bool({"help", "helps", "work", "works", "fails"} & set(norms[at + 2 : at + 6]))


_MAY_LEAD_ON = _IF | _words("step considered thought when")


_NEAR = 8  # tokens
_COMERS = _words("he she they patient to must should please and")
_COMES = _words("come comes coming came")
_ARROW = "->"
# What a surgeon does or asks for, and the people who say it.
_DOING = _words(
    "repeat redo revise revision convert proceed refer referral consider offer go look extract remove explant exchange "
    "inject operate fuse plan book list scan biopsy mdt board surgery operation reoperation amputation chemotherapy "
    "radiotherapy do place put insert use add start stent escalate discuss speak talk step"
)
_BY_US = _words("we we'll we'd i i'll i'd")
_MODAL = _words("will would can could may might shall should must 'll needs need")


def is_call(sentence: Sentence) -> bool:
    """Whether the words tell the patient to come or call."""
    norms = [token.norm for token in sentence.tokens]
    for at, norm in enumerate(norms):
        if norm == "contact" and norms[at + 1 : at + 2] in (["sport"], ["sports"]):
            continue
        if norm in _CALL and not (norm == "ed" and not sentence.tokens[at].text.isupper()):
            return True
        if at and norms[at - 1] in _POINTS and _to_whom(norms, at):
            return True
        back = norms[at + 1 : at + 4]
        if norm in _COMES and {"if", "should"} & set(norms[max(0, at - 4) : at]) and norms[at - 1] not in _COMERS:
            continue  # "if stiffness comes back we may do a release"
        if set(norms[max(0, at - 3) : at]) & _BY_US:
            continue  # "we will come back and do the artery"
        if norm in _COMES and (set(back) & {"back", "in", "immediately"} or norms[at - 1 : at] == ["immediately"]):
            return True
    return False


def _led_on(sentence: Sentence, norms: list[str], cue: int) -> bool:
    """Whether something of ours follows on the condition: "if that fails -> ESWL", "if it gives way we will revise"."""
    end = next((at for at in range(cue + 1, len(norms)) if norms[at] in (".", ";")), len(norms))
    if set(norms[cue:end]) & _PAST:
        return False
    if {_ARROW, ":"} & set(norms[cue + 1 : end]):
        return True  # "if that fails -> ESWL", "if no benefit by 3/12: block"
    for at in range(cue + 1, end - 2):
        if norms[at] in _MODAL and norms[at + 1] == "be" and norms[at + 2] in _OFFERED:
            return True  # "if it collapses a replacement would be considered"
        if norms[at] in ("would", "will", "'ll") and norms[at + 1] in ("have", "need") and norms[at + 2] in _ANOTHER:
            return True
    ours = [at for at in range(cue + 1, end) if norms[at] in _BY_US]
    return any(
        bool(_DOING & set(norms[at + 1 : at + 2]))  # "if it still hurts we do the other knee"
        or (norms[at + 1 : at + 2] in (["would"], ["will"]) and norms[at + 2 : at + 3] != ["be"])
        or (set(norms[at : at + 3]) & _MODAL or "'" in norms[at]) and set(norms[at + 1 : at + 7]) & _DOING
        for at in ours
    )


def _in_short(sentence: Sentence, norms: list[str], cue: int) -> int | None:
    """ "If numb > 3/12 EMG.", "Transfuse if Hb < 70", "Path pending: if margins positive re-excise": a condition and
    what is done or looked at then, told without a verb."""
    if len(norms) > _SHORT or norms[cue] != "if" or cue > _BEFORE_IF or _AS_USUAL & set(norms[cue + 1 : cue + 2]):
        return None
    if (_PAST | _FINITE_NOW) & set(norms) or any(m.table in _OTHERS for m in sentence.mentions):
        return None
    begin = max((at + 1 for at in range(cue) if norms[at] in (":", ";", ",")), default=0)
    doing = [at for at, norm in enumerate(norms) if at >= begin and (norm in _DOING | _TESTS) and at != cue + 1]
    doing += [m.first for m in sentence.mentions if m.table == "procedures" and m.first >= begin and m.first > cue + 1]
    doing += [m.first for m in sentence.mentions if m.table == "procedures" and begin <= m.first < cue]
    return begin if doing else None


_SHORT, _BEFORE_IF = 14, 6  # tokens
_AS_USUAL = _words("any needed possible required")
_FINITE_NOW = _words("is are has have he she patient")
_OTHERS = frozenset({"drugs", "aftercare", "dispositions"})
_TESTS = conditions.TESTS
_PAST = _words("was were had did")
_OFFERED = _words("considered offered discussed needed required repeated done performed arranged planned")
_ANOTHER = _words("a an another further repeat more")


def next_step_at(sentence: Sentence) -> int | None:
    """The first token of what is to be done if this operation does not help; None where nothing says so."""
    if not sentence.says(_MAY_LEAD_ON):
        return None
    norms = [token.norm for token in sentence.tokens]
    if norms[:2] == ["next", "step"] and set(norms[2:5]) & {"if", "would", "will", "is"}:
        return min(2, len(norms) - 1)
    cue = next((at for at, norm in enumerate(norms) if norm in _IF or _when_in_vain(norms, at)), None)
    if cue is None and len(norms) <= 20 and _thought_of(sentence, norms):
        return 0
    if cue is None or is_call(sentence) or set(norms[:cue]) & _TELLING or norms[max(0, cue - 1)] == "see":
        return None
    if norms[cue + 1 : cue + 2] in (["needed"], ["required"], ["necessary"]) and any(
        m.table == "drugs" and m.first < cue for m in sentence.mentions
    ):  # fmt: skip
        return None  # "oxycodone every six hours if needed"
    if _led_on(sentence, norms, cue):
        return 0 if cue < _NEAR else cue
    terse = _in_short(sentence, norms, cue)
    if terse is not None:
        return terse
    first = cue == 0 and norms[cue] == "if" and "," in norms and not set(norms) & _TELLING
    if not set(norms[cue:]) & _FAILS and not first:
        return None
    ahead = [at for at in range(cue, len(norms)) if norms[at] in _THEN]
    if ahead and cue < 8:
        start = ahead[0]
        comma = [at for at in range(cue, start) if norms[at] in (",", "then")]
        return comma[-1] + 1 if comma else start
    mark = next((at for at in range(cue, len(norms)) if norms[at] == ","), None)
    if mark is not None and cue < 3 and mark + 1 < len(norms):
        return mark + 1
    if 0 < cue <= 5 and len(norms) <= 16 and not sentence.mentions[:0] and sentence.section in _AHEAD:
        return 0
    behind = [at for at in range(cue) if norms[at] in _THEN]
    if behind:
        return 0 if len(norms) <= 40 else behind[0]
    return None


def step_begins(sentence: Sentence, first: int) -> int:
    """The first token of a next step with its condition; what is told before an "if" in speech without marks ("weight
    bearing six weeks if it collapses a replacement would be considered") is not of it."""
    tokens = sentence.tokens
    cue = next((at for at, token in enumerate(tokens) if token.norm in _IF), None)
    if len(tokens) > _LONG:
        return first
    opening = next(index for index, token in enumerate(tokens) if not token.punctuation)
    if cue is not None and cue > opening:
        opening = conditions.behind_list(sentence, opening, cue)  # "40 mg injected; surgery if it does not help"
    before = {token.norm for token in tokens[: cue or 0]}
    if cue is None or cue <= opening or any(token.punctuation for token in tokens[:cue]) or before & (_MODAL | _THEN):
        return opening
    led = any(token.norm in _MODAL | _THEN for token in tokens[cue:])
    hangs = any(scope.rule == "conditional" and scope.first == cue for scope in sentence.scopes)
    return cue if led or hangs else opening


def step_ends(sentence: Sentence, begins: int) -> int:
    """The last token of a next step: in speech without marks other instructions follow it ("... a repair would be
    offered no contact sport for six months")."""
    tokens = sentence.tokens
    last = len(tokens) - 1
    if any(token.punctuation for token in tokens[begins:-1]):
        return last
    modal = next((at for at in range(begins, last) if tokens[at].norm in _MODAL), None)
    ahead = [m.first for m in sentence.mentions if m.table == "aftercare" and modal is not None and m.first > modal + 2]
    if not ahead:
        return last
    end = min(ahead) - 1
    while end > begins and tokens[end].norm in ("no", "not", "contact"):
        end -= 1
    return end


_LONG = 40  # tokens
_CUES = _words("if when should any in")
_AFTER_CUE = _words("case of the event that there be is are a an")
_LEAD_IN = _words(
    "she he they patient must should please then to immediately has is asked told will you can needs need so and "
    "straight"
)
_CALLED_IN = _words("the stroke team be doctor surgeon ward registrar on call us me and")
_BRINGS = frozenset({"bring", "brings"})
_THEATRE = _words("operating theatre theater surgery")
_SIGN_WORDS = 18  # tokens


def sign_before_call(sentence: Sentence) -> tuple[int, int] | None:
    """First and last token of what should bring the patient back, where it is said before the call: "if she bleeds or
    gets a fever she must come back", "any leg weakness, call me", "when fever, immediately come"."""
    norms = [token.norm for token in sentence.tokens]
    brings = next((at for at, norm in enumerate(norms) if norm in _BRINGS and "back" in norms[at : at + 4]), 0)
    if brings > 1 and norms[0] not in ("we", "i", "they", "he", "she"):
        last = brings - 1
        while last > 0 and norms[last] in _LEAD_IN:
            last -= 1
        return 0, last
    for cue, norm in enumerate(norms):
        opens = cue == 0 or norms[cue - 1] in (".", ";", ",")
        if norm not in _CUES or (norm in ("any", "in", "when") and not opens):
            continue
        if norm == "in" and norms[cue + 1 : cue + 2] not in (["case"], ["the"]):
            continue
        first = cue + 1
        while norm != "any" and first < len(norms) and norms[first] in _AFTER_CUE:
            first += 1
        for at in range(first + 1, min(len(norms), cue + _SIGN_WORDS)):
            if norms[at] in _POINTS and _to_whom(norms, at + 1):
                return (cue if norm == "any" else first), at - 1  # "if swelling or calf pain -> A&E"
            if norms[at] in (".", ";", *_POINTS) or norms[at] in _PAST:
                break
            if norms[at] == "straight" and norms[at + 1 : at + 2] in (["back"], ["to"]) and norms[at - 1] == ",":
                return (cue if norm == "any" else first), at - 2  # "any trouble passing water, straight back in"
            end = _before_call(sentence, norms, at, norm != "any")
            if end is not None and end >= first and not set(norms[first : end + 1]) & _CALL:
                return (cue if norm == "any" else first), end
    return None


def _to_whom(norms: list[str], at: int) -> bool:
    """Whether an arrow points to who is to be called, or where to come to."""
    ahead = norms[at : at + 3]
    if norms[at - 1] != _ARROW:
        ahead = ahead[:1]  # "fever: SAU", "hot joint - 999/ED"
    return bool((_CALL | _PLACES) & {part for word in ahead for part in word.split("/")}) or ahead == ["a", "&", "e"]


_POINTS = frozenset({_ARROW, ":", "-", "–", "—"})
_PLACES = _words("sau sdec ae gp ward hospital clinic casualty er a/e back 999 911 111 us")


def _before_call(sentence: Sentence, norms: list[str], at: int, bare: bool) -> int | None:
    """The last token of the condition where a call stands at `at`, back over "she must", "please". `bare`: a call right
    behind the condition counts ("in case of chest pain attend casualty")."""
    called = norms[at] in ("called", "rung", "contacted") and norms[at - 1] == "be"
    sport = norms[at] == "contact" and norms[at + 1 : at + 2] in (["sport"], ["sports"])
    call = (called or norms[at] in _CALL) and not (norms[at] == "ed" and not sentence.tokens[at].text.isupper())
    to_theatre = norms[at] in ("return", "returns") and bool(_THEATRE & set(norms[at + 1 : at + 5]))
    call = call and not sport and not to_theatre
    again = norms[at - 1] not in _COMERS and "if" in norms[max(0, at - 4) : at]  # "if stiffness comes back"
    comes = norms[at] in _COMES and not again and (
        bool(set(norms[at + 1 : at + 3]) & {"back", "in", "immediately"}) or norms[at - 1] in ("immediately", "to")
    )
    if not call and not comes:
        return None
    last = at - 1
    while last > 0 and (norms[last] in _LEAD_IN or norms[last] == "," or (called and norms[last] in _CALLED_IN)):
        last -= 1
    return last if bare or last < at - 1 else None
