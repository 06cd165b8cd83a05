"""Where clauses begin in a sentence, also in speech without any marks.

"the right ovary held a cyst the left ovary was normal no ascites" has three: a finite verb has a subject before it, and
the subject opens its clause; a bare "no" opens one; so does a subject pronoun, "there" or "then". What belongs together
(a side and its thing, a thing and its site, a cue and what it governs) is looked for within a clause.
"""

from __future__ import annotations

from bisect import bisect_right

from pipeline.records import Sentence, Token


def word_set(text: str) -> frozenset[str]:
    """The words of a text, for the closed classes of words that rules are made of."""
    return frozenset(text.split())


# Function words of English (closed classes) and the verbs with which what was seen is told.
FINITE = word_set(
    "was were is are had has have did does showed shows revealed demonstrated confirmed remained became appeared "
    "looked felt measured weighed came went lay stayed turned tolerated contained held will would should can could may "
    "must"
)
_DETERMINERS = word_set(
    "the a an this that these those his her their its our my both each all either neither no some any"
)
_PRONOUNS = word_set("it he she they we i you there this nothing everything")
_PREPOSITIONS = word_set(
    "of in on at to from with for by into onto through over under around about along across behind between below "
    "beneath above near within without after before during since until via per than against toward towards"
)
_CONJUNCTIONS = word_set("and but or nor so because if when while once unless although though as until whereas")
_RELATIVE = word_set("which who whom whose that where")
_ADVERBS = word_set(
    "then now next afterwards subsequently finally also still again only just not never himself herself"
)
_LINKS = _PREPOSITIONS | _CONJUNCTIONS
_MARKS = frozenset({".", ";", "?", "!", "—", "–"})
HEADS = frozenset({"findings", "diagnoses", "procedures", "acts", "complications"})
_BARE = word_set("no")
_LONG = 12  # words of a subject

def starts(sentence: Sentence) -> tuple[int, ...]:
    """Tokens at which a clause begins, in order; the first is 0. Kept per sentence, since many ask for them."""
    found: tuple[int, ...] | None = sentence.memo.get("clauses")
    if found is None:
        found = sentence.memo["clauses"] = _starts(sentence)
    return found


def bounds(sentence: Sentence, token: int) -> tuple[int, int]:
    """First token of the clause that holds a token, and the first one behind it."""
    opened = starts(sentence)
    at = bisect_right(opened, token)
    return opened[max(0, at - 1)], opened[at] if at < len(opened) else len(sentence.tokens)


def parted(sentence: Sentence, one: int, other: int) -> bool:
    """Whether a clause begins between two tokens (after the first, at the latest at the second)."""
    low, high = min(one, other), max(one, other)
    opened = starts(sentence)
    return bisect_right(opened, high) > bisect_right(opened, low)


def _starts(sentence: Sentence) -> tuple[int, ...]:
    norms = [token.norm for token in sentence.tokens]
    found = {0}
    for index, norm in enumerate(norms):
        if norm in _MARKS and index + 1 < len(norms) and not (norm == "." and index and len(norms[index - 1]) <= 2):
            found.add(index + 1)
        elif norm == "then" and index:
            found.add(_with_conjunction(norms, index))
        elif norm in _BARE and index and _stands_free(norms, index):
            found.add(index)
        elif norm in FINITE:
            first = _subject(sentence, norms, index)
            if first is not None and first > 0:
                found.add(first)
    found.update(_bare_subjects(sentence, norms))
    for index, norm in enumerate(norms):
        if norm in ("we", "i") and _tells_afresh(sentence, norms, index, max(at for at in found if at <= index)):
            found.add(_with_conjunction(norms, index))
    return tuple(sorted(found))


def _tells_afresh(sentence: Sentence, norms: list[str], index: int, first: int) -> bool:
    """ "The plan was a repair we performed a resection": "we" with what was done, behind a clause with its own
    verb. "The flap we removed was loose" is one clause."""
    after = index + 1 + (norms[index + 1 : index + 2] in (["then"], ["also"], ["just"], ["therefore"]))
    if not 0 < index < len(norms) - 1 or norms[after : after + 1] == [] or norms[after] not in DID:
        return False
    before = norms[index - 1]
    if before in _PREPOSITIONS or before in _RELATIVE or before in _DETERMINERS:
        return False
    return first < index and (norms[first] in _BARE or not FINITE.isdisjoint(norms[first:index]))


