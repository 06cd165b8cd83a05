"""Numbers that can only be of the part that is operated on: its cuff, its cut, its implants, what was measured of it.

Where a narration has one side of operation, such a number has it though only the title says so. What was measured of
another part, of a graft, of the table or of the whole patient has none.
"""

from __future__ import annotations

from collections.abc import Mapping, Set

from pipeline import donor_sides, laterality, sideshare
from pipeline.body_parts import limbs, related_sites
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Mention, Sentence
from pipeline.rows import Concept, Device
from pipeline.side_names import BREAKS
from pipeline.sidewords import Side

KINDS = frozenset(
    "tourniquet tourniquet_pressure tourniquet_time incision_length measurement grade device_size device_count "
    "duration".split()
)
_CUFF = frozenset({"tourniquet", "tourniquet_pressure", "tourniquet_time"})
_LENGTHS = frozenset({"mm", "cm", "mm2", "cm2", "deg"})
# How the patient lay, how one looked, what was taken elsewhere, and cuts in the middle: no measure of the part.
_LYING_WORDS = frozenset("table bed trendelenburg tilt tilted head arms pillow pad bolster collar".split())
_NOT_OF_IT = _LYING_WORDS | frozenset(
    "scope telescope lens camera bevel graft grafts donor harvest "
    "harvested autograft allograft pfannenstiel sternotomy laparotomy "
    "crest crests corticocancellous tricortical "
    "umbilical infraumbilical supraumbilical umbilicus".split()
)
# What is not of the operated part, and how many words from a number on it may be told.
_LYING = {"positions": 5, "anaesthesia": 5, "aftercare": 20}
# Grades of the patient, not of a part.
_OF_PATIENT = frozenset({"asa", "mallampati", "cormack-lehane", "ecog", "wfns"})
_NEAR = 12  # words from a number to the part that it may be of


def is_own(fact: Fact, sentence: Sentence, grammar: Grammar, operated: Set[str]) -> bool:
    """Whether a number is of the part that is operated on, or can only be. `operated`: the parts of the body that the
    operations are on. Pure."""
    if fact.kind in _CUFF:
        return fact.certainty == "affirmed"
    if fact.kind == "duration":
        return fact.name == "traction" and bool(limbs(operated, grammar))  # how long the operated limb was pulled
    if fact.kind in ("device_size", "device_count"):
        row = grammar.table("devices", Device).get(fact.name or "")
        return (row is not None or fact.name is None) and fact.role == "implanted" and (row is None or row.implant)
    if fact.kind in ("measurement", "grade") and (
        fact.name == "height" or (fact.name is None and not fact.body_site and (
            fact.kind == "grade" or fact.text is None))
    ):
        return False  # the height of a bottle, or what it is of was not understood
    at, _ = _span(fact, sentence)
    if fact.kind == "measurement" and (
        any(abs(m.first - at) <= _LYING.get(m.table, -1) for m in sentence.mentions)
        or (fact.unit not in _LENGTHS | _OF_NERVE and not is_angle(fact, grammar) and not (
            fact.unit in _SHARES and _has_part(sentence, at)
        ) and fact.name != "specimen-weight")
    ):
        return False
    if fact.kind == "grade" and fact.name in _OF_PATIENT:
        return False
    own = fact.kind == "measurement" and fact.name in _OWN_WORDS  # the "tilt" of a radius is none of the table
    apart = _NOT_OF_IT if fact.kind in ("measurement", "grade") else _NOT_OF_IT - _LYING_WORDS
    return (own or not _speaks_of_other(sentence, at, apart)) and lies_in(fact, sentence, grammar, operated)


_OWN_WORDS = frozenset({"radius-geometry"})


def is_angle(fact: Fact, grammar: Grammar) -> bool:
    """Whether a measurement is of a joint or a bone of a limb, in degrees, said or not ("flexion 90")."""
    row = grammar.tables["measures"].get(fact.name or "")
    return fact.unit in (None, "deg") and isinstance(row, Concept) and row.group == "angle" and row.id != "spine-angle"


