"""Suspicions that a later sentence settles: "the tear was confirmed", "not confirmed", "there was none"."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.records import Fact, Reading, Sentence, replace

_LOOKED = frozenset({"confirmed", "verified", "seen", "found", "proven", "proved", "visualised", "visualized", "true"})
_NAMES_IT = frozenset({"this", "it", "that", "diagnosis", "suspicion", "lesion"})
_REFUTED = frozenset({"no", "not", "without", "neither", "never"})
_OUT = frozenset({"excluded", "refuted"})
_WRONG = frozenset({"wrong", "false", "otherwise", "unfounded", "mistaken", "nothing"})

# What a sentence of its own says of the suspicion before it, and of nothing that it names itself.
_LEAD = r"(?:and |but |so |ok |yes |indeed |well |, )*"
_IT = r"(?:this|that|it|which|the (?:suspicion|diagnosis|finding))"
_WAS = r"(?:was|is|has been|had been|were|could be)"
_IS_SO = r"(?:confirmed|verified|there|true|right|correct|so|proven|present|real|the case|borne out|found|seen)"
_YES = re.compile(
    rf"{_LEAD}(?:{_IT} {_WAS} (?:indeed |also |then |later )?{_IS_SO}|there (?:it|they) (?:was|is|were|are)|"
    rf"(?:confirmed|verified)|{_IT} (?:proved|turned out) (?:to be )?(?:right|true|correct|so)|sure enough)"
    r"(?: (?:at|on|by|under|with|arthroscopically|today|now|indeed).*)?\W*"
)
_NO = re.compile(
    rf"{_LEAD}(?:(?:{_IT} )?(?:{_WAS} )?(?:not|never|n't) (?:be )?{_IS_SO}|{_IT} (?:wasn't|isn't|couldn't be) {_IS_SO}|"
    rf"there (?:was|is|were|are) (?:none|nothing|no such thing)|none|nothing there|"
    rf"(?:{_IT} {_WAS} )?(?:ruled out|excluded)|"
    rf"{_IT} (?:proved|turned out) (?:to be )?(?:wrong|false|otherwise|nothing|unfounded|mistaken)|"
    rf"{_IT} (?:proved|turned out) (?:to be )?(?:just |only )?an? .*|"
    rf"{_IT} {_WAS} (?:only|just|merely|nothing but|really) an? .*)"
    r"(?: (?:at|on|by|under|with|arthroscopically|today|now|seen|found|there).*)?\W*"
)
_SHORT, _SOON = 12, 2  # tokens of such a sentence; sentences that may stand between
_FOUND = frozenset({"findings", "diagnoses", "complications"})


def told(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts, suspicions that are settled later as they were settled. Pure."""
    return [_done_after_all(_told(fact, reading), reading) for fact in facts]


def _done_after_all(fact: Fact, reading: Reading) -> Fact:
    """ "A block was deferred until the nerve was checked ... the block was then given": what was put off was done."""
    put_off = fact.certainty == "negated" or fact.status == "planned"
    if fact.kind not in _DOABLE or not put_off or fact.status not in ("performed", "planned") or fact.name is None:
        return fact
    head = fact.evidence.heard.lower().rstrip(".,;:").split()[-1:]
    for sentence in reading.sentences:
        if not head or not sentence.tokens or sentence.tokens[0].first <= fact.evidence.last:
            continue
        norms = [token.norm for token in sentence.tokens]
        for at in range(1, len(norms) - 3):
            if norms[at - 1] == "the" and norms[at] == head[0] and norms[at + 1] in ("was", "were") and (
                norms[at + 2] in _THEN and norms[at + 3] in _CARRIED
            ):
                return replace(_settled(fact, sentence, at, at + 3, "affirmed"), status="performed")
    return fact


_DOABLE = frozenset({"anaesthesia", "drain", "procedure", "act", "device", "medication"})
_THEN = frozenset({"then", "later", "finally", "eventually", "subsequently", "afterwards", "now"})
_CARRIED = frozenset("given done performed placed inserted used put injected administered carried".split())


def _told(fact: Fact, reading: Reading) -> Fact:
    if fact.certainty != "suspected" or fact.status != "performed" or fact.name is None:
        return fact
    heads = _NAMES_IT | {fact.evidence.heard.lower().rstrip(".,;:").split()[-1]}
    since, open_ = 0, True  # sentences since, and whether nothing else was found in between
    for sentence in reading.sentences:
        if not sentence.tokens or sentence.tokens[0].first <= fact.evidence.last:
            continue
        norms = [token.norm for token in sentence.tokens]
        if open_ and since <= _SOON and len(norms) <= _SHORT and (value := _answer(norms)):
            return _settled(fact, sentence, 0, len(norms) - 1, value)
        since += 1
        open_ = open_ and not any(mention.table in _FOUND for mention in sentence.mentions)
        at = next((at for at, norm in enumerate(norms) if norm in _LOOKED | _OUT), None)
        if at is None:
            continue
        subject = [one for one in range(max(0, at - 6), at) if norms[one] in heads]
        if not subject or (norms[at] in ("seen", "found") and norms[subject[-1]] in _NAMES_IT):
            continue
        refuted = norms[at] in _OUT or bool(_REFUTED & {*norms[max(0, subject[0] - 3) : at]}) or bool(
            _WRONG & {*norms[at + 1 : at + 4]}
        )
        return _settled(fact, sentence, subject[0], at, "negated" if refuted else "affirmed")
    return fact


def _answer(norms: list[str]) -> str:
    said = " ".join(norms)
    return "negated" if _NO.fullmatch(said) else "affirmed" if _YES.fullmatch(said) else ""


def _settled(fact: Fact, sentence: Sentence, first: int, last: int, value: str) -> Fact:
    tokens = sentence.tokens[first : last + 1]
    place = replace(fact.evidence, first=tokens[0].first, last=tokens[-1].last, start=None, end=None, confidence=None,
                    heard=" ".join(token.text for token in tokens))  # fmt: skip
    return replace(fact, certainty="negated" if value == "negated" else "affirmed", also=(*fact.also, place))