# What a surgeon says to have done, in the active voice.
DID = word_set(
    "performed placed gave took made used put did injected found saw removed excised repaired debrided drilled "
    "microfractured shaved resected cut closed inserted opened drew harvested washed irrigated passed moved went left "
    "ended converted changed aspirated divided clipped tied ligated sutured sent kept turned started began tried "
    "attempted elected decided proceeded switched swapped stopped abandoned implanted fixed released reduced trimmed "
    "stapled settled"
)


def _bare_subjects(sentence: Sentence, norms: list[str]) -> set[int]:
    """Where speech without verbs tells how a part was found: "liver smooth spleen normal", "the grafts patent"."""
    found = set()
    ends = {m.last: m.first for m in sentence.mentions if m.table == "sites"}
    for index in range(2, len(norms)):
        if norms[index] not in _STATES:
            continue
        at = ends.get(index - 1)
        if at is None and "the" in (norms[index - 2], norms[max(0, index - 3)]):
            at = index - 1 if norms[index - 2] == "the" else index - 2
        if at is None and _is_bare_noun(sentence, norms, index - 1):
            at = index - 1
        if at is None or norms[index - 1] in TIED or sentence.tokens[index - 1].punctuation:
            continue
        while at and (norms[at - 1] in _OF_A_PART or at - 1 in ends):
            at = ends.get(at - 1, at - 1)
        if at and norms[at - 1] in ("the", "both", "all"):
            at -= 1
        before = norms[at - 1] if at else ""
        if at and before not in _PREPOSITIONS and before not in _DETERMINERS and before not in ("or", "nor", ","):
            found.add(_with_conjunction(norms, at))
    return found


def _is_bare_noun(sentence: Sentence, norms: list[str], index: int) -> bool:
    """Whether a word that no grammar names may be the subject of the state behind it: "zonules intact"."""
    norm = norms[index]
    named = any(m.first <= index <= m.last for m in sentence.mentions)
    return not (named or norm in TIED or norm in _DETERMINERS or norm in _OF_A_PART or norm in _STATES) and (
        norm.isalpha() and len(norm) > 3 and not norm.endswith(("ly", "ed", "ing", "ous", "ic", "al", "ive"))
    )


_OF_A_PART = word_set("left right medial lateral anterior posterior superior inferior upper lower")


TIED = _LINKS | FINITE | _ADVERBS


def _stands_free(norms: list[str], index: int) -> bool:
    """Whether a "no" belongs to no verb or preposition before it ("there was no", "with no")."""
    before = norms[index - 1]
    return before not in TIED and before not in ("be", "been", "saw", "there")


def _subject(sentence: Sentence, norms: list[str], verb: int) -> int | None:
    """The first token of the clause whose finite verb stands at a token, None where it opens none of its own."""
    at = verb - 1
    while at >= 0 and norms[at] in _ADVERBS:
        at -= 1
    counted = at
    while at >= 0 and sentence.tokens[at].quantity is not None:
        at -= 1  # "dexamethasone eight milligrams was given"
    if counted > at and not any(m.last == at and m.table == "drugs" for m in sentence.mentions):
        at = counted
    if at < 0 or norms[at] in _RELATIVE or norms[at] in FINITE or norms[at] in _MARKS or norms[at] in _LINKS:
        return None
    if norms[at] in _PRONOUNS:
        return _with_conjunction(norms, at)
    named = [mention.first for mention in sentence.mentions if mention.last == at]
    if named and any(m.last == min(named) - 1 and m.table in HEADS for m in sentence.mentions):
        return min(named)  # "no tumour contrast showed": a finding ends its phrase
    first = at
    while at >= 0 and verb - at <= _LONG:
        norm = norms[at]
        counted = bool(named) and at == min(named) - 1 and sentence.tokens[at].quantity is not None
        if counted and at and norms[at - 1] not in _PREPOSITIONS | _DETERMINERS and (
            sentence.tokens[at - 1].quantity is None
        ):
            return _with_conjunction(norms, at)  # "... at the posterior horn seven stitches were planned"
        if norm in _DETERMINERS:
            if at and norms[at - 1] == "of":
                at -= 2  # "the tendon of the ring finger showed"
                named = [mention.first for mention in sentence.mentions if mention.last == at] or named
                continue
            if at and norms[at - 1] in _PREPOSITIONS:
                return _before_phrase(norms, at - 1)
            if norm in _BARE and norms[verb] in _SHOWED and named and min(named) > at + 1:
                return min(named)  # "no embolus the angiogram showed a good run off", said without the article
            return _with_conjunction(norms, at)
        if norm in FINITE or norm in _MARKS or norm == "," or norm in _RELATIVE or norm in _ADVERBS:
            break
        if norm in _LINKS and norm != "of":
            return _with_conjunction(norms, first) if norm in _CONJUNCTIONS else _before_phrase(norms, at)
        first = at
        at -= 1
    if not named or (at < 0 and not any(m.last < min(named) and m.table in HEADS for m in sentence.mentions)):
        return None
    first = min(named)
    while first and (
        sentence.tokens[first - 1].quantity is not None or norms[first - 1] in _LED
    ):  # "two screws were planned", "cyst removed right ovary was normal"
        first -= 1
    return first


