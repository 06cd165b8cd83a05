"""What the words right beside an amount tell of it: that it came out of a joint, was a part of a turn, went in."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pipeline.extractors import _amount_words as words
from pipeline.records import Sentence

LOOKS = frozenset("clear straw yellow cloudy turbid serous synovial effusion colored coloured haemarthrosis".split())
_FLUIDS = frozenset({"fluid", "effusion"})


def comes_out(sentence: Sentence, index: int) -> bool:
    """ "15 mL straw fluid aspirated, then hyaluronate 6 mL": a fluid by its looks or name, right behind the amount."""
    after: list[str] = []
    for token in sentence.tokens[index + 1 : index + 5]:
        if token.punctuation or token.quantity is not None:
            break
        after.append(token.norm)
    if bool(_FLUIDS & set(after)) and bool(set(after) & LOOKS) or after[:1] in (["effusion"],):
        return True
    return is_of_patient(sentence, index) or _with_patients(sentence, index)


def is_of_patient(sentence: Sentence, index: int) -> bool:
    """ "54 mL blood", "fifty of her venous blood", "27 mL of marrow": what was drawn, and no amount of a drug."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 6]]
    while behind and behind[0] in _OF_WHOM:
        behind.pop(0)
    return behind[:1] in (["blood"], ["marrow"], ["aspirate"]) and behind[1:2] not in (["loss"], ["thinner"])


def _with_patients(sentence: Sentence, index: int) -> bool:
    """ "6 mL ACD-A + 54 mL blood = 60 mL": what a drug and the blood come to together."""
    before = [token.norm for token in sentence.tokens[max(0, index - 3) : index]]
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    all_of_it = behind[:1] in (["altogether"], ["total"]) or behind in (["in", "all"], ["in", "total"], ["all", "told"])
    if not before or not (all_of_it or before[-1] in _COMES_TO or before[-2:] in (
        ["that", "is"], ["a", "total"], ["total", "of"]
    )):  # fmt: skip
        return False
    volumes = [at for at, one in enumerate(sentence.tokens[:index]) if (own := one.quantity) is not None
               and own.dimension in ("volume", "")][-2:]  # fmt: skip
    return len(volumes) > 1 and any(is_of_patient(sentence, at) for at in volumes)


_OF_WHOM = frozenset("of the his her their whole venous peripheral patient's own fresh bone".split())
_COMES_TO = frozenset("= makes making gives giving equals that's so total".split())


def turned_by(sentence: Sentence, index: int) -> bool:
    """ "Turn the needle a quarter", "rotated it half": the part of a turn, behind its verb."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.form != "fraction" or quantity.dimension:
        return False
    before = [token.norm for token in sentence.tokens[max(0, index - 4) : index]]
    while before and before[-1] in _TURNED_THING:
        before.pop()
    return bool(before) and before[-1] in words.TURNED


_TURNED_THING = frozenset("the it needle trocar cannula jamshidi by a about".split())


def product_in(sentence: Sentence, index: int) -> bool:
    """ "Then four mils of concentrate in", and nothing behind it that it would be in."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 6] if token.norm not in ("of", "the")]
    if after[:1] == ["marrow"]:
        after = after[1:]
    if not after or after[0] not in words.PRODUCTS | {"marrow", "plasma"}:
        return False
    if _into_part(sentence, index):
        return True
    at = 1 + (after[1:2] in (["went"], ["goes"], ["all"]))
    return after[at : at + 1] == ["in"] and after[at + 1 : at + 2] in _IN_ENDS


def _into_part(sentence: Sentence, index: int) -> bool:
    """ "Six mils of the concentrate through the cannula into the right head": no vessel that it is put into."""
    way: list[str] = []
    for token in sentence.tokens[index + 1 : index + 12]:
        if token.punctuation or token.quantity is not None:
            break
        way.append(token.norm)
    if way[:4] and {"via", "through"} & set(way[:4]) and "into" not in way:
        return not {"drawn", "aspirated", "from", "filter", "filtered"} & set(way)  # "one mil of it via a needle"
    if "into" not in way:
        return False
    behind = way[way.index("into") + 1 :]
    return bool(behind) and not set(behind) & words.VESSELS and not {"drawn", "aspirated", "from"} & set(way)


_IN_ENDS: tuple[list[str], ...] = (
    [], ["."], [","], [";"], ["no"], ["slowly"], ["under"], ["over"], ["without"], ["needle"], ["and"], ["then"],
)  # fmt: skip


