"""What was done with a device: removed, only tried, or there already before the operation."""

from __future__ import annotations

from pipeline import clauses
from pipeline.records import Sentence


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_PASSIVE = _words("was were been being is are")
_ADVERBS = _words("then also now subsequently finally all both easily carefully")


def is_anothers(sentence: Sentence, removed: int, thing: int) -> bool:
    """Whether a word of removal is said of something else than a thing: of the subject before it ("the cannulas were
    removed and cement was injected"), or in another clause ("the plate was fixed and the guide was removed")."""
    tokens = sentence.tokens
    if thing < removed:
        return clauses.parted(sentence, thing, removed)
    at = removed - 1
    while at >= 0 and tokens[at].norm in _ADVERBS:
        at -= 1
    listed = any(token.norm == ":" for token in tokens[removed + 1 : thing])
    own = at >= 0 and tokens[at].norm in _PASSIVE and at > 0 and tokens[at - 1].norm not in ("there", "what")
    return (own or tokens[removed].norm in _PASSIVE) and not listed


_JOINING = _words("and , &")
_NEW = _words("a an then but while")
_LIST = 5  # tokens


def joined_to_trial(sentence: Sentence, first: int) -> bool:
    """Whether a thing goes on a list that "trial" begins ("the trial stem and cup")."""
    joined = False
    for token in reversed(sentence.tokens[max(0, first - _LIST) : first]):
        if token.norm in ("trial", "trials"):
            return joined
        joined = joined or token.norm in _JOINING
        if token.norm in clauses.FINITE or token.norm in _NEW or (token.punctuation and token.norm != ","):
            return False
    return False


_PERSON = _words("he she patient who lady gentleman man woman boy girl child they")
_HAS = _words("has had wears wore carries")
_PUT_IN = _words("placed inserted implanted put applied fitted fixed deployed used exchanged removed revised changed")
_BETWEEN, _TO_PERSON = 7, 12  # tokens
_BACKGROUND = _words("indication history imaging")


def has_already(sentence: Sentence, first: int, last: int) -> bool:
    """Whether the patient had a thing before the operation: "he has a pacemaker", "with a port in place". In the story
    of the operation "the patient had a stent placed" is done today."""
    tokens = sentence.tokens
    low = max(clauses.bounds(sentence, first)[0], first - _BETWEEN)
    verb = next((at for at in range(first - 1, low - 1, -1) if tokens[at].norm in _HAS), None)
    if verb is None or not any(
        token.norm in _PERSON for token in tokens[max(0, verb - _TO_PERSON) : verb]
    ):
        return False
    before = sentence.section in _BACKGROUND
    put = any(token.norm in _PUT_IN for token in (*tokens[verb + 1 : first], *tokens[last + 1 : last + 5]))
    return before or (tokens[verb].norm != "had" and not put)
