"""Plans that were not kept, and things said first that a later word of the same breath wants, thinks of or denies.

"The plan was a repair, we did a resection instead", "GA planned, spinal given instead": what was planned was not done.
"A drain we wanted to put, but the field was dry, so none": the drain is the object of all three.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.context_cues import CueHit
from pipeline.records import Mention, Quantity, Scope, Sentence, Token

_PLANS = frozenset({"aimed", "planned-before", "planned-after"})
_PAST = _words(
    "was were had wanted hoped meant intended planned booked listed scheduled original proposed ordered consented"
)
_MINDS = _words("mind minds plan plans")
# "A thyroidectomy was planned, we did a lobectomy only"; not "was planned only if ..."
_OPERATIONS = frozenset({"procedures", "acts", "anaesthesia"})
_NO_MORE = _words("only just")
_ONE_SIDE = _words("left right")  # "consented for both knees, only left injected": done on one of two sides
_ON_TERMS = _words("if when after once for in as on to with")
_TOLD = clauses.DID | _words("done performed given used placed implanted were was")
_AFTER_ONLY = 5  # tokens
_REACH = 18  # tokens between a plan and the word that says it was changed


def changed(sentence: Sentence, scopes: Sequence[Scope]) -> list[Scope]:
    """The scopes; a plan of the past that was changed is a denial."""
    found = [Scope("certainty", "negated", at, at, "changed") for at in outdone(sentence)]
    for scope in scopes:
        if scope.rule not in _PLANS or scope.value != "planned":
            found.append(scope)
        elif any(scope.first <= new and old <= scope.last for old, new in outdone(sentence).items()):
            continue  # the thing itself was used, in another number
        elif _is_kept(sentence, scope):
            continue
        elif _is_changed(sentence, scope):
            found.append(Scope("certainty", "negated", scope.first, scope.last, "changed"))
        else:
            found.append(scope)
    return found


_MEANT = _words("planned requested wanted intended scheduled booked ordered listed consented meant prescribed")
_CARRIED = _words("given done performed injected used placed inserted implanted administered applied taken infiltrated")
_LINK = _words("and then was were also duly has have been later now so it")
_YET = _words("tomorrow tonight next later in once when if after")


def _is_kept(sentence: Sentence, scope: Scope) -> bool:
    """ "Kenalog forty planned and given", "she wanted a block and got it": what was meant to be was done."""
    norms = [token.norm for token in sentence.tokens]
    for at in range(scope.first + 1, min(len(norms), scope.last + _SOON_DONE)):
        if scope.rule == "aimed" and norms[at : at + 3] in (["but", "did", "it"], ["but", "did", "so"]):
            return True
        if norms[at] not in ("and", ","):
            continue
        then = at + 1
        while then < len(norms) and norms[then] in _LINK:
            then += 1
        ahead = norms[then : then + 2]
        if not _YET.isdisjoint(norms[then + 1 : then + 3]):
            continue
        if ahead[:1] and ahead[0] in _CARRIED and norms[at - 1] in _MEANT:
            return True
        if scope.rule == "aimed" and ahead in (["got", "it"], ["had", "it"], ["received", "it"], ["got", "one"]):
            return True
    return False


_SOON_DONE = 4  # tokens


def outdone(sentence: Sentence) -> dict[int, int]:
    """ "Kenalog 80 mg planned - 40 mg given", "3 anchors planned, 2 used", "three anchors on the table two used": the
    token of each number that was planned or made ready -> that of the one like it that is told as done."""
    held: dict[int, int] | None = sentence.memo.get("outdone")
    if held is None:
        held = sentence.memo["outdone"] = dict(_outdone(sentence)) if sentence.says(_SET_OUT) else {}
    return held


def _outdone(sentence: Sentence) -> Iterator[tuple[int, int]]:
    tokens = sentence.tokens
    numbers = [at for at, token in enumerate(tokens) if token.quantity is not None or _is_one_done(tokens, at)]
    for old, new in pairwise(numbers):
        planned, used = tokens[old].quantity, tokens[new].quantity or _ONE
        if planned is None or planned.unit != used.unit or planned.form not in (
            used.form, "times"
        ):
            continue
        between = [token.norm for token in tokens[old + 1 : new]]
        told = _DONE & {token.norm for token in tokens[new + 1 : new + _VERB]} and not any(
            token.norm == "not" for token in tokens[new + 1 : new + _VERB]
        )
        told = told or tokens[new - 1].norm in _DONE  # "opened three anchors, used two"
        same = planned.unit is None and used.unit is None and (planned.value or 0) < (used.value or 0)
        set_out = {token.norm for token in tokens[max(0, old - _VERB + 1) : old]} & _SET_OUT | _SET_OUT & set(between)
        if len(between) <= _BEHIND and set_out and told and not same and not {".", "then"} & set(
            between
        ):
            yield old, new


def _is_one_done(tokens: Sequence[Token], at: int) -> bool:
    """ "Two anchors in the pack, one used": the one that counts has no quantity."""
    verbs = [token.norm for token in tokens[at + 1 : at + _VERB] if token.norm not in ("was", "is")]
    return tokens[at].norm == "one" and bool(verbs) and verbs[0] in _DONE


_ONE = Quantity(value=Decimal(1), form="number")
_BEHIND = 6  # tokens
_VERB = 3  # tokens
_SET_OUT = _words("planned intended booked scheduled ordered consented wanted table opened ready available tray "
                  "meant thought pack packet box shelf trolley") | {"out"}  # fmt: skip
_DONE = _words("used given needed placed implanted put inserted injected enough sufficed done went")


def _is_changed(sentence: Sentence, scope: Scope) -> bool:
    norms = [token.norm for token in sentence.tokens]
    near = norms[max(0, scope.first - 2) : scope.last + 5]
    if _PAST.isdisjoint(near):
        return False
    for at in range(scope.first + 1, min(len(norms), scope.last + 1 + _REACH)):
        if norms[at] in (".", ";") and at > scope.last:
            return False
        pair = norms[at : at + 2]
        if norms[at] == "instead" and pair[1:] != ["of"]:
            return at > scope.last
        if norms[at] in _NO_MORE and at > scope.last and (_ON_TERMS | _ONE_SIDE).isdisjoint(norms[at + 1 : at + 2]):
            named = any(m.table in _OPERATIONS and scope.first <= m.first <= scope.last for m in sentence.mentions)
            return named and not _TOLD.isdisjoint(norms[scope.last + 1 : at + _AFTER_ONLY])
        if norms[at] == "but" and at > scope.last and _could_not(norms[at : at + _REACH]):
            return True  # "salpingotomy had been her wish, but the tube could not be saved"
        if pair in (["ended", "up"], ["not", "needing"]) or norms[at] in ("cancelled", "canceled"):
            return True
        if norms[at] in ("changed", "change") and _MINDS & set(norms[at + 1 : at + 4]):
            return True
    return False


def _could_not(norms: list[str]) -> bool:
    """Whether a clause behind "but" tells that something did not go, and nothing that it went at last."""
    clause = norms[: norms.index(".")] if "." in norms else norms
    failed = _FAILED - {"could"} & set(clause) or any(
        word in ("could", "would") and clause[at + 1 : at + 2] == ["not"] for at, word in enumerate(clause)
    )
    return bool(failed) and not _SUCCESS & set(clause)


_SPEAKER = _words("we i")
_BETWEEN = _words("had have also first at really then would should 'd")
_DOABLE = frozenset(
    {"procedures", "acts", "devices", "drains", "drugs", "injectates", "anaesthesia", "approaches", "tourniquet",
     "dressings", "specimens", "sutures", "measures", "guidance"}
)  # fmt: skip


def fronted(sentence: Sentence, hit: CueHit) -> int | None:
    """The first token of what stands before "we wanted to put", "we would do later": its object, where it opens the
    clause."""
    tokens = sentence.tokens
    if tokens[hit.last + 1 : hit.last + 2] and tokens[hit.last + 1].quantity is not None:
        return None  # "two point four anchors, I planned three": it has an object of its own
    at, spoken = hit.first - 1, False
    while at >= 0 and (tokens[at].norm in _SPEAKER or tokens[at].norm in _BETWEEN):
        spoken = spoken or tokens[at].norm in _SPEAKER
        at -= 1
    if not spoken or at < 0:
        return None
    for mention in sentence.mentions:
        if mention.table in _DOABLE and mention.last <= at:
            between = [token.norm for token in tokens[mention.last + 1 : at + 1]]
            if (not between or between[0] == "of" and len(between) <= 3) and _opens(sentence, mention):
                return mention.first
    return None


_OBJECT = _words("the a an any it them that this another no")


def denied_object(sentence: Sentence, hit: CueHit) -> tuple[int, int] | None:
    """ "Prp I never do in this situation sling six weeks", "a drain we did not use": the object stands before, where
    nothing is said behind the verb that could be one."""
    before = fronted(sentence, hit)
    if before is None:
        return None
    verb = hit.last + 1
    if verb >= len(sentence.tokens) or any(m.first == verb for m in sentence.mentions):
        return None
    after = sentence.tokens[verb + 1].norm if verb + 1 < len(sentence.tokens) else "."
    named = any(m.first == verb + 1 for m in sentence.mentions)
    if after in _OBJECT or named or sentence.tokens[verb].norm not in _USES:
        return None
    return before, verb


_USES = _words("do did use used give gave need needed want wanted put place placed take took like recommend find found "
               "see saw get got offer offered")  # fmt: skip


def _opens(sentence: Sentence, mention: Mention) -> bool:
    at = mention.first - 1
    while at >= 0 and sentence.tokens[at].norm in ("a", "an", "the"):
        at -= 1
    before = sentence.tokens[at].norm if at >= 0 else "."
    return before not in _VERBS and not before.endswith("ed")


_VERBS = _words("was were is are of with for to by from in on no used made took gave placed put did had be been")
# Said of something by a pronoun or by nothing at all.
_OF_IT = frozenset(
    {"left it out", "left them out", "did without", "did without it", "decided not to", "but did not do it",
     "but did not do so"}
)  # fmt: skip
_WANTED = _words("did didn't never declined refused")
_PRONOUNS = _words("it them this that any one")
_SO = frozenset({
    "none", "no .", "no ,", "omitted", "withheld", "skipped", "cancelled", "abandoned", "not done", "not performed",
    "not given", "not used", "not carried out", "not placed", "not inserted", "not taken",
})  # fmt: skip
# "Frozen shoulder was suspected, full range, so not confirmed"
_SETTLED = frozenset({"not confirmed", "ruled out", "excluded", "was excluded", "was ruled out", "not there"})
_HAD = frozenset({"diagnoses", "findings", "complications"})
_NEEDED = _words("needed required necessary indicated nec req called")
_TOPIC = 22  # tokens


def denied_topic(sentence: Sentence, hit: CueHit) -> tuple[int, int] | None:
    """What "... so none", "... and left it out" denies: the last thing before that can be done or used."""
    said = " ".join(token.norm for token in sentence.tokens[hit.first : hit.last + 1])
    so = hit.first > 0 and sentence.tokens[hit.first - 1].norm == "so"
    bare = so and (said in _SO or hit.rule.id == "not-done" and said.split()[-1] not in _NEEDED)
    settled = so and said in _SETTLED
    ends = (sentence.tokens[hit.first].norm, sentence.tokens[hit.last].norm)
    wanted = ends[0] in _WANTED and ends[1] in _PRONOUNS  # "but she did not want it"
    wanted = wanted or ends[0] in ("it", "they")  # "so it went down the sink"
    wanted = wanted or ends[0] in _HANDS and said.split()[-1] in ("away", "out")  # "so we threw it away"
    wanted = wanted or _is_of_it(sentence, hit) or "against" in said.split() and ends[1] in _PRONOUNS
    wanted = wanted or "think" in said.split() and ends[1] in _PRONOUNS  # "ready, don't think I'll need it"
    if hit.rule.id not in ("none", "not-done", "not", "declined", "ruled-out") or not (
        bare or wanted or settled or said in _OF_IT
    ):
        return None
    near = range(hit.first - _TOPIC, hit.first)
    topics = _HAD if settled else _DOABLE
    named = [m for m in sentence.mentions if m.table in topics and m.first in near and m.last < hit.first]
    return (named[-1].first, named[-1].last) if named else None


def denied_title(sentence: Sentence, hit: CueHit) -> tuple[int, int] | None:
    """ "Sterilisation requested antenatally - form unsigned, NOT performed": the one thing that could be done stands
    first, and nothing that could be done between it and the denial."""
    if hit.rule.id != "not-done" or not hit.first or sentence.tokens[hit.first - 1].norm not in _MARKS:
        return None
    if sentence.tokens[hit.last].norm not in _PERFORMED or sentence.tokens[hit.first].norm != "not":
        return None
    named = [m for m in sentence.mentions if m.table in ("procedures", "acts", "drugs", "devices", "drains")
             and m.last < hit.first]  # fmt: skip
    begins = next((at + 1 for at in range(hit.first - 1, -1, -1) if sentence.tokens[at].norm in (".", ";")), 0)
    named = [m for m in named if m.first >= begins]
    if not named or len({m.first for m in named}) > 1 or named[0].first > begins + 1:
        return None
    between = {token.norm for token in sentence.tokens[named[0].last + 1 : hit.first]}
    return (named[0].first, hit.last) if between & _MEANT else None


_MARKS = frozenset({",", "-", "–", "—", ";"})
_PERFORMED = _words("performed done given carried undertaken placed inserted used")


def _is_of_it(sentence: Sentence, hit: CueHit) -> bool:
    """ "So this we did not give", "which we did not use", "this we not give": nothing is named behind the verb."""
    before = [token.norm for token in sentence.tokens[max(0, hit.first - 3) : hit.first]]
    while before and before[-1] in ("did", "do", "have", "could"):
        before.pop()
    if hit.rule.id not in ("not", "not-done") or len(before) < 2 or before[-1] not in _HANDS or (
        before[-2] not in ("this", "that", "it", "which", "them", "these")
    ):
        return False
    verb = hit.last + (hit.rule.id == "not")
    ahead = sentence.tokens[verb + 1 : verb + 2]
    return not ahead or ahead[0].punctuation or ahead[0].norm in ("but", "so", "because", "and", "instead", "he", "she")


_HANDS = _words("we i they nobody")


def not_yet(sentence: Sentence, hit: CueHit) -> tuple[int, int] | None:
    """First and last token of what was not given and will be: "heparin not started, five thousand units tonight",
    "enoxaparin 40 mg not given, start tomorrow"."""
    tokens, norms = sentence.tokens, [token.norm for token in sentence.tokens]
    if hit.rule.id not in ("not-done", "not") or hit.first < 1 or norms[hit.last] not in _STARTED:
        return None
    at = hit.last + 1
    while at < len(tokens) and (tokens[at].quantity is not None or norms[at] in _UNTIL_THEN):
        at += 1
    if at >= len(tokens) or norms[at] not in _THEN:
        return None
    before = hit.first - 1
    while before > 0 and (tokens[before].quantity is not None or norms[before] in ("was", "were", ",")):
        before -= 1
    drug = next((m for m in sentence.mentions if m.table == "drugs" and m.last == before), None)
    return None if drug is None else (drug.first, at)


_STARTED = _words("started given commenced restarted resumed administered today yet begun not")
_UNTIL_THEN = _words(", ; - – — yet but then start starts begin to be from on at in for the will give given it")
_THEN = _words("tonight tomorrow later evening ward postop postoperatively morning after")


def to_come(sentence: Sentence) -> list[tuple[int, int]]:
    """First and last tokens of what will be: "cystoscopy in three months", "second stage repair in six weeks"."""
    tokens = sentence.tokens
    found = []
    for mention in sentence.mentions:
        if mention.table == "procedures" and _in_short(sentence, mention):
            found.append((mention.first, mention.last + 1))
            continue
        at = mention.last + 2
        if mention.table != "procedures" or at >= len(tokens) or tokens[at - 1].norm != "in":
            continue
        quantity = tokens[at].quantity
        if quantity is None or quantity.unit not in ("wk", "mo", "a") or quantity.form not in ("number", "range"):
            continue
        after = tokens[at + 1].norm if at + 1 < len(tokens) else ""
        before = {token.norm for token in tokens[max(0, mention.first - 4) : at]}
        if after not in ("old", "ago", "of") and not before & _BEFORE_NOW:
            found.append((mention.first, at))
    return found


def _in_short(sentence: Sentence, mention: Mention) -> bool:
    """ "Cystoscopy 3/12.", "URS R 4/52." as a sentence of its own: in three months."""
    last = mention.last
    last += last + 1 < len(sentence.tokens) and sentence.tokens[last + 1].norm in ("l", "r", "left", "right")
    behind = sentence.tokens[last + 1 : last + 3]
    quantity = behind[0].quantity if behind else None
    return mention.first == 0 and quantity is not None and quantity.text.endswith(("/52", "/12")) and (
        len(behind) < 2 or behind[1].norm in (".", ";")
    )


_BEFORE_NOW = frozenset({"was", "were", "had", "been", "has", "underwent", "third", "fourth", "fifth"})


def _in_vain(ahead: list[str]) -> bool:
    """ "Was tried and could not be sited", "tried, didn't really take": without a "but"."""
    for at, word in enumerate(ahead):
        after = [one for one in ahead[at + 1 : at + 4] if not one.endswith("ly")][:2]
        if word in ("didn't", "couldn't", "wouldn't"):
            after = ["not", *after]
        elif word not in ("did", "could", "would", "does"):
            continue
        if after[:1] == ["not"] and after[1:2] and after[1] in _WENT:
            return True
    return False


_WENT = _words("take work go pass hold be advance stay seat fit come succeed help last")
_TRIED = _words("attempted tried")
_FAILED = _words("could couldn't unable failed impossible unsuccessful wouldn't abandoned")
_NOT_DO = _words("would did was were could")
_SUCCESS = _words("second then finally eventually later instead again repeated successful succeeded managed")
_TO_FAILURE = 14  # tokens


def failed_attempts(sentence: Sentence) -> list[tuple[int, int]]:
    """First and last tokens of what was tried in vain: "a cholangiogram was attempted, but the duct could not be
    cannulated"."""
    if not sentence.says(_TRIED):
        return []
    norms = [token.norm for token in sentence.tokens]
    found = []
    for at, norm in enumerate(norms):
        if norm not in _TRIED:
            continue
        if norms[at - 1 : at] in (["we"], ["i"]) and norms[at + 1 : at + 2] in (["a"], ["an"], ["the"]):
            continue  # "glenosphere thirty six, we tried a thirty nine but couldn't close": it stands behind the verb
        tried = [m for m in sentence.mentions if m.table in _DOABLE and at - 4 <= m.last < at]
        end = next((i for i in range(at, len(norms)) if norms[i] in (".", ";")), len(norms))
        ahead = norms[at + 1 : min(end, at + 1 + _TO_FAILURE)]
        but = next((i for i, word in enumerate(ahead) if word == "but"), None)
        if not tried or _SUCCESS & set(ahead):
            continue
        if but is None:
            if _in_vain(ahead):
                found.append((tried[-1].first, at))
            continue
        denied = any(word in _NOT_DO and ahead[i + 1 : i + 2] == ["not"] for i, word in enumerate(ahead) if i > but)
        if denied or _FAILED & (set(ahead[but:]) - {"could"}):
            found.append((tried[-1].first, at))
    return found
