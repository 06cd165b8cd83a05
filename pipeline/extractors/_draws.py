"""What both readers of a marrow harvest know: whose side a number is, which draw it is of."""

from __future__ import annotations

from pipeline import cues, donor_sides, laterality, sidewise
from pipeline.extractors import _amount_words, _beside_amount, base
from pipeline.grammar import Grammar
from pipeline.records import Laterality, Quantity, Reading, Scale, Sentence, Token

_ORDINALS = {
    1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh", 8: "eighth", 9: "ninth",
    10: "tenth", 11: "eleventh", 12: "twelfth",
}  # fmt: skip
_ORDINAL_REACH = 70
_SHORT = 30  # tokens; in a longer stretch a side may be of anything


def side_at(sentence: Sentence, grammar: Grammar, index: int) -> Laterality | None:
    """The side that the number was said with, else that of the harvest site said last before it, or of the only one of
    the sentence."""
    own = crest_side(sentence, grammar, index) or sidewise.side_of(sentence, index, grammar)
    if own is not None:
        return own
    sites = [site for site in base.mentions(sentence, "sites") if donor_sides.is_harvest(sentence, site)]
    before = [site for site in sites if site.first < index] or (sites if len(sites) == 1 else [])
    if not sites and len(sentence.tokens) <= _SHORT and not any(True for _ in base.mentions(sentence, "sites")):
        said = {one.value for one in laterality.sides(sentence, grammar)}
        if len(said) == 1:  # "on the right six draws", after the crests were named
            return next(iter(said))
    if not before:  # "left crest, ten draws"
        crests = [hit for hit in cues.hits(sentence, grammar, "marrow") if hit.first < index]
        if not crests:
            return None
        return laterality.side_for(sentence, crests[-1].first, crests[-1].last, grammar, own_only=True)[0]
    return laterality.side_for(sentence, before[-1].first, before[-1].last, grammar, own_only=True)[0]


def is_part(sentence: Sentence, index: int) -> bool:
    """ "A third of a millilitre": a part of the number, which no entry can hold."""
    before = sentence.tokens[max(0, index - 2) : index]
    quantity = before[0].quantity if len(before) == 2 else None
    return quantity is not None and quantity.form == "ordinal" and before[1].norm == "of"


def both_told(sentence: Sentence, index: int) -> bool:
    """Whether left and right were said before a number, so that a total may be of both."""
    return {"left", "right"} <= {token.norm for token in sentence.tokens[:index]}


def sums_both(reading: Reading, sentence: Sentence, index: int) -> bool:
    """ "... twelve on the left then the right crest four draws of three so twenty four in all": a sum of all, where
    both crests were told in this sentence or before it."""
    bracket = [token.norm for token in sentence.tokens[index + 1 : index + 10]]
    if both_told(sentence, index) or (bracket[:1] == ["("] and bool({"left", "l"} & set(bracket)) and (
        bool({"right", "r"} & set(bracket))
    )):  # fmt: skip
        return True  # "total 60 mL (R 30, L 30)"
    near = [token.norm for token in sentence.tokens[max(0, index - 3) : index + 4]]
    if not _ALL & set(near) or {"left", "right"} & set(near[3:]):
        return False
    told: set[str] = set()
    for one in reading.sentences:
        last = index if one is sentence else len(one.tokens)
        for mention in base.mentions(one, "sites") if one.says(_amount_words.CRESTS) else ():
            if "iliac-crest" in mention.id and mention.first < last:
                told |= {token.norm for token in one.tokens[max(0, mention.first - 2) : mention.first]}
        told |= {one.tokens[at - 1].norm for at in range(1, last) if one.tokens[at].norm in _amount_words.CRESTS}
        if one is sentence:
            break
    return {"left", "right"} <= told


_ALL = frozenset({"all", "altogether", "total", "together", "overall"})


def crest_side(sentence: Sentence, grammar: Grammar, index: int) -> Laterality | None:
    """ "Left crest four pulls of ten, right crest three": the side of the crest that leads to a number, unless a side
    is said of the number itself ("thirty from the right")."""
    tokens = sentence.tokens
    for token in tokens[index + 1 : index + 5]:
        if token.punctuation or token.quantity is not None:
            break
        if token.norm in ("from", "on", "at"):
            return None
    crests = [(hit.first, hit.last) for hit in cues.hits(sentence, grammar, "marrow")
              if tokens[hit.last].norm in _amount_words.CRESTS and hit.last < index]  # fmt: skip
    if not crests:
        return None
    first, last = crests[-1]
    if any(token.norm in ("left", "right", "both", "other", ".", ";") for token in tokens[last + 1 : index]):
        return None
    for at in range(first - 1, max(-1, first - 4), -1):
        if tokens[at].norm in ("left", "right"):
            return "left" if tokens[at].norm == "left" else "right"
        if tokens[at].norm not in _OF_CREST:
            break
    return None


