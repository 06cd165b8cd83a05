"""What a length beside a device may be other than its size."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.records import Quantity, Sentence, Token

FEW = 12  # recognisers drop the plural of small counts ("three screw")
NEEDLES = ("needle", "trocar", "cannula")
NOT_BETWEEN = frozenset(
    "he she it we i they was were is are had has have the a an of in at to from with for by on and or left right "
    "that this then which who used using as way lumen prong ply hole holes port layer layers row rows through each "
    "per into across every".split()
)

CHAIN = frozenset(
    ("was", "were", "is", "are", "placed", "inserted", "used", "implanted", "put", "seated", "measuring", "sizes",
     "size", "lengths", ",", "and", "x", "\u00d7", "by", "long", "in", "diameter", "length", "(", ")", "each", ";", ":",
     "of", "side", "per", "left", "right")
)


def is_decimal(token: Token) -> bool:
    """Whether a number was said or written with a point ("four point oh", "4.0"), or with a sign ("+0 head"): no count.
    """
    return "." in token.text or token.text[:1] == "+" or "point" in token.text.lower().split()


def before_count(sentence: Sentence, index: int, first: int) -> bool:
    """Whether a whole number that counts the thing stands right behind a length, so that the length is no size."""
    at = index + 1 + (sentence.tokens[index + 1].norm in (",", "and", "with")) if index + 1 < first else first
    if at >= first:
        return False
    following = sentence.tokens[at].quantity
    return (
        following is not None and following.form == "number" and not following.dimension
        and following.value is not None and following.value == int(following.value) and following.value <= FEW
    )


_GONE = frozenset({"went", "goes", "advanced", "inserted", "passed", "pushed", "introduced", "driven"})
_HOW_FAR = frozenset({"in", "deep", "deeper", "further", "back", "down", "beyond"})


def went_in(sentence: Sentence, index: int, last: int, said: str) -> bool:
    """ "The needle went three centimetres in": how far, not how long it is. Not "10 mm in the flank"."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 3]]
    between = {token.norm for token in sentence.tokens[last + 1 : index]}
    needle = any(word in said for word in NEEDLES)
    placed = after[:1] == ["in"] and after[1:] and after[1] in ("the", "each", "a", "his", "her", "left", "right")
    at = index - 1
    at -= at > last and sentence.tokens[at].norm in ("to", "by", "about", "of")
    moved = at > last and sentence.tokens[at].norm in _GONE  # "needle 15 gauge, inserted 2 cm"
    far = bool(between & _GONE) and bool(set(after[:1]) & _HOW_FAR) and not placed
    return needle and last < index and (far or moved)


_STAYED = frozenset({"left", "remain", "remains", "remained", "retained"})
_WAYS = frozenset("tract track hole opening pocket tunnel channel pass needle incision path".split())


def of_a_way(sentence: Sentence, index: int, thing: tuple[int, int], said: str) -> bool:
    """Whether a size is of the way that a thing takes ("the tube went through the 23 gauge tract"), or tells how much
    of it is seen ("2 mm of tube")."""
    first, last = thing
    tokens = sentence.tokens
    after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
    if index > 1 and tokens[index - 1].norm == "by" and tokens[index - 2].quantity is None:
        return True  # "short by 4 mm"
    if any(token.norm in ("with", "using", "over", "via") for token in tokens[index + 1 : first]):
        return True  # "a tear of 1 cm closed with a clip"
    if after == "too" or is_of_noun_before(sentence, index, first) or _named_apart(tokens, last, index):
        return True  # "the screw was 5 mm too long"
    own = tokens[first - 1].quantity if first else None
    if last < index and tokens[index - 1].norm == "to" and own is not None and own.dimension == "length":
        return True  # "shaved with a three millimetre burr to two millimetres": how far it was taken
    if last < index and tokens[index - 1].norm in ("pressure", "pressures"):
        return True  # "five anchors total pressure fifty millimetres"
    if first > index and tokens[first - 1].norm in ("cold", "hot"):
        return True  # "polyps three and four millimetres, cold snare"
    if last < index and (after in _WAYS or after in _STAYED):
        return True  # "the drill bit broke, two millimetres left in the bone"
    part = after == "of" and first > index and first - index <= 3
    return part and any(word in said for word in ("tube", "catheter", "wire", "stent", "cannula", "sheath"))


def is_parted(sentence: Sentence, index: int, first: int) -> bool:
    """ "Left open in the lower 8 cm, clips above": a mark parts the size from a thing right behind it."""
    return first == index + 2 and sentence.tokens[index + 1].norm in (",", ";")