_SHOWED = word_set("showed shows revealed demonstrated confirmed")
_LED = word_set("left right")  # a side before a subject is part of it


def _before_phrase(norms: list[str], preposition: int) -> int | None:
    """The subject that a phrase belongs to ("the drum on the left was dull"): back to its determiner, if it is near."""
    for at in range(preposition - 1, max(-1, preposition - 5), -1):
        if norms[at] in _DETERMINERS:
            return _with_conjunction(norms, at) if not (at and norms[at - 1] in _PREPOSITIONS) else None
        if norms[at] in FINITE or norms[at] in _LINKS or norms[at] in _MARKS:
            return None
    return None


def _with_conjunction(norms: list[str], first: int) -> int:
    """A conjunction or "then" right before a subject opens the clause with it."""
    while first and (norms[first - 1] in _CONJUNCTIONS or norms[first - 1] == "then"):
        first -= 1
    return first


_TALK = word_set("discussed explained understood accepted mentioned covered reviewed outlined given told detailed")


def is_main(sentence: Sentence, start: int) -> bool:
    """Whether the clause at a token tells something of its own, and is no item of the list before it nor what was said
    of the list ("infection and nerve injury were explained")."""
    tokens = sentence.tokens
    if start and tokens[start - 1].norm in (",", "and", "or", "nor", "/"):
        return False
    return not any(token.norm in _TALK for token in tokens[start : bounds(sentence, start)[1]])


_BORDERS = _MARKS | {":", "...", "…"}
VERBS = FINITE | {"be", "been", "made", "took", "gave", "put", "seemed"}


def opens_one(sentence: Sentence, start: int) -> bool:
    """Whether the stretch from `start` to the next comma or "and" holds a finite verb: a clause of its own."""
    tokens = sentence.tokens
    for index in range(start, len(tokens)):
        norm = tokens[index].norm
        if norm in _BORDERS or norm in (",", "or", "nor"):
            return False
        if norm == "and" and index > start:
            return False
        if norm in VERBS:
            return index > start
    return False


def told_more(sentence: Sentence, start: int) -> bool:
    """Whether what follows a comma is measured, acted on or has a state of its own, and so is there: "no full tear, a
    partial tear of 30 %", "no defect, loose body removed", "no loose bodies, cruciate intact". Items of a list stand
    bare."""
    for index in range(start, len(sentence.tokens)):
        token = sentence.tokens[index]
        if token.norm in _BORDERS or token.norm in (",", "or", "nor"):
            return False
        if token.norm in _GRADED and index > start and _ends_item(sentence, index + 1):
            return True
        if token.quantity is not None or token.norm in ACTED:
            return True
    return False


def is_state(sentence: Sentence, index: int) -> bool:
    """Whether a token is an adjective that is said behind its noun as what it was found to be."""
    return sentence.tokens[index].norm in _STATES


def is_told(sentence: Sentence, index: int) -> bool:
    """Whether a token tells something of the noun right before it: a finite verb, a state, a participle."""
    if index >= len(sentence.tokens):
        return False
    norm = sentence.tokens[index].norm
    return norm in FINITE or norm in _STATES or is_participle(sentence, index) or any(
        mention.table == "findings" and mention.first == index for mention in sentence.mentions
    )


# Adjectives that are said behind their noun only as what it was found to be.
_STATES = word_set(
    "intact normal torn stable unstable healthy pristine clean unremarkable ruptured frayed preserved inflamed patent "
    "competent viable clear subluxed dislocated satisfactory good fine smooth worn scarred thickened degenerate "
    "swollen deviated enlarged calcified"
)


_GRADED = _STATES | word_set(
    "mild moderate severe slight marked extensive florid present large small minimal gross diffuse"
)


def _ends_item(sentence: Sentence, index: int) -> bool:
    tokens = sentence.tokens
    if index < len(tokens) and tokens[index].norm.endswith("ly"):
        index += 1  # "torn medially"
    return index >= len(tokens) or tokens[index].norm in _BORDERS or tokens[index].norm in (",", "and", "but", "with")