def _has_part(sentence: Sentence, at: int) -> bool:
    """Whether what a share is of stands right before it: "glenoid loss 22 %", "seventy percent stenosis"."""
    return any(m.table in _PARTS and abs(m.last - at) <= _SHARE_OF for m in sentence.mentions)


_PARTS = frozenset({"sites", "diagnoses", "findings"})
_SHARES = frozenset({"%"})
_SHARE_OF = 3  # words


def speaks_of_other(sentence: Sentence, fact: Fact) -> bool:
    """Whether how one looked or what was taken elsewhere is told around what was given or taken."""
    return _speaks_of_other(sentence, _span(fact, sentence)[0], _NOT_OF_IT - _LYING_WORDS)


def _speaks_of_other(sentence: Sentence, at: int, apart: frozenset[str] = _NOT_OF_IT) -> bool:
    """Whether how the patient lay, how one looked or what was taken elsewhere is told around a token."""
    return sentence.says(apart) and any(
        token.norm in apart for token in sentence.tokens[max(0, at - _NEAR) : at + _NEAR]
    )


def of_subject(fact: Fact, sentence: Sentence, grammar: Grammar) -> Laterality | None:
    """The one side of a sentence, where its noun is what the number behind it is told of: "R RLN found, signal 720 uV",
    "left lobe first: nerve seen, signal 650 uV at the end". None where another part of the body is named between."""
    said = laterality.sides(sentence, grammar)
    if fact.kind not in TOLD or not said or (fact.unit not in _LENGTHS | _SIGNALS and fact.kind != "grade"):
        return None
    first, _ = _span(fact, sentence)
    beside = _right_before(sentence, said, fact)
    if beside is not None or len({side.value for side in said}) != 1 or said[0].value not in ("left", "right"):
        return beside
    if _speaks_of_other(sentence, first):
        return None
    before = [side for side in said if side.last < first]
    if not before or len(before) < len(said) or any(m.table in _APART for m in sentence.mentions):
        return None
    parts = [m for m in sentence.mentions if m.table == "sites" and before[-1].first <= m.first < first]
    sites = grammar.table("sites", Concept)
    led = [m for m in parts if m.first - before[-1].last <= _LED]
    other = [m for m in parts if m not in led and sites[m.id].group != "nerve" and not (
        led and _belong(sites, m, led[0], grammar)
    )]  # fmt: skip
    return before[-1].value if led and not other and sites[led[0].id].sided else None


def _right_before(sentence: Sentence, said: list[Side], fact: Fact) -> Laterality | None:
    """ "L cord 4 mm polyp", "left lobe nodule 8 mm": a side, a word or two, and the number."""
    number = next((at for at, token in enumerate(sentence.tokens) if token.quantity is not None
                   and fact.evidence.first <= token.first and token.last <= fact.evidence.last), None)  # fmt: skip
    near = [side for side in said if number is not None and 0 < number - side.last - 1 <= _WORDS]
    if not near or number is None:
        return None
    side, between = near[-1], sentence.tokens[near[-1].last + 1 : number]
    plain = all(token.norm.isalpha() and token.norm not in BREAKS and token.quantity is None for token in between)
    return side.value if plain and side.value in ("left", "right") else None


_WORDS = 3
TOLD = frozenset({"measurement", "grade", "incision_length"})
_OF_NERVE = frozenset({"uV"})
_SIGNALS = frozenset({"uV", "mV", "mA", "V", "mL", "g"})
_APART = frozenset({"positions", "anaesthesia", "aftercare", "handedness", "drugs", "fluids"})
_LED = 3  # words from a side to its noun


def _belong(sites: Mapping[str, Concept], one: Mention, other: Mention, grammar: Grammar) -> bool:
    return related_sites(sites[one.id], sites[other.id], grammar)