def is_drilled(sentence: Sentence, noun: int) -> bool:
    """ "3.2 mm drill two passes each": of the drill, and no draws."""
    before = [token.norm for token in sentence.tokens[max(0, noun - 6) : noun]]
    return sentence.tokens[noun].norm.startswith("pass") and bool(_DRILLS & set(before))


_DRILLS = frozenset("drill drilled drilling reamer wire wires burr".split())


def stops(sentence: Sentence, at: int) -> bool:
    """ "4 mL in.": nothing follows that it would be in."""
    return at >= len(sentence.tokens) or sentence.tokens[at].punctuation


def but_side(sentence: Sentence, index: int, before: tuple[str, ...]) -> tuple[str, ...]:
    """The words before an amount without the side of the part they end with: "left knee 2 mL" leaves nothing over."""
    sided = any(m.table == "sites" and m.last == index - 1 and m.first and sentence.tokens[m.first - 1].norm == "left"
                for m in sentence.mentions)  # fmt: skip
    return tuple(word for word in before if word != "left") if sided else before


def is_decanted(sentence: Sentence, index: int, said: Sequence[str]) -> bool:
    """ "Sixty mils decanted" among the words beside an amount: poured off, or left; not "three hundred decanted to a
    hundred and eighty", which has both."""
    if "decanted" not in said[-3:] and "decanted" not in said[:5]:
        return False
    near = [token.norm for token in sentence.tokens[max(0, index - 3) : index + 6]]
    return not any(one == "decanted" and two in ("to", "down") for one, two in pairwise(near))


def went(sentence: Sentence, index: int) -> bool:
    """ "Five mils via a twenty two gauge", "two at three points": what it went in through, or to."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    return behind[:1] in (["via"], ["through"]) and "#gauge" in behind[1:3] or at_each_spot(sentence, index)


def lettered(sentence: Sentence, index: int) -> bool:
    """ "Syringe A ten mils, syringe B twelve", "A 10 mL, B 12 mL": one draw, by the letter of what holds it."""
    tokens = sentence.tokens
    if not index or tokens[index - 1].norm not in _LETTERS:
        return False
    if index > 1 and tokens[index - 2].norm in words.VESSELS:
        return True
    led = [(at, tokens[at - 1].norm) for at in range(1, len(tokens)) if tokens[at].norm in ("#volume", "#number")]
    marked = [norm for at, norm in led if norm in _LETTERS and (at < 2 or tokens[at - 2].norm in _PARTS)]
    return len(marked) > 1 and marked == sorted(set(marked)) and index in {at for at, _ in led}


_LETTERS, _PARTS = frozenset("abcdefgh"), frozenset({",", ":", ";", "and"})


def at_each_spot(sentence: Sentence, index: int) -> bool:
    """ "Two mils in each of three spots", "three injections of two", "two per point", "three times two"."""
    tokens = sentence.tokens
    after = [token.norm for token in tokens[index + 1 : index + 6]]
    before = [token.norm for token in tokens[max(0, index - 2) : index]]
    times = before[-1:] == ["times"] and index > 1 and tokens[index - 2].norm == "#number"
    if times or after[:2] == ["times", "#number"] or after[:1] == ["#times"]:
        return True  # "three times two", "two times three"
    if after[:1] == ["per"] and after[1:2] and after[1].rstrip("s") in _SPOTS:
        return True
    if before == ["injections", "of"] or before == ["deposits", "of"]:
        return True
    return (
        after[:1] in (["in"], ["at"], ["into"])
        and any(norm.endswith("s") and norm[:-1] in _SPOTS for norm in after[2:5])
        and bool({"each", "every", "#number"} & set(after[1:4]))
    )


_SPOTS = frozenset("spot point site place location level portal track injection pass region".split())


_LESIONS = frozenset(
    "defect defects lesion lesions cyst tear wound crater cavity incision hole holes tunnel tunnels flap socket ulcer "
    "laceration notch trough groove".split()
)


def of_a_lesion(sentence: Sentence, index: int) -> bool:
    """ "The defect measured two centimetres and was four millimetres deep": no depth of the needle."""
    before = [token.norm for token in sentence.tokens[max(0, index - 16) : index]]
    return any(norm in _LESIONS for norm in before) and "needle" not in before and "cortex" not in before


def at_level(sentence: Sentence, index: int) -> bool:
    """ "One point five into L4/5": a level of the spine that it went to."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 4] if token.norm != "the"]
    return behind[1:2] == ["#level"] and behind[0] in ("into", "in", "at", "to")
