"""Which numbers go on about a drug that already has one."""

from __future__ import annotations

from pipeline.records import Mention, Sentence

_TOKENS, _TAIL = 16, 8
_HARMLESS = frozenset({"routes", "events"})
_STOPPERS = frozenset({".", ";", "while", "but", "after", "before", "next"})
_LINKS = frozenset(
    ", ( ) : = - / that is which makes make equals equal equalling or so giving given in total a of altogether to at "
    "i.e. ie the dose total: totalling was were used as and for volume concentration strength".split()
)


def is_bare_dose(sentence: Sentence, index: int, drugs: list[Mention]) -> bool:
    """ "Enoxaparin forty for six weeks": the unit was not said. Not "heparin two vials"."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.form != "number" or not any(drug.last == index - 1 for drug in drugs):
        return False
    after = sentence.tokens[index + 1 : index + 2]
    return not after or after[0].punctuation or after[0].norm in _AFTER_DOSE


_AFTER_DOSE = frozenset(
    {"for", "daily", "twice", "once", "given", "was", "were", "and", "iv", "im", "sc", "at", "bd", "od", "tds", "bid",
     "tid", "every", "then", "before", "on", "intravenously"}
)  # fmt: skip


def is_of_another(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Steroid eighty milligrams with four mils of half percent marcaine": the number follows a word of its own, and
    the drug ahead comes after "with" and a number that is its own."""
    between = sentence.tokens[index + 1 : drug.first]
    joined = next((at for at, token in enumerate(between) if token.norm in ("with", "plus", "and", "then")), None)
    if joined is None or not index or not any(token.quantity is not None for token in between[joined:]):
        return False
    before = sentence.tokens[index - 1]
    return before.norm.isalpha() and before.quantity is None and before.norm not in _NO_NAMES and not any(
        token.quantity is not None for token in between[:joined]
    )


_NO_NAMES = frozenset(
    "of with and gave given injected used a the about was were then plus by total block infiltrated in".split()
)


def _is_harmless(other: Mention) -> bool:
    return other.table in _HARMLESS or (other.table == "drugs" and other.id in ("adrenaline", "epinephrine"))


def said_on(sentence: Sentence, index: int, drug: Mention) -> bool | None:
    """Whether the number at `index` is one more of the drug before it: "ropivacaine 0.2 %, 20 mL, that is 400 mg".

    True where only joining words stand between it and the drug's last number, False where others do, None where it is
    none of the drug's.
    """
    between = sentence.tokens[drug.last + 1 : index]
    numbers = [at for at, token in enumerate(between) if token.quantity is not None]
    if not numbers or len(between) > _TOKENS:
        return None
    if any(drug.last < other.first and other.last < index and not _is_harmless(other) for other in sentence.mentions):
        return None
    tail = [token.norm for token in between[numbers[-1] + 1 :]]
    if set(tail) & _STOPPERS or len(tail) > _TAIL:
        return None
    return all(norm in _LINKS for norm in tail)


_REACTS = 12  # tokens after the word for an allergy
_THEREFORE = frozenset({"so", "therefore", "hence", "instead", "thus", "gave", "given", "received", ";", "."})


def allergic_to(sentence: Sentence, first: int, last: int, drug: Mention) -> bool:
    """Whether the word for an allergy at tokens first..last is said of a drug: "penicillin allergy", "allergic to
    penicillin", but not of what was given because of it ("allergic to penicillin, so clindamycin")."""
    if drug.last < first:
        between = sentence.tokens[drug.last + 1 : first]
        return False if any(token.norm in _THEREFORE for token in between) else drug.last >= first - 1
    if any(token.norm in _NONE for token in sentence.tokens[max(0, first - 3) : last + 1]):
        return False
    others = [m for m in sentence.mentions if m.table == "drugs" and m.first != drug.first]
    if any(other.last == first - 1 for other in others):
        return False  # "penicillin allergy, clindamycin 900 mg"
    between = sentence.tokens[last + 1 : drug.first]
    return drug.first - last < _REACTS and not any(token.norm in _THEREFORE for token in between)


_NONE = frozenset({"no", "nil", "denies", "without", "nkda"})
_SAYING = frozenset({"of", "was", "were", "had", "been", "is", ",", "(", ")", "and", "then", "all", "percent", "%"})


def says_of(sentence: Sentence, drug: Mention, verb: int) -> bool:
    """Whether a verb after a drug is its own: nothing but the drug's numbers stands between
    ("ropivacaine 0.2 percent, twenty millilitres, was prepared")."""
    between = sentence.tokens[drug.last + 1 : verb]
    given = any(token.norm in _GIVEN for token in sentence.tokens[verb : verb + 5])
    own = all(token.quantity is not None or token.norm in _SAYING for token in between)
    return drug.last < verb and own and not given


_GIVEN = frozenset({"given", "injected", "administered", "infiltrated", "instilled", "and"})
