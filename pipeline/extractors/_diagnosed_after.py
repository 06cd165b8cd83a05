"""The diagnosis after the operation, said apart from its name or behind words that no row has.

"No change in diagnosis", "glass cut of the index finger, zone two, same after", "At surgery the same".
"""

from __future__ import annotations

from pipeline import laterality, story
from pipeline.extractors import _when_diagnosed, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, replace

NAMED = frozenset({"diagnosis", "diagnoses", "dx"})
# What is told once the operation is under way, or of it: no diagnosis stands in its words.
_WORK = frozenset({"anaesthesia", "drugs", "team", "positions", "preparations", "tourniquet", "approaches", "aftercare",
                   "prophylaxis", "drains", "closures", "counts"})  # fmt: skip
_BORDERS = frozenset({".", ";", ":", "diagnosis", "dx", "diagnoses"})
_BEFORE = frozenset({"after", "following", "failed", "since", "post", "old", "previous"})
_PERSON = frozenset({"kg", "a", "mo"})  # units of a weight and an age
_LONGEST = 20  # words of a diagnosis in its own words


def same(kind: str, reading: Reading, sentence: Sentence, at: int) -> Fact:
    """A diagnosis that is said to be the one told before."""
    return base.make(kind, reading, sentence, at, at, name="same", text="same", status="performed",
                     certainty="affirmed")  # fmt: skip


def told(reading: Reading, grammar: Grammar, facts: list[Fact]) -> list[Fact]:
    """Facts of the diagnosis after the operation, and of the one before where `facts` holds none. Pure."""
    return (
        (_apart(reading, {fact.evidence.first for fact in facts}) if facts else [])
        or _at_the_head(reading, grammar, facts) or _in_short(reading) or _turned_out(reading, grammar)
        or _as_thought(reading)
    )


def _as_thought(reading: Reading) -> list[Fact]:
    """ "Same as the scan said", "it was what we thought going in"."""
    for sentence in reading.sentences:
        if sentence.section not in _UNSAID and sentence.says(_LIKENED):
            norms = [token.norm for token in sentence.tokens]
            found = _when_diagnosed.as_thought(norms)
            if found is not None:
                return [replace(same("postop_diagnosis", reading, sentence, found[0]),
                                evidence=base.token_evidence(reading, sentence, *found))]  # fmt: skip
    return []


_UNSAID = frozenset({"history", "imaging", "consent", "aftercare", "follow-up"})
_LIKENED = frozenset({"what", "same", "different", "identical", "unchanged", "told", "expected", "showed", "saw"})


def _turned_out(reading: Reading, grammar: Grammar) -> list[Fact]:
    """ "Confirmed perforated appendicitis.", "it turned out to be a dermoid": the illness said behind."""
    for sentence in reading.sentences:
        if sentence.section in _UNSAID or not sentence.says(_PROVED):
            continue
        norms = [token.norm for token in sentence.tokens]
        named = list(base.mentions(sentence, "diagnoses", "findings"))
        for mention in named:
            lead = norms[max(0, mention.first - _LED) : mention.first]
            opened = lead[:1] == ["confirmed"] and mention.first <= _LED and len(lead) == mention.first
            proved = any(tuple(lead[at : at + 2]) in _TO_BE for at in range(len(lead) - 1))
            denied = base.scope_at(sentence, "certainty", mention.first, "affirmed") == "negated"
            if (opened or proved) and not denied and mention.id not in _STATES:
                mention = next((one for one in named if one.first == mention.last + 1), mention)
                return [base.named("postop_diagnosis", reading, sentence, mention, grammar, status="performed")]
    return []


_PROVED = frozenset({"confirmed", "turned", "proved", "proving", "ended"})
_TO_BE = frozenset({("to", "be"), ("up", "being")})
_LED = 5  # tokens


