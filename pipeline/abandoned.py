"""Operations that were begun and given up, or went on in another way: what a title names may not have been done.

"The operation was aborted before the incision" and "converted to open" name no operation; what was named before is
doubted then, never denied: how far it went the surgeon says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


GIVEN_UP = "the operation is said to be given up; what of it was done is not said"
ONE_SIDE = "said of both sides; one of them is said not to be done"
CONVERTED = "said to be converted to open"
TURNED = "said to be converted to another operation"
_GAVE_UP = _words("aborted abandoned abort abandon abandoning aborting cancelled canceled terminated discontinued")
# "The procedure was terminated at this point" ends most dictations: given up it was only where a reason is told.
_ENDED = _words("terminated discontinued")
_TURNED = _GAVE_UP | {"converted", "conversion", "given"}
_WHY = _words(
    "because due owing since as unable before prior without early prematurely instead failed unsafe instability"
)
_WHOLE = _words("operation procedure case surgery intervention")
_CLOSED = _words("laparoscopic arthroscopic thoracoscopic endoscopic robotic vats keyhole laparoscopy laparoscopically")
_NEAR = 4  # tokens
_UNDONE = _words("no not never without avoided if would could may might")


def doubt(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts; named operations that a later sentence gives up or converts carry a doubt. Pure."""
    result = list(facts)
    for sentence in reading.sentences:
        if not sentence.tokens or not sentence.says(_TURNED):
            continue
        given_up, converted = _gives_up(sentence), _converts(sentence)
        turned = _turned_into(sentence)
        for index, fact in enumerate(result):
            if fact.kind != "procedure" or fact.certainty != "affirmed" or fact.status not in ("performed", "planned"):
                continue
            if fact.evidence.first > sentence.tokens[-1].last:
                continue
            if fact.evidence.last in turned:
                result[index] = _with(fact, TURNED)
            here = fact.evidence.first >= sentence.tokens[0].first
            if _names(sentence, fact):
                undone = replace(fact, status="performed", certainty="negated")
                result[index] = undone if fact.status == "planned" else _with(fact, GIVEN_UP)
            if fact.status == "planned":
                continue
            if given_up and not here:
                result[index] = _with(fact, GIVEN_UP)
            elif converted and not here and _is_closed(fact, grammar):
                result[index] = _with(fact, CONVERTED)
    return result