def is_year(token: Token) -> bool:
    """Whether a number is a year of this or the last century."""
    quantity = token.quantity
    if quantity is None or quantity.unit is not None:
        return False
    if quantity.form in ("date", "clock", "year"):  # "in twenty eleven" is heard like a time, but a time has "at"
        return True
    return quantity.form == "number" and quantity.value is not None and 1950 <= quantity.value <= 2100


def heading(sentence: Sentence, colon: int) -> int:
    """The first token of the heading that a colon closes: all of "Drains and packs: none", "Drain (s): none"."""
    first = colon
    while first and colon - first < _LONG:
        before = sentence.tokens[first - 1]
        if before.norm in _BORDERS or before.norm in FINITE or before.quantity is not None:
            break
        first -= 1
    return first


# Participles of what a surgeon does or sees that do not end in "ed".
_PARTICIPLES = word_set(
    "seen felt found brought taken done made put cut drawn held left lain laid shown kept driven torn split run gotten "
    "swept freed sewn oversewn cleaned begun built bent let"
)


def is_participle(sentence: Sentence, index: int) -> bool:
    """Whether a token, after words of manner, is the participle of a passive ("easily retracted")."""
    tokens = sentence.tokens
    while index < len(tokens) and (tokens[index].norm.endswith("ly") or tokens[index].norm in _ADVERBS):
        index += 1
    return index < len(tokens) and (
        tokens[index].norm in _PARTICIPLES or (tokens[index].norm.endswith("ed") and len(tokens[index].norm) > 4)
    )


def acted_on(sentence: Sentence, index: int) -> bool:
    """Whether a finite verb at a token tells what was done now to its subject: not "was performed in 2015"."""
    tokens = sentence.tokens
    return tokens[index].norm in ("was", "were") and is_participle(sentence, index + 1) and not any(
        token.norm in _CARRIED_OUT for token in tokens[index + 1 : index + 4]
    )


def is_past_purpose(sentence: Sentence, index: int) -> bool:
    """Whether a purpose ("to prevent injury ...") is over at a token: a number, what it was done with, a clause."""
    token = sentence.tokens[index]
    return token.quantity is not None or token.norm == "with" or (
        token.norm in ("and", ",") and opens_one(sentence, index + 1)
    )


# What is done to a thing only where there is one.
ACTED = word_set(
    "removed excised resected debrided trimmed shaved repaired drained evacuated cauterised cauterized coagulated "
    "biopsied released divided ligated clipped treated smoothed sent submitted obtained collected"
)


def told_done(sentence: Sentence, index: int) -> bool:
    """ "Admitted for chest pain and underwent angiography", "admitted for a hip replacement which was done today": what
    was planned is told as done."""
    tokens = sentence.tokens
    if tokens[index].norm == "underwent":
        return True
    words = [token.norm for token in tokens[index : index + 3]]
    return words[:1] in (["which"], ["that"]) and words[1:2] in (["was"], ["were"]) and words[-1] in _FINISHED


def told_next(sentence: Sentence, index: int) -> bool:
    """ "Planned were a repair and a release he got a repair": what was done begins behind the plan."""
    words = [token.norm for token in sentence.tokens[max(0, index - 1) : index + 2]]
    return len(words) == 3 and words[1] in _SUBJECT and words[2] in _CARRIED_OUT and words[0] not in _JOINS_CLAUSE


def names_operation(sentence: Sentence, index: int) -> bool:
    """ "... of two knee operations procedure left knee arthroscopy": a heading in speech without marks."""
    tokens = sentence.tokens
    return tokens[index].norm in ("procedure", "operation") and tokens[index - 1].norm not in _BEFORE_A_NOUN and any(
        m.table == "procedures" and index < m.first <= index + 3 for m in sentence.mentions
    )


_BEFORE_A_NOUN = frozenset("a an the this that his her of for previous prior same any first second last".split())
_FINISHED = frozenset({"done", "performed", "carried", "completed"})
_SUBJECT = frozenset({"he", "she", "we", "i", "patient"})
_CARRIED_OUT = frozenset({"got", "did", "performed", "received", "underwent"})
_JOINS_CLAUSE = frozenset("that which who if when where because since as after before once unless until what".split())


# How the names of operations end.
OPERATED = ("ectomy", "otomy", "ostomy", "plasty", "desis", "rrhaphy", "pexy")