def _in_short(reading: Reading) -> list[Fact]:
    """ "Same afterwards." at the head, "Diagnosis the same, no other complications." anywhere."""
    for sentence in reading.sentences:
        norms = [token.norm for token in sentence.tokens]
        end = next((at for at, token in enumerate(sentence.tokens) if token.punctuation), len(norms))
        said = set(norms[:end])
        named = bool(said & NAMED)
        if "same" in said and said <= _SHORT_WORDS and (named or (sentence.index < _OPENING and said & _AFTER)):
            return [same("postop_diagnosis", reading, sentence, norms.index("same"))]
    return []


_AFTER = frozenset({"after", "afterwards", "afterward", "post", "postop"})
_SHORT_WORDS = NAMED | _AFTER | frozenset("same the is was it stays stayed remains and now still".split())


def _apart(reading: Reading, told_at: set[int]) -> list[Fact]:
    """ "No change in diagnosis", "post op the same", said apart from the diagnosis. `told_at`: where one begins."""
    before = False
    for sentence in reading.sentences:
        norms = [token.norm for token in sentence.tokens]
        if _when_diagnosed.same_after(norms) or _when_diagnosed.both_same(norms) or (
            before and _when_diagnosed.alone(norms)
        ):
            return [same("postop_diagnosis", reading, sentence, 0)]
        before = any(token.first in told_at for token in sentence.tokens)
        if not sentence.says(_when_diagnosed.OPENERS) or not sentence.says(NAMED):
            continue
        at = next((at for at in range(len(norms)) if _when_diagnosed.said(norms, at) is False), None)
        if at is not None:
            return [same("postop_diagnosis", reading, sentence, at)]
    return []


def _at_the_head(reading: Reading, grammar: Grammar, facts: list[Fact]) -> list[Fact]:
    """What stands before "same after" or "before and after", in its own words, ahead of the anaesthetic."""
    for sentence in reading.sentences:
        work = min((m.first for m in sentence.mentions if m.table in _WORK and m.table != "team"),
                   default=len(sentence.tokens))  # fmt: skip
        norms = [token.norm for token in sentence.tokens]
        for at in range(1, work):
            if _when_diagnosed.said(norms, at) is None and not _when_diagnosed.found_so(norms, at):
                continue
            first = _begins(sentence, at)
            last = at - 1
            while last >= first and (sentence.tokens[last].punctuation or norms[last] in _LINKS):
                last -= 1
            if first > last or last - first >= _LONGEST or not _is_name(sentence, first, last):
                alike = _ALIKE & set(norms[max(0, at - 1) : at + _TO_SAME])
                opened = sentence.tokens[0].first
                if alike and any(opened <= fact.evidence.first < sentence.tokens[at].first for fact in facts):
                    return [same("postop_diagnosis", reading, sentence, at)]
                if not facts and alike and (earlier := _earlier(reading, grammar, sentence)):
                    return [*earlier, same("postop_diagnosis", reading, sentence, at)]
                break
            words = {token.first for token in sentence.tokens[first : last + 1]}
            named = any(first <= m.first <= last for m in base.mentions(sentence, "diagnoses", "findings"))
            if facts and not named and words.isdisjoint(fact.evidence.first for fact in facts):
                break
            later = same("postop_diagnosis", reading, sentence, at)
            return [later] if facts else [
                base.make("diagnosis", reading, sentence, first, last, text=story.words(sentence, first, last),
                          status="performed", certainty="affirmed",
                          laterality=laterality.only_side(sentence, first, last, grammar)),
                later,
            ]  # fmt: skip
        if work < len(sentence.tokens):
            return []
    return []


_ALIKE = frozenset({"same", "unchanged"})
_OPENING, _TO_SAME = 4, 6  # sentences; tokens
_STATES = frozenset({"normal", "intact", "stable", "healthy", "preserved", "torn", "fragment"})


