"""Sizes of the parts of a joint replacement and of ports as they are called out, bare and in a row: "insert twelve,
patella thirty two", "fifty four cup", "thirty two head plus four", "camera port twelve, ten in the flank". No unit is
said, and none is given: each is doubtful."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence
from pipeline.rows import Device

KINDS = ("device_size",)

_NEITHER = "taken as its size; neither size nor a unit was said"
_NO_UNIT = "its unit was not said"
_COST = 30
_BONES = frozenset({"femur", "tibia", "patella"})
# Where a part or a size is said of a thing that is only held against it, or that makes its bed.
_TOOLS = frozenset({"reamer", "reamers", "cutter", "clamp", "jig", "guide", "block", "retractor", "rasp", "broach",
                    "saw", "drill", "extractor", "impactor", "gauge", "sizer", "holder", "cut", "trial"})  # fmt: skip
_WORN = frozenset({"bipolar", "ceramic", "metal", "cobalt", "chrome", "press", "fit", "uncemented", "cemented", "poly",
                   "polyethylene", "highly", "crosslinked", "offset", "standard", "modular", "dual", "mobility",
                   "titanium", "cross", "linked", "neutral", "elevated", "rim", "fixed", "mobile", "bearing", "short",
                   "high", "femoral", "humeral", "acetabular", "glenoid", "tibial"})  # fmt: skip
_VALVES = frozenset({"prosthetic-valve", "mechanical-valve", "bioprosthetic-valve", "annuloplasty-ring"})
_TO = frozenset({"was", "is", "a", "of", "at", ":", "measured", "we", "used", "="})
_PORTS = frozenset({"port", "ports", "trocar", "trocars"})
_PORT_SIZES = frozenset({2, 3, 5, 8, 10, 11, 12, 15})  # mm; common practice, no source
_PLACE = 7  # words


class _Part:
    __slots__ = ("bone", "first", "last", "name", "text")

    def __init__(self, first: int, last: int, name: str | None, text: str | None) -> None:
        self.first, self.last, self.name, self.text = first, last, name, text
        self.bone = text is not None and text.lower() in _BONES


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        if not cues.numbers(sentence):
            continue
        parts = _parts(sentence, grammar)
        if parts:
            facts += _sizes(reading, sentence, parts)
        facts += _ports(reading, sentence)
    return facts


def _parts(sentence: Sentence, grammar: Grammar) -> list[_Part]:
    table = grammar.table("devices", Device)
    parts = [
        _Part(mention.first, mention.last, mention.id, None)
        for mention in base.mentions(sentence, "devices")
        if table[mention.id].group == "joint-prosthesis" or mention.id in _VALVES
    ]  # fmt: skip
    taken = {at for mention in sentence.mentions if mention.table in ("devices", "drugs", "drains")
             for at in range(mention.first, mention.last + 1)}  # fmt: skip
    for hit in cues.hits(sentence, grammar, "component"):
        if not taken & set(range(hit.first, hit.last + 1)):
            parts.append(_Part(hit.first, hit.last, None, cues.words(sentence, hit.first, hit.last)))
    parts = [part for part in parts if not any(
        token.norm in _TOOLS for token in sentence.tokens[part.last + 1 : part.last + 3]
    )]  # fmt: skip
    if not sentence.says({"size"}) and all(part.bone for part in parts):
        return []  # "femur, tibia": bones
    return sorted(parts, key=lambda part: part.first)


def _bare(sentence: Sentence, at: int) -> bool:
    quantity = sentence.tokens[at].quantity if 0 <= at < len(sentence.tokens) else None
    return (
        quantity is not None and quantity.form == "number" and not quantity.dimension and quantity.value is not None
    )


def _sizes(reading: Reading, sentence: Sentence, parts: list[_Part]) -> list[Fact]:
    """Before its part ("fifty four press fit cup") or behind it ("insert twelve"); a whole row is read one way."""
    before = {at: part for part in parts if (at := _ahead(sentence, part)) is not None}
    behind = {at: part for part in parts if (at := _behind(sentence, part, parts)) is not None}
    for at in sorted(set(before) & set(behind)):  # "cup fifty two liner thirty six": by how the row begins
        led = any(part is behind[at] for part in before.values())
        (behind if led else before).pop(at)
    facts: list[Fact] = []
    for at, part in {**before, **behind}.items():
        value = sentence.tokens[at].quantity
        if value is None or value.value is None or value.value <= 1:
            continue
        sized = at and sentence.tokens[at - 1].norm in ("size", "sized")
        facts.append(_claim(reading, sentence, at, part, _NO_UNIT if sized else _NEITHER))
        facts += _offset(reading, sentence, at, part)
    facts += [fact for part in parts for fact in _offset(reading, sentence, part.last, part)]
    return facts


def _ahead(sentence: Sentence, part: _Part) -> int | None:
    """The bare number before a part, over words that describe it and over an offset ("thirty two plus four head")."""
    tokens = sentence.tokens
    at = part.first - 1
    while at >= 0 and tokens[at].norm in _WORN and part.first - at <= 4:
        at -= 1
    if _bare(sentence, at) and at >= 2 and tokens[at - 1].norm in ("plus", "minus") and _bare(sentence, at - 2):
        at -= 2
    elif _bare(sentence, at) and (value := tokens[at].quantity) is not None and (value.value or 0) < 0:
        at -= 1
    if not _bare(sentence, at) or tokens[part.last].norm.endswith("s"):
        return None
    if part.bone and not _in_row(sentence, at, part):
        return None
    if at >= 2 and tokens[at - 1].norm in ("and", ",") and tokens[at - 2].quantity is not None:
        return None  # "two screws, twenty five and thirty liner thirty six": of what was said before
    return None if at and tokens[at - 1].norm in ("x", "by", "grade", "zone", "-", "/") else at


def _in_row(sentence: Sentence, at: int, part: _Part) -> bool:
    """Whether a number and a bone stand alone between commas ("size 5 femur, ..., 32 patella"): a part of the joint."""
    tokens = sentence.tokens
    after = tokens[part.last + 1] if part.last + 1 < len(tokens) else None
    before = tokens[at - 1].norm if at else ","
    return at == part.first - 1 and before in (",", ";", "and", ":") and (
        after is None or after.norm in (",", ";", ".", "and", "all", "button")
    )  # fmt: skip


def _behind(sentence: Sentence, part: _Part, parts: list[_Part]) -> int | None:
    tokens = sentence.tokens
    at = part.last + 1
    while at < len(tokens) and tokens[at].norm in _TO and at - part.last <= 2:
        at += 1
    if not _bare(sentence, at):
        return None
    following = tokens[at + 1] if at + 1 < len(tokens) else None
    if following is None or following.punctuation or any(other.first == at + 1 for other in parts):
        return at
    if (following.text[:1] in "+-" or following.text[:5] == "minus") and _bare(sentence, at + 1):
        return at  # "glenosphere 38 +4", "head 36 minus 3"
    if _bare(sentence, at + 1) and any(m.table == "devices" and 0 < m.first - at - 1 <= 3 for m in sentence.mentions):
        return at  # "cup fifty four two screws"
    return at if following.norm in _AFTER_SIZE else None


_AFTER_SIZE = frozenset({"constrained", "stabilised", "stabilized", "congruent", "cr", "ps", "poly", "std", "standard",
                         "plus", "minus", "with", "and", "cemented", "uncemented", "on", "lot", "serial"})


def _offset(reading: Reading, sentence: Sentence, at: int, part: _Part) -> list[Fact]:
    """ "Plus four", "minus three and a half": how much longer or shorter than its size a head or an insert is."""
    tokens = sentence.tokens
    plus = at + 1 if at + 1 < len(tokens) else at
    if plus <= part.first - 1 and tokens[at].quantity is not None and not _bare(sentence, plus):
        plus = at + 1
    if tokens[plus].norm == "plus" and _bare(sentence, plus + 1):
        said, index = "plus", plus + 1
    elif _bare(sentence, plus) and plus != at and (tokens[plus].text[:1] in "+-" or tokens[plus].text[:5] == "minus"):
        said, index = ("plus" if tokens[plus].text[:1] == "+" else "minus"), plus
    elif part.last > at and _bare(sentence, at) and part.last + 2 < len(tokens) and (
        tokens[part.last + 1].norm == "plus" and _bare(sentence, part.last + 2)
    ):  # fmt: skip
        said, index = "plus", part.last + 2  # "thirty two head plus four"
    else:
        return []
    return [_claim(reading, sentence, index, part, f"said as an offset ({said}); {_NO_UNIT}")]


def _claim(reading: Reading, sentence: Sentence, index: int, part: _Part, doubt: str) -> Fact:
    return base.claim(
        "device_size", reading, sentence, index, part.first, part.last, _COST, name=part.name, text=part.text,
        unit=None, role="implanted", group=f"d{base.group_of(sentence, part.first)}", doubts=(doubt,),
    )  # fmt: skip


def _ports(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Camera port twelve, ten in the flank, five subcostal": each is a port."""
    tokens = sentence.tokens
    facts: list[Fact] = []
    if not sentence.says(_PORTS):
        return []
    head = next(at for at, token in enumerate(tokens) if token.norm in _PORTS)
    before = None
    sized = False
    for index, quantity in base.quantities(sentence):
        if index < head:
            sized = quantity.unit == "mm"
            before = head if sized else None
            continue
        value = quantity.value
        if quantity.dimension or value is None or value not in _PORT_SIZES or quantity.form != "number":
            if quantity.unit == "mm" and value in _PORT_SIZES:
                before = index
                continue
            break
        between = tokens[(head if before is None else before) + 1 : index]
        parted = any(token.punctuation or token.norm == "and" or token.norm in _PLACES for token in between)
        beside = before is None and (
            not between or all(token.norm in _TO | {"size"} for token in between)
            or ([token.norm for token in between] == [","] and len(cues.listed(sentence, index)) > 1)
        )  # "four ports, ten, ten, five and five"
        if not beside and (before is None or not parted or len(between) > _PLACE):
            break
        if before is not None and not _placed(sentence, index):
            break
        facts.append(
            base.claim("device_size", reading, sentence, index, head, head, _COST, text=tokens[head].text, unit=None,
                       role="used", group=f"d{base.group_of(sentence, head)}", doubts=(_NO_UNIT,))
        )  # fmt: skip
        before = index
    return facts


def _placed(sentence: Sentence, index: int) -> bool:
    """Whether a place of the belly follows a number, and nothing that it could count."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 4]]
    if not after or sentence.tokens[index + 1].punctuation or (after[0] == "and" and after[1:2] == ["#number"]):
        return True  # "three ports: twelve, five and five."
    return (after[0] in ("in", "at", "on", "to") or bool(_PLACES & set(after[:2])))


_PLACES = frozenset(
    "umbilical umbilicus supraumbilical infraumbilical epigastric subxiphoid subcostal suprapubic left right lateral "
    "midline flank iliac fossa lumbar axillary palmer's midclavicular upper lower quadrant".split()
)
