"""Amounts that are spoken of beside a harvest and are none of it: what a kit needs, how it was shared out, a whole told
again with its part, something else of so much; and what was done after all beside what had been planned.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

from pipeline import people
from pipeline.extractors import _account_places, base
from pipeline.extractors import _amount_words as words
from pipeline.extractors._account_parts import Amount
from pipeline.records import Sentence

_MACHINES = frozenset("kit kits system machine protocol centrifuge manufacturer device set tube bag syringe".split())
_NEEDS = frozenset("needs need needed requires require required takes promises promised allows holds".split())
_PLANS = frozenset("planned intended wanted target aim goal".split())
_WISHED = frozenset("needed required wanted hoped intended planned expected short wished".split())
_SHARED = frozenset("split divided shared distributed apportioned halved".split())
_IN_SHARES = frozenset(
    ", in into and of each syringe syringes portion portions to as between two three doses equal parts equally".split()
)


def is_beside(amount: Amount, told: Sequence[object]) -> bool:
    """Whether an amount is none of the harvest. `told`: the amounts of it before."""
    return any((_is_saved(amount), _is_age(amount), _is_step(amount), is_wished(amount), is_share(amount),
                is_of_another(amount), is_retold(amount, told), _had(amount), _of_kin(amount),
                _long_ago(amount)))  # fmt: skip


def _is_saved(amount: Amount) -> bool:
    """ "Cell saver gave back two hundred mils": blood that was lost, and nothing of the marrow."""
    tokens = amount.sentence.tokens[max(0, amount.index - 5) : amount.index]
    return any(token.norm in ("saver", "cellsaver", "salvage") for token in tokens)


def _is_age(amount: Amount) -> bool:
    """ "Thaddeus Brook forty four left ankle": a bare number right behind a name."""
    if not amount.bare or not amount.index:
        return False
    ends = {person.last for person in people.persons(amount.sentence)}
    ends |= {last for _, last in filter(None, [people.introduced(amount.sentence)])}
    return amount.index - 1 in ends


def _is_step(amount: Amount) -> bool:
    """ "Repositioned the needle after each five mils": how often, and no draw of its own."""
    before = [token.norm for token in amount.sentence.tokens[max(0, amount.index - 2) : amount.index]]
    return before in (["after", "each"], ["after", "every"], ["for", "every"])


def is_planned(amount: Amount) -> bool:
    """ "Planned sixty mils got forty eight": a word of planning right before it."""
    return amount.before[-1:] != () and amount.before[-1] in _PLANS or amount.before[-2:] in (
        ("target", "was"), ("aim", "was"), ("goal", "was"), ("plan", "was"), ("aimed", "for")
    )  # fmt: skip


def _of_kin(amount: Amount) -> bool:
    """ "Her sister gave nine hundred mils": of another person."""
    said = amount.before[-6:]
    return bool(_KIN & set(said)) and bool({"gave", "donated", "from", "gives"} & set(said))


_KIN = frozenset("sister brother mother father son daughter twin sibling cousin husband wife".split())


def _long_ago(amount: Amount) -> bool:
    """ "In May sixty were drawn, today forty eight": in a month that was named."""
    said = (*amount.before[-4:], *amount.after[:5])
    return any(norm in _MONTHS and said[at - 1] in ("in", "last", "since") for at, norm in enumerate(said) if at)


_MONTHS = frozenset("january february march april may june july august september october november december spring "
                    "summer autumn winter".split())  # fmt: skip


def _had(amount: Amount) -> bool:
    """ "In March she had four mils": what somebody got, when was not said or long ago."""
    return amount.before[-1:] == ("had",) and bool(_THEY & set(amount.before[-3:])) and (
        not words.GIVEN & set(amount.after[:2])
    )


_THEY = frozenset({"she", "he", "patient", "they"})


def is_wished(amount: Amount) -> bool:
    """ "The kit needs sixty mils", "twelve short of the sixty needed": no amount that there was."""
    after = amount.after
    lead = tuple(token.norm for token in amount.sentence.tokens[max(0, amount.index - 4) : amount.index])
    if lead[-1:] and lead[-1] in _NEEDS and _MACHINES & set(lead) and "now" not in lead:
        return True
    if lead[-2:] in (("short", "of"), ("shy", "of")) or lead[-3:] in (("short", "of", "the"), ("shy", "of", "the")):
        return True
    if after[:1] and after[0] in _WISHED and not set(after[1:3]) & {"and", "out"}:
        return True
    return _word(amount.sentence, amount.index + 1) in ("short", "shy") and (
        _word(amount.sentence, amount.index + 2) == "of"
    )


def is_share(amount: Amount) -> bool:
    """ "Split into three and three": how what there is was shared out, and nothing that was given yet."""
    tokens = amount.sentence.tokens
    for at in range(amount.index - 1, max(-1, amount.index - _SHARE_REACH), -1):
        norm = tokens[at].norm
        if norm in _SHARED:
            return True
        if norm not in _IN_SHARES and tokens[at].quantity is None:
            return False
    return False


_SHARE_REACH = 8


def is_retold(amount: Amount, told: Sequence[object]) -> bool:
    """ "Of the six, four went in": the whole, said again before its part."""
    lead = amount.before
    said = [token.norm for token in amount.sentence.tokens[max(0, amount.index - 3) : amount.index]]
    if tuple(said[-2:]) in _OF_WHOLE and said[0] in _PARTLY:
        return True  # "half of the six into the joint": how much that is was not said
    first = said[1:] in (["the", "first"], ["those", "first"]) or tuple(said) == ("with", "the", "#ordinal")
    if first and said[0] in ("with", "and", "plus") and amount.quantity.value in told:
        return True  # "that makes twenty five with the first fifteen"
    begins = amount.index - len(lead)
    opens = begins <= 0 or amount.sentence.tokens[begins - 1].punctuation
    of_it = (
        lead[-2:] in _OF_WHOLE
        or lead in ((",", "of"), (",", "out", "of"))
        or (opens and lead in (("of",), ("out", "of")))
    )
    ends = not amount.after and _word(amount.sentence, amount.index + 1) in _BEFORE_PART
    following = amount.sentence.tokens[amount.index + 1 : amount.index + 2]
    part = following[0].quantity if following else None
    parted = bool(following) and (following[0].norm == "," or part is not None and (
        (part.value or 0) < (amount.quantity.value or 0)
    ))  # fmt: skip
    return of_it and ends and (amount.quantity.value in told or parted)


_OF_WHOLE = (("of", "the"), ("of", "those"), ("of", "these"), ("of", "that"), ("of", "our"))
_PARTLY = frozenset("half most some part third quarter fifth rest remainder".split())
_BEFORE_PART = frozenset({",", "#number", "#volume", "i", "we", "only", "just", "about"})


def is_of_another(amount: Amount) -> bool:
    """ "With two mils of calcium", "three of glue": of something that is no marrow, no blood and no product."""
    if amount.after[:1] != ("of",):
        return False
    if set(amount.after) & (words.LOST | {"away"}):
        return False  # "a hundred and twenty of supernatant discarded"
    said = [norm for norm in amount.after[1:5] if norm.isalpha()]
    while said and said[0] in _LEADS:
        said.pop(0)
    return bool(said) and not set(said) & _OWN and said[0] not in _NO_NAMES


_LEADS = frozenset("the a an his her their our my some more plain pure warm cold sterile fresh".split())
_OWN = words.PRODUCTS | frozenset(
    "marrow blood aspirate bma lipoaspirate product plasma microfat nanofat buffy fat conc harvest it this that these "
    "those them which bone whole venous peripheral autologous graft material sample volume platelet platelets plasma "
    "cells lysate serum mixture dark good bloody red thick liquid total draw draws stuff content contents rich "
    "poor".split()
)
_NO_NAMES = words.PREPOSITIONS | words.IS | words.GIVEN | words.LOST | frozenset({"what", "each", "all", "and", "then"})


def is_done(amount: Amount) -> bool:
    """ "Planned sixty, got forty eight", "usually I take sixty, today forty eight": what the words of its own, behind
    a mark or a "but", tell as done, whatever was planned or is usual before it."""
    lead = list(amount.before)
    cut = max((at for at, norm in enumerate(lead) if norm in _PARTS), default=-1)
    if cut < 0 or set(lead[cut:]) & _NOT_YET or set(amount.after[:4]) & _NOT_YET:
        return False
    return bool(set(lead[cut:]) & _DONE or set(amount.after[:1]) & _DONE or amount.after[:2] in _FOR_NOW)


_PARTS = frozenset({",", ";", "but", "-", "only"})
_NOT_YET = frozenset("would will should could may might to if can planned next tomorrow wanted usually later".split())
_DONE = words.GIVEN | frozenset("got took drew obtained collected gave came managed today went now drawn".split())
_FOR_NOW = (("for", "now"), ("was", "enough"), ("were", "enough"), ("this", "time"))


def is_for_side(amount: Amount, sides: Set[str]) -> bool:
    """ "Seven right, five left", "six per knee", "the right got seven": where it went, of a product for both sides."""
    got = [token.norm for token in amount.sentence.tokens[max(0, amount.index - 4) : amount.index]]
    if _account_places.paired(amount.sentence, amount.index) or (
        got[-1:] == ["got"] and set(got[-3:-1]) & (_SIDES | _PARTS_OF | {"both"})
    ):
        return True
    if sides != {"left", "right"}:
        return False
    before, after = amount.before, amount.after
    led = [norm for norm in before if norm not in _JOINING]
    if after[:1] and after[0] in _SIDES - {"left"} or after[:1] == ("each",):
        return not set(after[1:4]) & (words.VESSELS | {"of"})
    if after[:2] in _ON_THE and after[2:3] and after[2] in _SIDES:
        return True
    if after[:1] in (("per",), ("a",), ("each",)) and after[1:2] and after[1] in _PARTS_OF or (
        after[:2] in (("on", "each"), ("in", "each"), ("into", "each")) and set(after[2:3]) <= _PARTS_OF
    ):
        return True
    return bool(led) and set(led) <= _SIDES and not (led == ["left"] and "," not in before and before[0] != "left")


_JOINING = frozenset({",", "the", "then", "and", ":", "in", "on", "into"})
_SIDES = frozenset({"left", "right", "l", "r"})
_ON_THE = (("on", "the"), ("in", "the"), ("into", "the"), ("for", "the"), ("to", "the"))
_PARTS_OF = frozenset("knee hip shoulder elbow ankle wrist joint side heel thumb tendon".split())


def given_before_harvest(amount: Amount) -> bool:
    """ "Aspirated dry, then 5 mL BMAC": what was given, where the harvest is told behind it."""
    return bool({"then", "and"} & set(amount.before[-2:])) and not set(amount.before) & words.MAKING


def heads_given(amount: Amount) -> bool:
    """ "R knee: effusion 12 mL aspirated, 5 mL PRP": the part that it went into heads the sentence."""
    tokens = amount.sentence.tokens
    site = next((m for m in base.mentions(amount.sentence, "sites") if m.last < amount.index), None)
    if amount.after[:1] and amount.after[0] in _AT_HAND:
        return False  # "six mils prepared": what there was to give
    if site is None or "crest" in site.id or site.first > _AT_HEAD:
        return False
    return not {token.norm for token in tokens[: amount.index]} & words.MAKING


_AT_HEAD = 2
_AT_HAND = frozenset("prepared ready available supplied handed drawn in left".split())


def without_wholes(found: Sequence[Amount]) -> list[Amount]:
    """ "Four of the six mils went in": the whole leaves, and what became of the part is told behind it."""
    kept: list[Amount] = []
    for amount in found:
        if kept and _is_part_of(kept[-1], amount):
            one = kept.pop()
            if one.quantity.form == "fraction" and one.bare:
                continue  # "half of the six mils": how much that is was not said
            kept.append(replace(one, after=amount.after, last=amount.last))
        else:
            kept.append(amount)
    return kept


def _is_part_of(one: Amount, whole: Amount) -> bool:
    between = [token.norm for token in one.sentence.tokens[one.index + 1 : whole.index]]
    if between[:2] == ["out", "of"]:
        between = between[1:]
    elif between == ["of"] or not between or between[0] != "of":
        return False
    if not all(norm in _TO_WHOLE for norm in between[1:]) or whole.after[:1] and whole.after[0] in words.VESSELS:
        return False
    return one.quantity.dimension in ("", "volume") and (one.quantity.value or 0) < (whole.quantity.value or 0)


_TO_WHOLE = frozenset("the those these that our planned whole total full original available".split())


def _word(sentence: Sentence, at: int) -> str:
    return sentence.tokens[at].norm if 0 <= at < len(sentence.tokens) else ""