def lies_in(fact: Fact, sentence: Sentence, grammar: Grammar, operated: Set[str]) -> bool:
    """Whether the part of the body that a fact names, or the nearest one beside it, is operated on; what names none is
    of what the operation is on."""
    sites = grammar.table("sites", Concept)
    named = fact.body_site or _beside(fact, sentence, sites)
    if named is None:
        if any(m.table == "procedures" and is_look(m.id) for m in sentence.mentions):
            return False  # "cystoscopy: a 4 mm papilloma"
        if _is_of_one_organ(fact, sentence, grammar, sites):
            return False
        return not operated or any(
            place in _HALVED or (place in sites and sites[place].sided) for place in operated
        )
    return not _is_harvested(sentence, named) and is_of(named, grammar, operated)


def _is_of_one_organ(fact: Fact, sentence: Sentence, grammar: Grammar, sites: Mapping[str, Concept]) -> bool:
    """ "Cystoscopy and left ureteroscopy. Bladder tumour 2 cm": of an illness of what there is once."""
    first, last = _span(fact, sentence)
    for mention in sentence.mentions:
        if mention.table not in ("diagnoses", "findings"):
            continue
        row = grammar.tables.get(mention.table, {}).get(mention.id)
        near = mention.first <= last and mention.last >= first - 1
        if near and isinstance(row, Concept) and row.site in sites and not sites[row.site].sided:
            return row.site not in _HALVED
    return False


def is_look(name: str) -> bool:
    """Whether an operation by its name only looks at what there is once: "cystoscopy", "rigid-bronchoscopy"."""
    return name.endswith(("cystoscopy", "laryngoscopy", "bronchoscopy", "pharyngoscopy"))


def is_of(named: str, grammar: Grammar, operated: Set[str]) -> bool:
    """Whether a part of the body is one of those that are operated on, or lies in one."""
    sites = grammar.table("sites", Concept)
    row = sites.get(named)
    if row is None or (named in operated and named in _HALVED):
        return row is not None
    if row.group in _TISSUES and not row.sided:
        return True  # "cartilage", "wound": of the part that it is in
    return row.sided and any(
        place in sites and related_sites(row, sites[place], grammar) for place in operated
    )


# There is one, and an operation with a side is on one half of it.
_HALVED = frozenset({"neck", "chest", "scrotum", "thyroid"})
_TISSUES = frozenset({"skin-layer", "muscle-tendon-ligament", "bone"})


def _beside(fact: Fact, sentence: Sentence, sites: Mapping[str, Concept]) -> str | None:
    """The nearest part of the body in the sentence."""
    first, last = _span(fact, sentence)
    near = [(max(m.first - last, first - m.last, 0), m.first, m.id) for m in sentence.mentions
            if m.table == "sites" and not sideshare.aches(sentence, m) and not (
                sentence.tokens[m.last + 1 : m.last + 2] and sentence.tokens[m.last + 1].norm.startswith("monitor")
            )]  # fmt: skip
    gap, _, ident = min(near, default=(_NEAR, 0, None))
    return ident if gap < _NEAR else None


def is_beside_another(fact: Fact, sentence: Sentence, grammar: Grammar) -> bool:
    """ "Right hip: 5 mL of concentrate, 5 mL of lidocaine at the elbow before": whether the part of the body beside a
    fact is no part of the one that its sentence begins with."""
    sites = grammar.table("sites", Concept)
    beside = _beside(fact, sentence, sites)
    head = next((m for m in sentence.mentions if m.table == "sites"), None)
    if beside is None or head is None or not (sites[beside].sided and sites[head.id].sided):
        return False
    return not related_sites(sites[beside], sites[head.id], grammar)


def _is_harvested(sentence: Sentence, ident: str) -> bool:
    return any(m.table == "sites" and m.id == ident and donor_sides.is_harvest(sentence, m) for m in sentence.mentions)


def _span(fact: Fact, sentence: Sentence) -> tuple[int, int]:
    at = [index for index, token in enumerate(sentence.tokens)
          if fact.evidence.first <= token.first and token.last <= fact.evidence.last]  # fmt: skip
    return (at[0], at[-1]) if at else (0, 0)
