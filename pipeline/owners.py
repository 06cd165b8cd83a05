"""Numbers that have a thing of their own each, and are no list: "fentanyl fifty then ten mils of lidocaine"."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from pipeline import grammar
from pipeline.records import Token
from pipeline.rows import Drug

_OWNERS = frozenset({"loss", "ebl", "output", "urine", "pressure", "rate", "flow"})
_OF_ONE = frozenset({"each", "it", "them", "which", "this", "that", "both", "these", "the"})


@cache
def _drug_words() -> tuple[frozenset[str], frozenset[str]]:
    """The last and the first words of what drugs are called."""
    rows = grammar.load().table("drugs", Drug).values()
    said = [phrase.lower().replace("-", " ").split() for row in rows for phrase in row.say]
    return frozenset(words[-1] for words in said), frozenset(words[0] for words in said)


def ends_drug(norm: str) -> bool:
    """Whether the word is the last of what a drug is called."""
    return norm in _drug_words()[0]


def is_antibiotic(word: str) -> bool:
    """Names by which antibiotics are known (INN stems cef-, -cillin, -mycin, -floxacin); they are given at a time."""
    ends = word.endswith(("cillin", "mycin", "floxacin"))
    return ends or word in _BRANDS or word.startswith(("cef", "antibiotic", "prophyla"))


def is_timed(word: str) -> bool:
    """An antibiotic or tranexamic acid: what is given once, at a time that is told behind its dose."""
    return is_antibiotic(word) or word in ("tranexamic", "txa")


_BRANDS = frozenset("ancef kefzol zinacef augmentin rocephin cleocin clinda vanc vanco gent gentamicin teicoplanin "
                    "metronidazole flagyl abx co-amoxiclav coamoxiclav clavulanate tazocin".split())  # fmt: skip


def of_its_own(tokens: Sequence[Token], bare: int, index: int) -> bool:
    """ "Fentanyl fifty then ten mils of lidocaine": the bare number has its own thing before it, the one with the unit
    has another behind it, so that they are no list and share no unit."""
    last, first = _drug_words()
    if not bare or not (tokens[bare - 1].norm in last or tokens[bare - 1].norm in _OWNERS):
        return False
    after = [token for token in tokens[index + 1 : index + 4] if token.quantity is None]
    if not after or after[0].punctuation:
        return False
    if after[0].norm == "of":
        return len(after) > 1 and after[1].norm not in _OF_ONE
    return after[0].norm in first


def tells_move(tokens: Sequence[Token], bare: int, index: int) -> bool:
    """ "Five, ten, fifteen, then a turn", "four and half a centimetre back": the number at `index` tells how a needle
    moved, and the bare one before it what was drawn there, so that they share no unit."""
    own = tokens[index].quantity
    if own is None or own.dimension not in _WAYS:
        return False
    article = tokens[index].text.lower().split()[0] in _ARTICLES
    between = {token.norm for token in tokens[bare:index]}
    if between & {"by", "x", "\u00d7"}:
        return False  # "eight by five millimetres out of the gutter"
    after = [token.norm for token in tokens[index + 1 : index + 3]]
    if own.dimension == "turns":
        return article or "then" in between or tokens[index].text.lower().startswith(_PARTS)
    return own.dimension == "length" and bool(_MOVED & set(after[:1])) and after[1:] not in (["to"], ["from"])


_WAYS = frozenset({"turns", "length"})
_ARTICLES = frozenset({"a", "an", "another"})
_PARTS = ("half", "quarter", "one turn", "one full")
_MOVED = frozenset({"back", "further", "deeper", "out"})

_LINKS = frozenset({"with", "plus", "and", "+", "&", "w/", "then", "in"})
_STRENGTHS = frozenset({"fraction", "concentration", "mass_concentration", "ratio"})


def begins_another(tokens: Sequence[Token], index: int, drug: int) -> bool:
    """ "Triamcinolone forty with four mils lidocaine", "Depo-Medrone 80 mg plus 4 ml 1 % lidocaine": whether a word
    that joins leads to the number at `index` and another drug stands right behind it, which then has it; `drug` is the
    last token of the one before. Not where that one has a number of the kind behind itself."""
    _, first = _drug_words()
    quantity = tokens[index].quantity
    if quantity is None or index - 1 <= drug or tokens[index - 1].norm not in _LINKS:
        return False
    at = index + 1
    while at < len(tokens) and (tokens[at].norm == "of" or _is_strength(tokens[at])):
        at += 1
    if at >= len(tokens) or tokens[at].quantity is not None or tokens[at].norm not in first:
        return False
    return not any(
        token.quantity is not None and token.quantity.dimension == quantity.dimension
        for token in tokens[at + 1 : at + 3]
    )


def _is_strength(token: Token) -> bool:
    return token.quantity is not None and token.quantity.dimension in _STRENGTHS


PART_GIVEN = "a part of it was said to be given"
_SHARES = frozenset({"half", "third", "thirds", "quarter", "quarters", "most", "part", "some", "little", "rest"})
_POINTING = frozenset({"the", "these", "those", "this", "that", "our"})


def is_whole_of_share(tokens: Sequence[Token], index: int) -> bool:
    """ "Half of the six mils went in": the number at `index` is the whole, and a part of it was given."""
    at = index - 1
    pointed = at > 0 and tokens[at].norm in _POINTING
    at -= pointed
    if at < 1 or tokens[at].norm != "of":
        return False
    if pointed and _some_of(tokens[at - 1], tokens[index]):
        return True
    share = tokens[at - 1].quantity
    if share is not None and share.value is not None and share.value > 1:
        return False  # "four and a half of one percent lidocaine"
    return tokens[at - 1].norm in _SHARES or tokens[at - 1].text.lower().split()[-1] in _SHARES


def _some_of(part: Token, whole: Token) -> bool:
    """ "One of the two vials", "two of the three grams": a bare number of what was counted; no "ten of the 0.5 %"."""
    few = part.norm == "one" or (
        part.quantity is not None and part.quantity.form == "number" and part.quantity.unit is None
    )
    return few and whole.quantity is not None and whole.quantity.dimension in ("count", "mass", "volume", "amount")


# "Ten mils that was four and a half of lidocaine, four and a half of ...": what leads from a mixture to its parts.
_NAMELY = (("that", "was"), ("that", "is"), ("that's",), ("made", "of"), ("made", "up", "of"), ("being",), ("namely",),
           ("consisting", "of"), ("composed", "of"), ("which", "was"), ("which", "is"), (":",), ("of",))  # fmt: skip


def is_of_parts(tokens: Sequence[Token], index: int) -> bool:
    """Whether a volume is all of a mixture whose parts follow, each with "of": "10 mL of 4.5 mL of lidocaine and"."""
    one = tokens[index].quantity
    if one is None or one.dimension != "volume":
        return False
    for words in _NAMELY:
        at = index + 1 + len(words)
        if tuple(token.norm for token in tokens[index + 1 : at]) != words or at + 1 >= len(tokens):
            continue
        part = tokens[at].quantity
        if part is not None and part.dimension == "volume" or (
            part is not None and part.form in ("number", "fraction") and not part.unit and words != ("of",)
            and tokens[at + 1].norm == "of"
        ):
            return part.value is None or one.value is None or part.value < one.value
    return False