_OF_CREST = frozenset({"iliac", "posterior", "anterior", "superior", "bone", "the"})


def ordinal(sentence: Sentence, index: int) -> tuple[str, int, int] | None:
    """(name, token, cost) of the ordinal that stands before the number with no other number between."""
    for at in range(index - 1, max(-1, index - 12), -1):
        quantity = sentence.tokens[at].quantity
        if sentence.tokens[at].norm == "one" and sentence.tokens[at - 1].norm in _NUMBERED:
            return _ORDINALS[1], at, cues.gap(sentence, at, index)
        if quantity is None or quantity.dimension in ("length", "turns"):
            continue  # "first draw, one centimetre below the cortex, five millilitres"
        if is_label(sentence, at, quantity):
            return _ORDINALS[int(quantity.value or 0)], at, cues.gap(sentence, at, index)
        if quantity.form != "ordinal" or quantity.value is None or quantity.value != int(quantity.value):
            return None
        if sentence.tokens[at + 1].norm == "of" and at + 1 < index:
            return None  # "a third of a millilitre"
        named = at + 1 < index and sentence.tokens[at + 1].norm in _NUMBERED | {"pass", "syringe"}
        if at and sentence.tokens[at - 1].norm in ("side", "left", "right", "crest") and not named:
            return None  # "left side first: sixty millilitres" numbers the sides
        price = cues.gap(sentence, at, index)
        name = _ORDINALS.get(int(quantity.value))
        return (name, at, price) if name is not None and price <= _ORDINAL_REACH else None
    return None


def nth(number: int) -> str | None:
    """The name of a draw by its number."""
    return _ORDINALS.get(number)


def name_of(token: Token) -> str | None:
    """The name of a draw that an ordinal gives."""
    value = token.quantity.value if token.quantity is not None else None
    return _ORDINALS.get(int(value)) if value is not None and value == int(value) else None


def is_label(sentence: Sentence, at: int, quantity: Quantity) -> bool:
    """ "Draw one, five millilitres; draw two, five": the number that names a draw."""
    bare = quantity.form in ("number", "label") and not quantity.dimension and quantity.value in _ORDINALS
    behind = sentence.tokens[at + 1 : at + 4]
    number = next((token for token in behind if not token.punctuation and token.norm not in _IS), None)
    led = at > 0 and sentence.tokens[at - 1].norm in _NUMBERED
    return bare and led and number is not None and number.quantity is not None and number.quantity.form != "ordinal"


_IS = frozenset("is was that gives gave only yields just".split())
_NUMBERED = frozenset({"draw", "aspirate", "pull", "aspiration", "sample"})


def is_concentrate(sentence: Sentence, index: int) -> bool:
    """ "Eight millilitres of concentrate": what was made of the marrow, and no draw of it."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 4] if token.norm not in ("of", "the")]
    return behind[:1] == ["concentrate"] or _yielded(sentence, index)


def holds_agent(sentence: Sentence, index: int) -> bool:
    """ "Sixty with the six mils of ACD in it", "60 mL including citrate": a whole that holds the anticoagulant."""
    tokens = sentence.tokens
    at = index + 1
    if at >= len(tokens) or tokens[at].norm not in _HOLDING:
        return False
    surely = tokens[at].norm != "with" or (at + 1 < len(tokens) and tokens[at + 1].norm in ("the", "those", "its"))
    part = next((one for one in range(at + 1, min(at + 3, len(tokens))) if tokens[one].quantity is not None), None)
    if part is None and surely and any(0 < m.first - at <= 2 for m in base.mentions(sentence, "drugs")):
        return True  # "a hundred and twenty with the citrate"
    if part is None or tokens[part].norm not in ("#volume", "#number"):
        return False
    drug = any(0 < m.first - part <= 2 for m in base.mentions(sentence, "drugs"))
    inside = {token.norm for token in tokens[part + 1 : part + 7]} & {"in", "included", "inside"}
    return drug and (surely or bool(inside))


_HOLDING = frozenset({"with", "including", "incl", "inclusive", "counting"})
WITH_AGENT, AS_SPUN = "with the anticoagulant", "as spun"


def at_each(sentence: Sentence, index: int) -> Scale | None:
    """ "Three places and at each three pulls": so many at every place, not in all."""
    return "each" if index and sentence.tokens[index - 1].norm in ("each", "every") else None


def _yielded(sentence: Sentence, index: int) -> bool:
    """ "Spun twelve minutes, it yielded four and a half millilitres", "it was spun and six millilitres were obtained".
    """
    tokens = sentence.tokens
    before = [token.norm for token in tokens[max(0, index - _SPUN_BACK) : index]]
    if _MACHINES & set(before[-4:]) and _BACK & set(before[-3:]):
        return True  # "the kit gave me seven millilitres"
    if before[-1:] == ["back"] and _HANDS & set(before[-4:-1]):
        return True  # "it went to the lab, they gave me back twelve"
    behind = [token.norm for token in tokens[index + 1 : index + 3]]
    if not _SPUN & set(before) or behind[:1] == ["from"]:
        return False
    if _YIELDS & set(before[-2:]) and before[-1] not in (",", ";"):
        return True
    return behind[:1] in (["were"], ["was"]) and bool(_YIELDS & set(behind[1:]))


_SPUN_BACK = 8
_HANDS = frozenset("gave give gives handed hands hand got get gets passed sent".split())
_MACHINES = frozenset("kit machine centrifuge system device".split())
_SPUN = frozenset({"spun", "centrifuged", "spin"})
_YIELDS = frozenset("yielded yielding obtained gained recovered".split())


def got_back(sentence: Sentence, index: int) -> bool:
    """ "The machine gave me back eight millilitres of concentrate"."""
    said = tuple(token.norm for token in sentence.tokens[max(0, index - 4) : index])
    numbered = next((at for at in range(len(said) - 1, -1, -1) if said[at] in ("#volume", "#number")), -1)
    if numbered >= 0:  # "got five millilitres back, four millilitres of the concentrate": of the five
        said = said[numbered + 1 + (said[numbered + 1 : numbered + 2] == ("back",)) :]
    before = set(_beside_amount.but_side(sentence, index, said))
    return _yielded(sentence, index) or (is_concentrate(sentence, index) and bool(before & _BACK))


_BACK = frozenset({"back", "gave", "yielded", "got", "obtained", "made", "left"})


def _are_counted(sentence: Sentence, grammar: Grammar, last: int) -> bool:
    """Whether a word for draws ends at a token with a number above one before it: "five draws"."""
    noun = next((hit for hit in cues.hits(sentence, grammar, "draw-noun") if hit.last == last and hit.first), None)
    count = sentence.tokens[noun.first - 1].quantity if noun is not None else None
    return count is not None and not count.dimension and count.form == "number" and (count.value or 0) > 1


def behind_count(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "Eleven draws, fifty five millilitres": the draws together, where no further amount follows."""
    tokens = sentence.tokens
    if index < 3 or tokens[index - 1].norm not in (",", ":", "=") or cues.scale(sentence, index) is not None:
        return False
    alone = not any(at > index for at, _ in base.quantities(sentence, "volume", ""))
    return alone and _are_counted(sentence, grammar, index - 2)


