"""Amounts that stand before a drug and are not its own: what it was added to, what it only wetted."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from pipeline.records import Mention, Sentence, Token


def is_apart(sentence: Sentence, index: int, drug: Mention) -> bool:
    """Whether the number at a token before a drug is of what stands before it."""
    between = sentence.tokens[index + 1 : drug.first]
    own = sentence.tokens[index].quantity
    if index and own is not None and own.dimension == "mass" and sentence.tokens[index - 1].norm == "cement":
        return True  # "cement forty grams forty mils of quarter percent bupivacaine"
    return (
        _is_wetted(between) or _has_own_volume(sentence, index, drug) or _comes_with(sentence, index, drug)
        or _concludes(sentence, index, between) or _explains(sentence, index, between)
        or _is_strength_of_last(sentence, index, drug)
    )  # fmt: skip


def _is_strength_of_last(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "20 mL ropivacaine 0.5 % sedation propofol": right behind one drug, and another thing named before the next."""
    own = sentence.tokens[index].quantity
    if own is None or own.unit != "%" or not any(m.table == "drugs" and m.last == index - 1 for m in sentence.mentions):
        return False
    return any(index < m.first and m.last < drug.first and m.table != "drugs" for m in sentence.mentions)


def _explains(sentence: Sentence, index: int, between: Sequence[Token]) -> bool:
    """ "Depo-Medrol 40 mg (80 mg total) with bupivacaine", "40 mg per side (80 mg) with": an amount in brackets behind
    another of its sort, which is of a drug named before; "lidocaine (100 mg) with epinephrine": right behind one."""
    if index < 2 or sentence.tokens[index - 1].norm != "(" or not any(token.norm == ")" for token in between):
        return False
    if any(m.table == "drugs" and m.last == index - 2 for m in sentence.mentions):
        return True
    own = sentence.tokens[index].quantity
    before = next((token.quantity for token in reversed(sentence.tokens[max(0, index - 2 - _SHARE) : index - 1])
                   if token.quantity is not None or token.punctuation), None)  # fmt: skip
    named = any(m.table == "drugs" and 0 < index - m.last <= _NAMED + _SHARE for m in sentence.mentions)
    return named and own is not None and before is not None and (
        before.dimension in (own.dimension, "ratio")  # "lidocaine 2 % + adrenaline 1:200k (400 mg) + fentanyl"
    )


_NAMED = 6  # tokens from the drug to its amount in brackets
_SHARE = 3  # words of whose share the amount before the brackets was: "on each side"


def _is_wetted(between: Sequence[Token]) -> bool:
    """ "Forty mils, in syringes wet with heparin": what the drug only wetted was told before it."""
    said = [token.norm for token in between]
    return len(said) > 2 and said[-1] in ("with", "in") and said[-2] in _WETTED


_WETTED = frozenset("wet wetted coated primed rinsed flushed soaked".split())


def _has_own_volume(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Blood 15 mL left arm, ACD 1.5 mL": a comma parts the first volume from a drug with one right behind it."""
    own = sentence.tokens[index].quantity
    between = sentence.tokens[index + 1 : drug.first]
    behind = sentence.tokens[drug.last + 1].quantity if drug.last + 1 < len(sentence.tokens) else None
    if own is None or behind is None or not own.dimension == behind.dimension == "volume":
        return False
    if not between and any(m.last == index - 1 and m.table in ("sites", "devices") for m in sentence.mentions):
        return True  # "graft from the calcaneus two millilitres fibrin glue one millilitre"
    return any(token.norm == "," for token in between) and not any(token.quantity is not None for token in between)


def _comes_with(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "52 mL with 8 mL of citrate": an amount of the same kind stands right before the drug and is its own; the one
    before "with" is of what it was added to."""
    own, between = sentence.tokens[index].quantity, sentence.tokens[index + 1 : drug.first]
    if own is None or len(between) not in (2, 3) or between[0].norm not in ("with", "plus", "+", "into", "onto"):
        return False
    added = between[1].quantity
    apart = len(between) == 2 or between[2].norm == "of"
    return apart and added is not None and added.dimension == own.dimension and added.form == "number"


def _concludes(sentence: Sentence, index: int, between: Sequence[Token]) -> bool:
    """ "Mannitol one gram per kilo, so seventy five grams, dexamethasone ...", "then one more, three milligrams in
    total fentanyl fifty", "bupi 0.5 % 2.5 mL + 20 mg methylpred": what closes the numbers of a drug said before."""
    tokens, own = sentence.tokens, sentence.tokens[index].quantity
    if own is None or not any(m.table == "drugs" and m.last < index for m in sentence.mentions):
        return False
    behind = [token.norm for token in between]
    if behind in (["in", "total"], ["total"], ["in", "all"], ["altogether"], ["all", "told"]):
        return True
    before, earlier = tokens[index - 1], tokens[index - 2].quantity
    if before.norm in ("so", "makes", "making", "=") and earlier is not None and not behind:
        return earlier.dimension.endswith("_per_mass")
    strength = before.quantity is not None and before.quantity.dimension in ("fraction", "mass_concentration")
    added = len(between) > 1 and between[0].norm in ("+", "plus") and between[1].quantity is not None
    return strength and own.dimension == "volume" and added


def of_short_name(sentence: Sentence, index: int, drug: Mention, no_names: frozenset[str]) -> bool:
    """ "40 mg TA + 4 mL lidocaine", "Dex 5 mg + lidocaine", "K40 1 mL + lidocaine 1 % 4 mL": the number is of a name
    beside it that no row has, which a sign parts from the drug ahead; a volume, where that has one of its own."""
    between = sentence.tokens[index + 1 : drug.first]
    signs = [at for at, token in enumerate(between) if token.norm in ("+", "plus")]
    own = sentence.tokens[index].quantity
    volume = own is not None and own.dimension == "volume" and any(
        token.norm == "#volume" for token in sentence.tokens[drug.last + 1 : drug.last + 4]
    )
    if own is None or (own.dimension != "mass" and not volume) or not signs or signs[0] > 1:
        return False
    name = between[0] if signs[0] else sentence.tokens[index - 1] if index else None
    return name is not None and name.quantity is None and name.norm.isalnum() and name.norm not in no_names


def is_led_and_apart(sentence: Sentence, index: int, drug: Mention, links: Collection[str]) -> bool:
    """ "Lidocaine 1 % 5 ml for the track contrast 2 ml": right behind one drug, and words of its own lie before the
    next, which has a number of the kind itself."""
    quantity, own = sentence.tokens[index].quantity, sentence.tokens[drug.last + 1 : drug.last + 2]
    if quantity is None or not own or own[0].quantity is None or own[0].quantity.dimension != quantity.dimension:
        return False
    at = index - 1
    while at > 0 and sentence.tokens[at].quantity is not None:
        at -= 1
    led = any(m.table == "drugs" and m.last == at for m in sentence.mentions)
    apart = [token for token in sentence.tokens[index + 1 : drug.first] if token.norm not in links]
    other = sentence.tokens[index + 1].norm in ("for", "to", "into", "in", "at", "around") or any(
        m.first == index + 1 and m.table in _OTHER_MATTERS for m in sentence.mentions
    )  # "bupivacaine point five percent fourteen milligrams lithotomy cefuroxime one point five grams"
    return led and bool(apart) and other


_OTHER_MATTERS = frozenset({"positions", "procedures", "anaesthesia", "diagnoses", "complications", "tourniquet"})
