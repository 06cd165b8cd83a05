"""What was sent or kept back, told with a plain verb and no place: "we sent the piece off", "threw them away, not
sent",
"the polyps went in two pots". Used where a sentence tells of no specimen in another way."""

from __future__ import annotations

import re

from pipeline import cues
from pipeline.extractors import _in_norms, base
from pipeline.extractors._specimen_sent import DENIALS, make
from pipeline.extractors._specimen_words import OTHER_WAY, STOPS, VESSELS
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, replace

_VERBS = frozenset({"sent", "send", "went", "threw", "binned", "discarded", "bin", "away"})
_AWAY = r"(?:off|away|anywhere|for (?:testing|analysis|a look|examination|histo|path)|to (?:be looked at|histo|path))"
_THING = r"(?:(?:the|a|an|that|this|it|them|all|some|both|one|two|three|four|his|her|most|half|bits?) ?(?:of )?)"
# "We sent the piece off", "I sent a bit of the wall for analysis".
_WE_SENT = re.compile(
    rf"\b(?:we|i|we've|i've)(?: have| then| also)* (?:sent|send) (?P<what>{_THING}(?:[a-z-]+ ){{0,6}}?){_AWAY}\b"
)
# "Tonsils not sent", "none of it was sent", "threw them away".
_NOT_SENT = re.compile(
    r"\b(?:(?:was|were|is|are|did|been)?(?:not|n't)(?: been)? sent|never sent|didn't send(?: it| them| any(?:thing)?)?"
    r"|wasn't sent|weren't sent|(?:none|nothing)(?: of (?:it|them|this|that))?(?: was| were| is| has been| to be| "
    r"got)? "
    r"(?:sent|to send|going off|went off|gone off|kept))\b(?! (?:home|to (?:the )?(?:ward|recovery|icu|hdu)))"
)
_NO_THING = frozenset("patient he she child baby him her you mother blood saline group referral letter bloods swab "
                      "gases gas culture cultures fluid crossmatch sample".split())  # fmt: skip
_TAKEN = frozenset({"taken", "sampled", "kept"})
_BACK = 5  # tokens