def is_product(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "Nine pulls of ten ninety altogether": right behind so many draws of so much, what they come to."""
    tokens = sentence.tokens
    at = index - 1 - (index > 0 and tokens[index - 1].norm in (",", "so", "makes", "="))
    own, each = tokens[index].quantity, tokens[at].quantity if at > 2 else None
    if own is None or each is None or tokens[at - 1].norm not in ("of", "at") or own.value is None:
        return False
    count = tokens[at - 3].quantity
    return count is not None and _are_counted(sentence, grammar, at - 2) and (
        (count.value or 0) * (each.value or 0) == own.value
    )


def count_behind(sentence: Sentence, index: int) -> bool:
    """ "Draws 5 mL x 6": whether so many of the volume at `index` are told behind it."""
    behind = sentence.tokens[index + 1 : index + 4]
    if len(behind) < 2 or behind[0].norm not in ("x", "\u00d7") or behind[1].quantity is None:
        return False
    if sentence.tokens[index].norm != "#volume":
        return False  # "advanced 5 mm x3"
    count = behind[1].quantity
    own = len(behind) > 2 and behind[2].norm in _amount_words.VESSELS
    return count.form == "number" and not count.dimension and not own


def _is_each(sentence: Sentence, index: int) -> bool:
    """ "Six times three": a bare number behind "times" that is so much of each, and no sum ("five, four times, twenty")
    """
    tokens = sentence.tokens
    each, led = tokens[index].quantity, tokens[index - 3].quantity if index > 2 else None
    after = tokens[index + 1].norm if index + 1 < len(tokens) else "."
    return each is not None and not each.dimension and each.form == "number" and led is None and (
        after not in ("in", "total", "altogether", "together")
    )


def times(sentence: Sentence, index: int) -> bool:
    """ "2 x 30 mL": the volume of each of so many draws."""
    around = sentence.tokens[max(0, index - 2) : index + 1]
    # "12 draws x 5 mL"
    if len(around) == 3 and index > 2 and around[1].norm in ("x", "\u00d7") and around[0].norm in _COUNTED:
        around = (sentence.tokens[index - 3], *around[1:])
    if len(around) < 3 or around[1].norm not in ("x", "\u00d7", "times"):
        return False
    count, each = around[0].quantity, around[2].quantity
    if count is None or each is None:
        return False
    spoken = around[1].norm == "times"
    said = _is_each(sentence, index) if spoken else each.dimension == "volume"
    return count.form == "number" and not count.dimension and said  # "six times three"


_COUNTED = frozenset({"draws", "pulls", "passes", "aspirates", "syringes"})
