"""Counts of things in a sentence: "four needles", "each of six levels"."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pipeline.records import Token

MOST = 40  # more is no count of things in one sentence
PLACES = frozenset(
    "in into on onto to at from through around round above below over under inside outside behind along between near "
    "proximal distal proximally distally medial medially lateral laterally anterior anteriorly posterior "
    "posteriorly superior superiorly inferior inferiorly cranial cranially caudal caudally central centrally left "
    "right upper lower deep superficial dorsal volar palmar plantar ventral ulnar radial dorsally ulnarly radially "
    "subcutaneous subcostal umbilical "
    "epigastric suprapubic subxiphoid".split()
)
VERBS = frozenset("was were is are had has have been sent taken placed used made left inserted put given".split())
WHOLE = frozenset({"total", "altogether", "overall"})
JOINS = frozenset({",", "and", "then", ":", "(", "with", "plus", "+", "&", ";", "-", "–"})
_NO_THINGS = frozenset(
    "times hours minutes weeks days months years passes turns degrees attempts layers holes sides views cycles rounds "
    "rows others cases sessions tablets units drops points hands parts".split()
)
_FORMS_OF_NAMES = frozenset("part hole piece view vessel stage compartment person way fold lumen plane corner".split())
_NOUN_WORDS = 2
_SORTS = frozenset({"partially", "fully", "threaded", "headless", "cannulated"})  # of screws


@dataclass(frozen=True, slots=True)
class Head:
    """A count with its noun. `first`..`last`: tokens of both."""

    first: int
    last: int
    number: int
    noun: str


def count(token: Token) -> int | None:
    """The whole number of a token that counts: no unit, no label, no fraction."""
    quantity = token.quantity
    if quantity is None:
        return 1 if token.norm == "one" else None  # "four from the antrum and one from the body"; else a pronoun
    if quantity.form != "number" or quantity.dimension not in ("", "count"):
        return None
    value = quantity.value
    if value is None or quantity.comparator is not None or value != int(value) or not 1 <= value <= MOST:
        return None
    return int(value)


def heads(read: Sequence[Token]) -> Iterator[Head]:
    """Counts of two and more that are followed by a plural noun."""
    for index, token in enumerate(read):
        number = count(token)
        if number is None or is_portal(read, index):
            continue
        sorts = sum(word.norm in _SORTS for word in read[index + 1 : index + 2 + _NOUN_WORDS])
        for at in range(index + 1, min(index + 2 + _NOUN_WORDS + sorts, len(read))):
            word = read[at]
            if word.punctuation or word.norm in _FORMS_OF_NAMES | PLACES | VERBS | JOINS:
                break
            if word.quantity is not None:
                continue  # "two 5 mm ports"
            plural = len(word.norm) > 3 and word.norm.endswith("s") and not word.norm.endswith(("ss", "us", "is"))
            if plural and word.norm in _NO_THINGS:
                break
            if plural and number > 1:
                yield Head(index, at, number, word.norm)
                break


def is_portal(read: Sequence[Token], at: int) -> bool:
    """ "The six R and six U portals": numbers of the tendon compartments that name the portals of a wrist."""
    names = [token.norm for token in read[at + 1 : at + 8]]
    six = count(read[at]) == _SIX  # 6R and 6U are portals of the wrist and nothing else
    return names[:1] in (["r"], ["u"]) and (six or bool({"portal", "portals"} & set(names)))


_SIX = 6


def says_total(read: Sequence[Token], at: int) -> bool:
    """Whether "in total", "altogether", "in all" goes with the count at `at`, or "total of" leads to it."""
    before = [token.norm for token in read[max(0, at - 2) : at]]
    apart = before[-1:] in (["plus"], ["and"], ["then"])  # "five altogether plus one for the biceps"
    led = {"makes", "making"} & set(before[-1:]) or (not apart and {"total", "altogether"} & set(before))
    if led:
        return True
    after = [token.norm for token in read[at + 1 : at + 5]]
    for place, norm in enumerate(after):
        ends = place + 1 >= len(after) or after[place + 1] in (".", ",", ";")
        if (norm in WHOLE and ends) or (norm, *after[place + 1 : place + 2]) in _IN_ALL:
            return True
        if place > 1 or not norm.isalpha():
            return False
    return False


_IN_ALL = (("in", "total"), ("in", "all"), ("all", "told"), ("all", "up"))
# What a volume can go through or into, one share each.
_TARGETS = frozenset("needles ports portals sites levels injections tracts tracks levels holes digits fingers toes "
                     "nerves spots joints wounds knees hips compartments points quadrants".split())  # fmt: skip


def shares(read: Sequence[Token]) -> int | None:
    """Of how many things a sentence says "each": "through each of four needles", "four needles, 3 mL each".

    None where no such number, or more than one, was said.
    """
    found: set[int] = set()
    for index, token in enumerate(read):
        number = count(token)
        if number is None or number < 2:
            continue
        before = [word.norm for word in read[max(0, index - 3) : index]]
        led = before[-2:] == ["each", "of"] or (before[-1:] in (["the"], ["those"]) and before[:2] == ["each", "of"])
        nouns = {word.norm for word in read[index + 1 : index + 4] if not word.punctuation}
        if led or nouns & _TARGETS:
            found.add(number)
    return found.pop() if len(found) == 1 else None