def told(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """The specimen of a sentence, or that nothing was sent."""
    behind = _named_behind(reading, sentence, grammar)
    if behind or not sentence.says(_VERBS):
        return behind
    norms = [token.norm for token in sentence.tokens]
    for first, last in _in_norms.found(sentence, _WE_SENT):
        verb = next(at for at in range(first, last + 1) if norms[at] in ("sent", "send"))
        end = last
        while end > verb and norms[end] in _WAY:
            end -= 1
        thing = [at for at in range(verb + 1, end + 1) if norms[at] not in _DETERMINERS]
        done = base.scope_at(sentence, "status", verb, "performed") == "performed"
        if not done or {norms[at] for at in thing} & _NO_THING:
            continue
        words = (thing[0], thing[-1]) if thing else (verb + 1, verb + 1)
        return [make(reading, sentence, words[0], last, grammar=grammar, at=words[0],
                     text=cues.words(sentence, words[0], words[1]))]  # fmt: skip
    for first, last in _in_norms.found(sentence, _NOT_SENT):
        if set(norms[max(0, first - _BACK) : first]) & (_NO_THING | _TAKEN):
            continue
        named = _named_before(sentence, first)
        begin = first if named is None else named[0]
        return [base.make("specimen", reading, sentence, begin, last, certainty="negated", status="performed",
                          text="none" if named is None else cues.words(sentence, *named))]  # fmt: skip
    return []


def _named_behind(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "... fifteen mils specimen left lobe with isthmus stitch at the upper pole": the noun as a heading in speech
    without marks, before what was taken."""
    tokens = sentence.tokens
    for at, token in enumerate(tokens[:-1]):
        if token.norm not in ("specimen", "specimens") or not at or tokens[at - 1].norm in _NO_HEAD:
            continue
        first = at + 1 + (tokens[at + 1].norm in ("the", "a", "was", "is", ":"))
        thing = next((m for m in base.mentions(sentence, "sites", "specimens", "findings", "diagnoses")
                      if first <= m.first <= first + 1 and m.last > at), None)  # fmt: skip
        word = first + (first < len(tokens) and tokens[first].norm in _SIDED)
        plain = thing is None and _is_plain_noun(sentence, first, word)
        if not plain and (thing is None or (thing.first > first and tokens[first].norm not in _SIDED)):
            continue
        begin, last = (word, word) if thing is None else (thing.first, thing.last)
        while True:  # "uterus cervix both tubes and right ovary"
            more = next((m for m in base.mentions(sentence, "sites", "specimens", "findings")
                         if last < m.first <= last + 3 and not m.id.startswith(_CLOSED) and all(one.norm in _ALSO for
                         one in tokens[last + 1 :
                         m.first])),
                        None)  # fmt: skip
            if more is None:
                break
            last = more.last
        if base.scope_at(sentence, "status", begin, "performed") in ("performed", "planned") and (
            base.scope_at(sentence, "certainty", begin, "affirmed") != "negated"
        ):
            found = make(reading, sentence, first, last, grammar=grammar, at=first, status="performed",
                         text=cues.words(sentence, first, last))  # fmt: skip
            own = {token.norm for token in tokens[first : last + 1]} & _SIDED
            return [found if own else replace(found, laterality=None)]
    return []


_CLOSED = ("skin", "wound", "fascia", "subcut", "sheath")  # what is told next, of the closure


def _is_plain_noun(sentence: Sentence, first: int, word: int) -> bool:
    """ "Left lobe", "thymus with fat": a word that no table has, behind a side or before more that is told of it."""
    if word >= len(sentence.tokens):
        return False
    norm = sentence.tokens[word].norm
    after = sentence.tokens[word + 1].norm if word + 1 < len(sentence.tokens) else "."
    named = norm.isalpha() and len(norm) > 3 and not norm.endswith("ed") and norm not in STOPS | _NO_NOUN
    return named and (word > first or after in ("with", "marked", "and", "weighing"))


_SIDED = frozenset({"left", "right", "both"})
_NO_NOUN = frozenset("none sent bag bags count counts weight side looks size with from that went total".split())
_NO_HEAD = frozenset("no the a this that second retrieval in of each per as without any his her and nor".split())
_ALSO = frozenset({"and", "both", "left", "right", "the", "a", "with"})
# "Three loose bodies altogether, not sent".
_BETWEEN = frozenset("was were is are , altogether all both removed retrieved taken out and so washed".split())


def _named_before(sentence: Sentence, verb: int) -> tuple[int, int] | None:
    """ "The tonsils were not sent": what was kept back, right before the verb, where a table has its name."""
    last = verb - 1
    while last >= 0 and sentence.tokens[last].norm in _BETWEEN:
        last -= 1
    named = [m for m in base.mentions(sentence, "sites", "findings", "diagnoses", "specimens", "devices")
             if m.last == last]  # fmt: skip
    return (named[-1].first, named[-1].last) if named else None


_WAY = frozenset("off away anywhere for to testing analysis a look examination histo path be looked at".split())
_DETERMINERS = frozenset("the a an that this it them all some both his her".split())


def own_pot(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Level II node 1.2 cm, separate pot": what stands before it in its part of the sentence."""
    tokens = sentence.tokens
    for at in range(1, len(tokens)):
        if tokens[at].norm not in VESSELS or tokens[at - 1].norm not in ("separate", "own", "another"):
            continue
        last = at - 2
        while last >= 0 and (
            tokens[last].quantity is not None or tokens[last].norm in STOPS | {",", "in", "x", "by"}
        ):
            last -= 1
        first = last
        while first > 0 and not (tokens[first - 1].punctuation or tokens[first - 1].norm in STOPS):
            first -= 1
        said = {token.norm for token in tokens[max(0, first) : at + 1]}
        if last >= 0 and any(len(word) > 2 for word in said) and not said & (DENIALS | OTHER_WAY):
            return [make(reading, sentence, first, at, grammar=grammar, at=first,
                         text=cues.words(sentence, first, last))]  # fmt: skip
    return []
