"""Words around what was sent: what ends its name, what parts it from a verb, answers, and all before an arrow."""

from __future__ import annotations

from pipeline.records import Sentence

STOPS = frozenset(
    "the a an was were is are be been being and then to for from with by which that it we i this these sent submitted "
    "removed taken delivered passed off handed some all both one as they those them he she".split()
)
VESSELS = frozenset("pot pots jar jars container containers specimen specimens sample samples bag bags".split())
OTHER_WAY = frozenset(
    {"patient", "not", "no", "home", "previous", "prior", "recovery", "site", "follow", "radiograph", "had", "negative",
     "count", "counts"}
)  # fmt: skip


def parted(sentence: Sentence, verb: int, place: int) -> bool:
    """ "The wall was stripped and sent, fluid for cytology": what goes there is named behind the comma."""
    tokens = sentence.tokens
    comma = next((at for at in range(verb + 1, place) if tokens[at].norm in (",", ";")), None)
    return comma is not None and any(
        token.norm.isalpha() and token.norm not in STOPS for token in tokens[comma + 1 : place]
    )


def answered_no(sentence: Sentence, last: int) -> bool:
    """ "Disc fragments to histology: no.", "fluid for cytology not taken"."""
    return tuple(token.norm for token in sentence.tokens[last + 1 : last + 3]) in _NO_ANSWERS


_NO_ANSWERS = frozenset({(":", "no"), (":", "none"), (":", "nil"), ("not", "taken"), ("not", "sent"), ("not", "done"),
                         ("not", "needed"), ("not", "requested")})  # fmt: skip


def whole_part(sentence: Sentence, end: int) -> tuple[int, int] | None:
    """ "..., brushings x2 L hepatic stricture -> cytology": all that stands between the mark before and the arrow."""
    first = end
    while first > 0 and not sentence.tokens[first - 1].punctuation:
        first -= 1
    while first < end and (sentence.tokens[first].quantity is not None or sentence.tokens[first].norm in STOPS):
        first += 1
    named = any(token.norm.isalpha() and len(token.norm) > 2 for token in sentence.tokens[first : end + 1])
    return (first, end) if named else None


def joined_to(sentence: Sentence, no: int, first: int, last: int) -> bool:
    """ "No drain/specimen.", "no drain or specimens": denied with the thing before it."""
    between = [token.norm for token in sentence.tokens[no + 1 : first]]
    ends = last + 1 >= len(sentence.tokens) or sentence.tokens[last + 1].punctuation or (
        sentence.tokens[last + 1].norm in ("counts", "count", "complications", "blood")
    )
    joined = between[-1:] in (["/"], ["or"], ["nor"]) and set(between) <= _DENIED
    return ends and joined and sentence.tokens[no].norm == "no"


_DENIED = frozenset("/ or nor drain drains tourniquet implant implants hardware complication complications packing "
                    "comps comp biopsy biopsies cultures".split())  # fmt: skip