def _earlier(reading: Reading, grammar: Grammar, upto: Sentence) -> list[Fact]:
    """ "Left knee ACL rupture from football. ... Diagnosis after is the same": the illness that the narration opens
    with, before the work begins."""
    for sentence in reading.sentences[: min(upto.index + 1, _OPENING)]:
        if sentence.section not in ("", "indication", "diagnosis", "preop-diagnosis", "description"):
            continue
        for mention in base.mentions(sentence, "diagnoses", "findings"):
            denied = base.scope_at(sentence, "certainty", mention.first, "affirmed") == "negated"
            if not denied and mention.id not in _STATES:
                return [base.named("diagnosis", reading, sentence, mention, grammar)]
        reason = _reason(sentence)
        if reason is not None:
            return [base.make("diagnosis", reading, sentence, *reason, text=story.words(sentence, *reason),
                              status="performed", certainty="affirmed")]  # fmt: skip
        if any(m.table in _WORK - {"team", "aftercare"} for m in sentence.mentions):
            break
    return []


def _reason(sentence: Sentence) -> tuple[int, int] | None:
    """The words that tell what it was for, in words that no row has: "resection of the prostate for retention in
    Mister ...", "Ind: prior CS x2"."""
    tokens = sentence.tokens
    if sentence.section == "indication":
        first = next((at + 1 for at, token in enumerate(tokens[:4]) if token.norm == ":"), None)
    else:
        named = next((m.last for m in sentence.mentions if m.table == "procedures"), len(tokens))
        first = next((at + 1 for at in range(named + 1, min(len(tokens), named + 3)) if tokens[at].norm == "for"), None)
    if first is None:
        return None
    last = first
    while last < len(tokens) and last - first < _SHORT and not tokens[last].punctuation and (
        tokens[last].norm not in _OF_PERSON and tokens[last].norm not in NO_NAME
    ):
        last += 1
    return (first, last - 1) if last > first else None


_SHORT = 6  # words
_OF_PERSON = frozenset({"in", "on", "at", "with", "by", "this", "a", "the", "he", "she", "we", "i", "under"})


_LINKS = frozenset({"the", "and", "it", "is", "was", "that", "this", "(", "both"})


def _begins(sentence: Sentence, at: int) -> int:
    """Where the words of a diagnosis begin that end before a token: behind the age, the weight, the name of the
    operation ("... for cancer of the caecum"), or a mark."""
    tokens = sentence.tokens
    for index in range(at - 1, -1, -1):
        quantity = tokens[index].quantity
        ended = quantity is not None and quantity.unit in _PERSON and tokens[index + 1].norm not in ("ago", "after")
        if ended or tokens[index].norm in _BORDERS:
            return index + 1 + (index + 1 < at and tokens[index + 1].norm in ("old", ",", "is", "was"))
        if tokens[index].norm == "for" and any(m.table in ("procedures", "acts") and 0 < index - m.last <= 2
                                               for m in sentence.mentions):  # fmt: skip
            return index + 1
    return 0


def _is_name(sentence: Sentence, first: int, last: int) -> bool:
    """Whether the words are those of a disease: no work, no person, no operation but one that was before."""
    norms = [token.norm for token in sentence.tokens]
    for mention in sentence.mentions:
        if not (first <= mention.first and mention.last <= last):
            continue
        before = set(norms[max(first, mention.first - 3) : mention.first])
        if mention.table in _WORK or (mention.table in ("procedures", "acts") and not before & _BEFORE):
            return False
    told = norms[first : last + 1]
    return any(word.isalpha() and len(word) > 3 and word not in _WHEN for word in told) and not set(told) & NO_NAME


_WHEN = frozenset({"post", "postop", "preop", "operative", "postoperative", "preoperative", "final", "after", "before"})


NO_NAME = frozenset(
    "same mister missus miss mr mrs ms doctor dr surgeon patient minutes photographs films pictures x-ray count counts "
    "checked tested flexion extension range pulse pulses pressure neurovascular status sensation rom movement "
    "stability photos photo film picture scan scans vision pupils perfusion function strength".split()
)