def one_side(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts; what is said of both sides carries a doubt where its sentence or one of the next few leaves a side
    out: "planned both SI joints, left done, right not done", "facet injection bilateral - done R only". Pure."""
    result = list(facts)
    for sentence in reading.sentences:
        if not sentence.tokens or not sentence.says(_LEAVES_OUT) or not leaves_side(sentence):
            continue
        start = reading.sentences[max(0, sentence.index - _SENTENCES)].tokens
        for index, fact in enumerate(result):
            near = start and start[0].first <= fact.evidence.first <= sentence.tokens[-1].last
            if near and fact.laterality == "bilateral" and fact.kind in ("procedure", "act", "injection") and (
                fact.status == "performed"
            ):  # fmt: skip
                result[index] = _with(fact, ONE_SIDE)
    return result


_SENTENCES = 3
_PUT_OFF = _words("deferred cancelled canceled postponed omitted skipped abandoned")
_LEAVES_OUT = _PUT_OFF | {"not", "only", "no"}
_SHUT = _words(". , ; today") | {""}
_DID = _words("converted changed reduced done did injected treated operated performed touched scoped blocked")
_OF_SIDE = _words("side one knee hip shoulder joint ankle elbow was were is has been had to be we just the on of at")


def leaves_side(sentence: Sentence) -> bool:
    """Whether a side is told not to be done, or to be the only one that was."""
    tokens = sentence.tokens
    norms = [token.norm for token in tokens]
    for at, token in enumerate(tokens):
        if norms[at] not in ("left", "right") and token.text not in ("L", "R"):
            continue
        behind = at + 1
        while behind < len(norms) and norms[behind] in _OF_SIDE:
            behind += 1
        ahead = at - 1
        while ahead >= 0 and norms[ahead] in _OF_SIDE | _DID:
            ahead -= 1
        word = norms[behind] if behind < len(norms) else ""
        none = ahead >= 0 and norms[ahead] == "no" and word in _SHUT  # "left knee done, no right knee"
        if word in _PUT_OFF or none or (word in ("not", "never") and bool(_DID & set(norms[behind + 1 : behind + 3]))):
            return True
        alone = word == "only" and norms[behind + 1 : behind + 2] in ([], ["."], [","], [";"])
        alone = alone or (ahead >= 0 and norms[ahead] == "only" and word in _DID | {"", ".", ","})
        if alone and bool(_DID & set(norms[max(0, at - _NEAR) : behind + 1])):
            return True
    return False


_OTHER = {"left": _words("right r rt"), "right": _words("left l lt")}


def _with(fact: Fact, reason: str) -> Fact:
    return fact if reason in fact.doubts else replace(fact, doubts=(*fact.doubts, reason))


def _gives_up(sentence: Sentence) -> bool:
    norms = [token.norm for token in sentence.tokens]
    for at, norm in enumerate(norms):
        if norm in _GAVE_UP and _is_told(sentence, at):
            behind = norms[at + 1 : at + _NEAR]
            near = {*norms[max(0, at - _NEAR) : at], *behind[: behind.index(",") if "," in behind else None]}
            ended = norm in _ENDED and not _WHY & set(norms)
            if near & _WHOLE and not ended and not set(norms[max(0, at - _NEAR) : at]) & _UNDONE:
                return True
    return False


def _names(sentence: Sentence, fact: Fact) -> bool:
    """Whether what is given up is named by the last word of an operation: "so the endarterectomy was abandoned"."""
    head = fact.evidence.heard.lower().rstrip(".,;:").split()[-1:]
    norms = [token.norm for token in sentence.tokens]
    for at, norm in enumerate(norms):
        before = norms[max(0, at - _NEAR) : at]
        if _OTHER.get(fact.laterality or "", frozenset()) & set(before):
            continue  # "PRP left knee. Right knee cancelled today."
        gave = norm in _GAVE_UP or norm == "given" and norms[at + 1 : at + 2] == ["up"]
        if gave and _is_told(sentence, at) and head and head[0] in before and (
            fact.evidence.last < sentence.tokens[max(0, at - _NEAR)].first and not set(before) & (_UNDONE | _PARTS)
        ):  # fmt: skip
            return True
    return False


_PARTS = _words("approach attempt attempts side second")


def _converts(sentence: Sentence) -> bool:
    norms = [token.norm for token in sentence.tokens]
    return any(
        norm in ("converted", "conversion") and "open" in norms[at + 1 : at + 5] and _is_told(sentence, at)
        and not set(norms[max(0, at - _NEAR) : at]) & _UNDONE
        for at, norm in enumerate(norms)
    )


def _turned_into(sentence: Sentence) -> set[int]:
    """Last words of operations that became another one: "cystectomy converted to oophorectomy"."""
    tokens = sentence.tokens
    found: set[int] = set()
    for at in range(1, len(tokens) - 1):
        if tokens[at].norm != "converted" or tokens[at + 1].norm not in ("to", "into") or not _is_told(sentence, at):
            continue
        into = any(m.table == "procedures" and at + 2 <= m.first <= at + 4 for m in sentence.mentions)
        before = at - 1 - (tokens[at - 1].norm in ("was", "were", "then"))
        found.update(tokens[m.last].last for m in sentence.mentions
                     if into and m.table == "procedures" and m.last == before)  # fmt: skip
    return found


def _is_told(sentence: Sentence, at: int) -> bool:
    """Whether nothing makes the word at a token planned, feared, past or denied."""
    return not any(
        scope.first <= at <= scope.last
        and (scope.axis == "status" or (scope.value == "negated" and scope.rule not in _OWN))
        for scope in sentence.scopes
    )


_OWN = frozenset({"none", "attempt-failed", "declined"})  # scopes that these words open themselves


def _is_closed(fact: Fact, grammar: Grammar) -> bool:
    named = grammar.label("procedures", fact.name).lower() if fact.name else ""
    said = {*named.split(), *(fact.text or "").lower().split(), *fact.evidence.heard.lower().split()}
    return bool(said & _CLOSED) and not said & {"converted", "open"}