def leads_on(sentence: Sentence, index: int) -> bool:
    """ "Guide wires for the insertion of a 16 mm screw": the size is of what stands behind it."""
    led = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    return led in (["of", "a"], ["of", "an"])


def stands_before(sentence: Sentence, index: int, first: int, last: int) -> bool:
    """ "Femur size 5 w/ 5 mm distal augment": whether a size stands right before a thing, and the thing that ends
    before it has a number of its own already; or "of a" leads on from it."""
    if leads_on(sentence, index):
        return True
    between = sentence.tokens[index + 1 : first]
    own = any(token.quantity is not None for token in sentence.tokens[last + 1 : index])
    return own and last < index < first and len(between) <= 2 and all(
        token.norm.isalpha() and token.quantity is None and token.norm not in NOT_BETWEEN for token in between
    )


def is_of_deed(sentence: Sentence, index: int, first: int) -> bool:
    """ "Sphincterotomy 10 mm, balloon to 12 mm": a size right behind what was done or seen, and a mark behind it; "burr
    five millimetres of bone off", "tibia two millimetres freshened up": what was taken off."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    if first < index and (after[:1] == ["of"] and bool(_TISSUE & set(after[1:2])) or (
        sentence.tokens[first].norm in _BONES and bool(_CUT & set(after[:2]))
    )):  # fmt: skip
        return True
    return is_parted(sentence, index, first) and any(
        mention.last == index - 1 and mention.table in _DONE for mention in sentence.mentions
    )


_TISSUE = frozenset("bone cartilage tissue acromion spur osteophyte meniscus rim cortex".split())
_BONES = frozenset("femur tibia patella glenoid acetabulum".split())
_CUT = frozenset("freshened cut recut resected taken shaved milled off trimmed removed".split())
_DONE = ("procedures", "acts", "findings", "diagnoses", "sites")


def is_of_noun_before(sentence: Sentence, index: int, first: int) -> bool:
    """ "A stalk of one centimetre loop placed": a size behind "of" is of the noun before it, and not of the thing
    behind; not "placement of 5 mm ports", "a total of 6 cm"."""
    tokens = sentence.tokens
    if first < index or index < 2 or tokens[index - 1].norm != "of":
        return False
    noun = tokens[index - 2].norm
    return noun.isalpha() and noun not in _OF_THINGS and not noun.endswith(("ion", "ment", "ing", "al", "age"))


_OF_THINGS = frozenset("total use size set pair one number couple made out type combination series row course all some "
                       "lot each piece pieces end ends tip loss".split())  # fmt: skip


def _named_apart(tokens: Sequence[Token], last: int, index: int) -> bool:
    """ "Cystoscope: prostate 5 cm", "trephine, spout 1 cm": behind a mark the number has a name of its own."""
    between = [token.norm for token in tokens[last + 1 : index]] if last < index else []
    if between[:1] == [","] and len(between) == 2:  # "35 mm trephine, spout 1 cm"
        return between[1].isalpha() and len(between[1]) > 3 and between[1] not in CHAIN | NOT_BETWEEN | _PLACED
    if between[:1] != [":"] or len(between) < 2 or len(between) > 5:
        return False
    own = between[1:]
    return own[-1].isalpha() and own[-1] not in CHAIN | NOT_BETWEEN | _PLACED and "," not in own


_PLACED = frozenset("size sizes sized umbilical epigastric flank midline suprapubic subcostal proximal distal medial "
                    "lateral upper lower french fr gauge type model standard long short cortical locking".split())


_EXTENTS = frozenset("size sizes width thickness height depth caliber calibre total pitch offset diameters one two "
                     "three four each bore gauge".split())  # fmt: skip


def of_a_noun(sentence: Sentence, index: int, last: int) -> bool:
    """Whether "and a" parts a size from the thing before it, and a noun of its own follows the size; or a noun with
    "of" leads to it ("shaver, stable rim of six millimetres")."""
    lead = [token.norm for token in sentence.tokens[last + 1 : index]]
    if len(lead) > 1 and lead[-1] == "of" and lead[-2].isalpha() and lead[-2] not in CHAIN | NOT_BETWEEN | _EXTENTS:
        return True
    before = [token.norm for token in sentence.tokens[max(last + 1, index - 2) : index]]
    after = sentence.tokens[index + 1 : index + 2]
    return (
        before[-1:] in (["a"], ["an"], ["one"]) and before[:1] in (["and"], [","], ["with"])
        and bool(after) and after[0].norm.isalpha() and len(after[0].norm) > 2
        and after[0].norm not in NOT_BETWEEN and after[0].norm not in CHAIN
    )  # fmt: skip


PORTS = ("port", "trocar")
AIRWAYS = ("lumen", "endotracheal", "ett", "tracheal tube")  # "double lumen tube, left sided": its make
_PORT_SIZES = ("2", "3", "5", "8", "10", "11", "12", "15")  # mm; common practice, no source


def run_together(quantity: Quantity, said: str) -> str:
    """The doubt of "35 mm ports": recognisers write three ports of 5 mm so; no port is so wide."""
    value = f"{quantity.value}"
    if quantity.unit != "mm" or not any(word in said for word in PORTS) or not value.isdigit() or len(value) < 2:
        return ""
    count, size = value[0], value[1:]
    if value in _PORT_SIZES or size not in _PORT_SIZES or int(count) < 2:
        return ""
    return f"read as {value} mm; it could be {count} of {size} mm"


def has_its_own_behind(sentence: Sentence, index: int, first: int, last: int) -> bool:
    """Whether a comma stands between the number at `index` and a thing that has a number of its own behind it; or the
    number closes what is told of a graft ("graft doubled six millimetres anchors two three point five")."""
    parted = any(token.norm in (",", ";") for token in sentence.tokens[index + 1 : first])
    grafted = any(token.norm == "graft" for token in sentence.tokens[max(0, index - 3) : index])
    parted = parted or (first == index + 1 and (grafted or _is_headed(sentence, index)))
    behind = sentence.tokens[last + 1 : last + 3]
    return parted and any(token.quantity is not None for token in behind[: 2 - bool(behind and behind[0].punctuation)])


def _is_headed(sentence: Sentence, index: int) -> bool:
    """ "Radial head replacement size twenty two stem seven": the size is of what was told before it."""
    tokens = sentence.tokens
    named = any(mention.table == "devices" and mention.last == index - 2 for mention in sentence.mentions)
    led = index > 1 and tokens[index - 1].norm in ("size", "sized") and tokens[index - 2].norm not in ("a", "the", ",")
    return led and not named


def elliptic(sentence: Sentence, index: int, first: int, dimension: str) -> bool:
    """ "One 11 mm and three 5 mm ports", "a 16 mm and an 18 mm threaded screw": the first size is of it too."""
    between = sentence.tokens[index + 1 : first]
    sizes = [at for at, token in enumerate(between)
             if token.quantity is not None and token.quantity.dimension == dimension]  # fmt: skip
    return bool(sizes) and len(between) <= 7 and all(
        token.quantity is not None or token.norm in _LISTING or (at > sizes[-1] and token.norm not in NOT_BETWEEN)
        for at, token in enumerate(between)
    )


_LISTING = frozenset({"and", ",", "or", "then", "a", "an"})


def says_size(sentence: Sentence, index: int, first: int = -1) -> bool:
    """Whether "size" leads to a number."""
    if any(token.quantity is not None for token in sentence.tokens[index + 1 : max(index + 1, first)]):
        return False  # "block size four three degrees outward tibia": `first`, what it would be of
    before = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    said = bool(before) and (before[-1] in ("size", "sized", "number", "no") or before[-2:] in (["size", "a"],))
    return said and not (_is_headed(sentence, index) and _numbered_behind(sentence, index + 1))


def _numbered_behind(sentence: Sentence, at: int) -> bool:
    """ "Stem seven height ten": a thing with its own bare number right behind it."""
    tokens = sentence.tokens
    if at + 1 >= len(tokens) or tokens[at].punctuation or tokens[at + 1].quantity is None:
        return False
    after = tokens[at + 2] if at + 2 < len(tokens) else None
    return after is None or after.punctuation or after.norm in ("height", "length", "offset", "neck", "diameter")


def chained(sentence: Sentence, last: int, index: int) -> bool:
    """Whether only sizes and joining words stand between a device and the number ("screws 6.5 mm, 85 and 70 mm")."""
    return last < index and all(
        token.quantity is not None or token.norm in CHAIN for token in sentence.tokens[last + 1 : index]
    )


def of_another(sentence: Sentence, index: int, last: int) -> bool:
    """Whether the thing was denied before the number, or an operation stands right before it ("four anchors in all
    acromioplasty six millimetres"), or a semicolon parts the two."""
    between = sentence.tokens[last + 1 : index]
    return any(token.norm in ("not", "unused", "never", ";") for token in between) or any(
        m.table == "procedures" and m.first > last and m.last == index - 1 for m in sentence.mentions
    )
