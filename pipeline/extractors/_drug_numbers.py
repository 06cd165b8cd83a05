"""Which numbers go on about a drug that already has one."""

from __future__ import annotations

from pipeline.records import Mention, Sentence

_TOKENS, _TAIL = 16, 8
_HARMLESS = frozenset({"routes", "events"})
_STOPPERS = frozenset({".", ";", "then", "while", "but", "after", "before", "next"})
_LINKS = frozenset(
    ", ( ) : = - / that is which makes make equals equal equalling or so giving given in total a of altogether to at "
    "i.e. ie the dose total: totalling was were used as and for volume concentration strength".split()
)


def said_on(sentence: Sentence, index: int, drug: Mention) -> bool | None:
    """Whether the number at `index` is one more of the drug before it: "ropivacaine 0.2 %, 20 mL, that is 400 mg".

    True where only joining words stand between it and the drug's last number, False where others do, None where it is
    none of the drug's.
    """
    between = sentence.tokens[drug.last + 1 : index]
    numbers = [at for at, token in enumerate(between) if token.quantity is not None]
    if not numbers or len(between) > _TOKENS:
        return None
    if any(drug.last < other.first and other.last < index and other.table not in _HARMLESS
           for other in sentence.mentions):  # fmt: skip
        return None
    tail = [token.norm for token in between[numbers[-1] + 1 :]]
    if set(tail) & _STOPPERS or len(tail) > _TAIL:
        return None
    return all(norm in _LINKS for norm in tail)
