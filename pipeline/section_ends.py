"""Where a section without a closing cue ends: what tells that the work has begun, or that a list is over."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.grammar import Grammar
from pipeline.records import Sentence, Token
from pipeline.rows import Concept

COPULA = frozenset({"is", "was", "are", "were"})

# Headings over a list: what follows belongs to them while it is a bare name ("2. Umbilical hernia").
LISTS = frozenset({"preop-diagnosis", "postop-diagnosis", "both-diagnoses", "diagnosis", "procedure"})
# The story before the operation: it ends where the work begins, also without a heading.
BEFORE = frozenset({"indication", "history", "imaging"})
WORK = frozenset({"anaesthesia", "positions", "preparations", "approaches", "prophylaxis", "tourniquet"})
_PAST = frozenset({"was", "were", "went", "had", "did", "tolerated", "left", "transferred", "correct", "minimal"})
_TOLD = frozenset({"instructed", "advised", "will", "should", "given", "told", "prescribed"})
VERBS = _PAST | COPULA | {"has", "have", "will", "should", "came", "comes", "presented", "presents", "underwent"}


def is_bare_name(part: Sentence) -> bool:
    """ "Procedure note: bilateral knee injection, ultrasound guided": a name and no telling of what was done."""
    return len(part.tokens) <= _NAME and not any(token.norm in VERBS for token in part.tokens)


def is_telling(part: Sentence, placed: Sequence[Sentence], grammar: Grammar) -> bool:
    """ "Operation: right hip replacement ... Procedure: Posterior approach. Neck cut.": where the operation has its
    name already, and no name follows, a second heading of that sort stands over what was done."""
    if not any(one.section == "procedure" or one.section == "" and one.index < _TITLES for one in placed
               if any(m.table == "procedures" for m in one.mentions)):  # fmt: skip
        return False
    acts = grammar.table("acts", Concept)
    return len(part.tokens) > 1 + part.tokens[-1].punctuation and not any(
        m.table == "procedures" and m.first <= _TO_NAME or m.table == "acts" and m.first <= _EARLY
        and acts[m.id].group not in _NO_OPERATION and not part.tokens[m.last].norm.endswith("ed")
        for m in part.mentions
    )


_TITLES = 2  # sentences
_NO_OPERATION = frozenset({"assessment", "opening", "closing"})
_NAME = 16  # tokens
_EARLY, _TO_NAME = 6, 8  # tokens: from a heading to its "same", and on to the name of an operation


def same_ends(part: Sentence, section: str) -> int | None:
    """ "Post op same carpal tunnel release right": how many tokens of the part are of the diagnosis, where the name of
    the operation follows without a mark and without another diagnosis between."""
    if section != "postop-diagnosis" or not part.says(_SAME):
        return None
    at = next((at for at, token in enumerate(part.tokens[:_EARLY]) if token.norm in _SAME), None)
    if at is None:
        return None
    names = (m for m in part.mentions if m.first > at and m.table in ("procedures", "diagnoses", "findings"))
    opened = next(names, None)
    if opened is None or opened.table != "procedures" or opened.first - at > _TO_NAME:
        return None
    between = part.tokens[at + 1 : opened.first]
    if any(token.punctuation or token.norm in _GOES_ON for token in between):
        return None
    return _past(part, at)


_GOES_ON = frozenset({"plus", "and", "with", "but", "after", "for", "except"})


def _past(part: Sentence, at: int) -> int:
    """Behind the words of "same diagnosis post op", which may stand in any order."""
    while at < len(part.tokens) and part.tokens[at].norm in _OF_SAME:
        at += 1
    return at


_OF_SAME = frozenset("same unchanged diagnosis dx post op postop operatively postoperatively after afterwards".split())


def unknown_heading(part: Sentence) -> bool:
    """A heading in capitals that no row has ("SETTINGS: ..."): what stood before it is over."""
    for index, token in enumerate(part.tokens[:5]):
        if token.norm == ":":
            return index > 0 and all(len(other.text) > 1 for other in part.tokens[:1])
        if token.punctuation and token.norm != "/" or not token.text.isupper():
            return False
    return False


def is_over(lasting: str, part: Sentence, placed: list[Sentence]) -> bool:
    """Whether a section without a closing cue ends before this part."""
    if lasting in LISTS:
        if lasting != "procedure" and _is_operation(part) and not _alone_so_far(placed[-1]):
            return True  # "Post-op: same. Right mastectomy.": the operation behind its diagnosis
        if lasting != "procedure" and _is_care(part):
            return True  # "Post-op dx: as pre-op. NWB 6/52, clinic 2/52."
        return not _alone_so_far(placed[-1]) and not _lists_on(part)
    if lasting == "aftercare" and _sets_up(part):  # "Plan: marrow concentrate. GA, supine.": of this operation
        return not any(m.table in _SETTING for one in placed for m in one.mentions)
    return lasting in BEFORE and (_begins_work(part) or _is_title(part))


_CARE = frozenset({"aftercare", "dressings", "dispositions", "anaesthesia", "positions", "tourniquet", "counts"})


def _is_care(part: Sentence) -> bool:
    """Whether a part orders or sets up something and names no illness."""
    tables = {mention.table for mention in part.mentions}
    return bool(tables & _CARE) and not tables & {"diagnoses", "findings", "complications"}


_SETTING = frozenset({"anaesthesia", "positions", "tourniquet"})


def _sets_up(part: Sentence) -> bool:
    return any(m.table in _SETTING for m in part.mentions) and VERBS.isdisjoint(token.norm for token in part.tokens)


def tells_work(part: Sentence) -> bool:
    """Whether a line after the story before the operation tells what was done: "Left knee arthroscopy was performed."
    """
    norms = {token.norm for token in part.tokens}
    done = any(m.table in ("procedures", "acts", "drugs", "injectates", "devices") for m in part.mentions)
    dated = any(
        token.quantity is not None
        and (token.quantity.form in ("date", "year") or 1950 <= (token.quantity.value or 0) <= 2100)
        for token in part.tokens
    )
    return done and bool(norms & {"was", "were"}) and not norms & _LONG_AGO and not dated


_LONG_AGO = frozenset(
    "ago previously previous prior had has history since last earlier outside elsewhere childhood before failed no "
    "relief treated".split()
)


def _is_title(part: Sentence) -> bool:
    """A bare name of an operation as a sentence of its own ("Right ankle arthroscopy.")."""
    words = [token for token in part.tokens if not token.punctuation]
    words = [token for at, token in enumerate(words)  # "levels I-II"
             if token.norm != "i" or [one.norm for one in words[at + 1 : at + 2]] not in (["ii"], ["iii"])]
    named = any(m.table == "procedures" and m.first <= 3 for m in part.mentions)
    return named and len(words) <= 8 and not any(token.norm in _NO_TITLE for token in words)


def _is_operation(part: Sentence) -> bool:
    """A bare name of an operation, and no disease that one left behind ("failed right hip replacement")."""
    lead = [token.norm for token in part.tokens[: min((m.first for m in part.mentions), default=0)]]
    ill = any(m.table in ("diagnoses", "findings") for m in part.mentions)
    return _is_title(part) and not ill and not _AFTER_IT & {token.norm for token in part.tokens} and not any(
        _is_item(token) or token.quantity is not None for token in part.tokens[:1]
    ) and (not lead or all(norm.isalpha() for norm in lead))


_AFTER_IT = frozenset("failed loose infected painful status post s/p old complication dehiscence need".split())
_TELLS = frozenset(
    "he she they we i patient needs need requires wants wishes for after previous prior history in since no failed ago "
    "years".split()
)
_DONE = VERBS - {"left"}
_NO_TITLE = _DONE | _TELLS


def _alone_so_far(sentence: Sentence) -> bool:
    """Whether a sentence is no more than a heading (its marks apart)."""
    if _is_item(sentence.tokens[0]) or sentence.says(_SAME):
        return False  # "Post-op: same.", "Post-op dx: as pre-op." are told
    return sum(not token.punctuation for token in sentence.tokens) <= 3 and not sentence.mentions


_SAME = frozenset({"same", "unchanged", "idem", "ditto", "identical", "as"})


def _lists_on(sentence: Sentence) -> bool:
    words = [token for token in sentence.tokens if not token.punctuation]
    if any(token.norm in VERBS for token in words):
        return False
    named = any(m.table in ("diagnoses", "procedures", "findings", "sites", "acts") for m in sentence.mentions)
    return bool(words) and (words[0].quantity is not None or _is_item(words[0]) or (named and len(words) <= 25))


def _is_item(token: Token) -> bool:
    """The number of a list item: "2." or "3)"."""
    return len(token.norm) > 1 and token.norm[:-1].isdigit() and token.norm[-1] in ".)"


def next_item(part: Sentence) -> bool:
    """A second or later item of a list ("2. Umbilical hernia."): a name, no clause."""
    norms = [token.norm for token in part.tokens]
    return len(norms) > 1 and _is_item(part.tokens[0]) and norms[0][:-1] != "1" and _DONE.isdisjoint(norms)


def _begins_work(sentence: Sentence) -> bool:
    tokens = sentence.tokens
    treated = sentence.says(_TREATED_BEFORE)
    return any(
        mention.table in WORK and not (treated and mention.table == "prophylaxis")
        and not (mention.table == "approaches" and "underwent" in {token.norm for token in tokens[: mention.first]})
        for mention in sentence.mentions
    ) or any(
        token.norm in _AT_WORK and not (token.norm == "room" and at and tokens[at - 1].norm in _OTHER_ROOMS)
        for at, token in enumerate(tokens)
    )


_AT_WORK = frozenset(
    {"brought", "room", "theatre", "prepped", "anesthetized", "anaesthetised", "consent", "consented"}
)
_OTHER_ROOMS = frozenset({"emergency", "waiting", "consulting", "examination", "exam", "treatment", "casualty"})
# "Her doctor put her on antibiotics": treated before the operation, and no dose of the theatre.
_TREATED_BEFORE = frozenset(
    "put course courses trial weeks days oral treated treatment months failed prescribed started previous "
    "outpatient".split()
)


def tells_of_past(sentence: Sentence) -> bool:
    words = {token.norm for token in sentence.tokens}
    return bool(words & _PAST) and not words & _TOLD
