"""The side of an operation that is said apart from its name.

"Knee arthroscopy. Right side." "... and all this was the left hip, the right one was not touched." "Total hip
replacement. The left hip was approached from behind." Nothing is given where two sides may be meant: what was not
done, looked at for comparison, taken for a graft, done before or planned says nothing of the side of the operation.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from pipeline import abandoned, clauses, donor_sides, laterality, sideshare
from pipeline.body_parts import chain, related_sites
from pipeline.extractors.base import scope_at
from pipeline.grammar import Grammar
from pipeline.laterality import Side
from pipeline.records import Fact, Laterality, Mention, Reading, Sentence
from pipeline.rows import Concept
from pipeline.standing import heading, is_left_alone, is_of_a_year, is_other, is_remark

_DIAGNOSES = frozenset({"preop_diagnosis", "postop_diagnosis", "diagnosis", "indication", "site_marking", "time_out"})
_OPEN = "a side was said, and not with the operation: left and right are both spoken of"


def state(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, operations without a side with the one that is said for them. Pure; order kept."""
    if not any(_is_open(fact, grammar) for fact in facts):
        return list(facts)
    said = _said(reading, grammar)
    return [_given(fact, facts, said, reading, grammar) if _is_open(fact, grammar) else fact for fact in facts]


@dataclass(frozen=True, slots=True)
class _Said:
    """A side said of something: of a part of the body (`site`), of the operation as a whole (`whole`), or alone in the
    sentence at `fragment`."""

    value: Laterality
    site: str = ""
    whole: bool = False
    fragment: int | None = None


def _given(fact: Fact, facts: Sequence[Fact], said: list[_Said], reading: Reading, grammar: Grammar) -> Fact:
    place = _place(fact, grammar)
    behind = _sentence_of(reading, fact) + 1
    fragments = {one.value for one in said if one.fragment is not None}
    alone = {one.value for one in said} == fragments and not any(other.laterality for other in facts)
    if len(fragments) == 1 and (alone or any(one.fragment == behind for one in said)):
        return replace(fact, laterality=next(iter(fragments)))
    whole = {one.value for one in said if one.whole and (not one.site or _is_same(one.site, place, grammar))}
    if len(whole) == 1:
        return replace(fact, laterality=next(iter(whole)))
    only = _only(fact, facts, grammar)
    if only is not None:
        return replace(fact, laterality=only)
    if not place:
        return fact
    bound = {one.value for one in said if one.site and not one.whole and _is_same(one.site, place, grammar)}
    bound |= {
        other.laterality for other in facts
        if other.kind in _DIAGNOSES and other.laterality and _counts(other) and _is_same(
            _place(other, grammar), place, grammar
        )
    }  # fmt: skip
    done = (other for other in facts if other.kind == "procedure" and _counts(other))
    operated = {other.laterality for other in done} - {None}
    if len(bound) == 1 and "bilateral" not in bound and operated <= bound:
        return replace(fact, laterality=next(iter(bound)))
    if {"left", "right"} <= bound and not operated:
        return replace(fact, doubts=(*fact.doubts, _OPEN))
    return fact


# How one got there and what was put in: on the side of the operation.
_WORK = frozenset("approach preparation tourniquet tourniquet_pressure site_marking injection device".split())


def _only(operation: Fact, facts: Sequence[Fact], grammar: Grammar) -> Laterality | None:
    """The side of the work, where every side of the note is that one ("carotid endarterectomy. Left neck incision"), or
    that of its illness ("parotid tumour, right. Superficial parotidectomy")."""
    sided = [fact for fact in facts if fact.laterality is not None]
    sides = {fact.laterality for fact in sided}
    worked = any((fact.kind in _WORK and _counts(fact)) or _is_its_illness(fact, operation, grammar) for fact in sided)
    return sided[0].laterality if worked and sides <= {"left"} or worked and sides <= {"right"} else None


def _is_its_illness(fact: Fact, operation: Fact, grammar: Grammar) -> bool:
    """Whether a diagnosis is of the field of an operation. What it brings about on the other side is none."""
    if fact.kind not in _ILLNESSES or not _counts(fact) or fact.certainty == "negated" or fact.name in _CROSSED:
        return False
    if fact.name is None and fact.kind != "finding":
        return not _COMPLAINT.search(fact.text or "")  # "Dx: L Dupuytren"
    row = grammar.table("diagnoses", Concept).get(fact.name or "")
    done = grammar.table("procedures", Concept).get(operation.name or "")
    return row is not None and done is not None and row.sided and done.group in _FIELDS.get(row.group or "", ())


_ILLNESSES = frozenset({"preop_diagnosis", "postop_diagnosis", "diagnosis", "finding"})
_COMPLAINT = re.compile(r"pares|plegi|weak|pain|numb|stroke|tia\b|sided", re.I)
_CROSSED = frozenset({"hemiplegia", "facial-palsy"})
# Groups of diagnoses.toml: groups of procedures.toml that treat them.
_FIELDS = {
    "eye": ("eye",), "ent": ("ent-head-and-neck",), "urology": ("urology",), "mouth-and-jaw": ("oral-and-dental",),
    "gynaecology-and-obstetrics": ("gynaecology",), "brain-and-nerve": ("neurosurgery",),
    "heart-vessels-lungs": ("vascular", "heart-and-chest"), "neck-breast-skin": ("breast", "ent-head-and-neck"),
}


def _is_open(fact: Fact, grammar: Grammar) -> bool:
    """Whether a fact is an operation that has a left and a right, and no side yet."""
    if fact.kind != "procedure" or fact.laterality is not None or fact.role == "harvest":
        return False
    if fact.certainty != "affirmed" or fact.status != "performed" or any("side" in doubt for doubt in fact.doubts):
        return False
    row = grammar.table("procedures", Concept).get(fact.name or "")
    site = grammar.table("sites", Concept).get(fact.body_site or (row.site if row is not None else ""))
    return (row is not None and row.sided) or (row is None and site is not None and site.sided)


def _counts(fact: Fact) -> bool:
    return fact.status == "performed" and fact.certainty == "affirmed" and fact.role != "harvest"


def _place(fact: Fact, grammar: Grammar) -> str:
    table = {"procedure": "procedures"}.get(fact.kind, "diagnoses")
    row = grammar.tables.get(table, {}).get(fact.name or "")
    return fact.body_site or (row.site if isinstance(row, Concept) else "")


_LIMBS = frozenset({"arm", "leg", "upper-limb", "lower-limb", "limb", "head", "trunk", "chest", "abdomen", "pelvis"})


def _is_same(site: str, place: str, grammar: Grammar) -> bool:
    """Whether a part of the body is the one operated on, a part of it, or what that lies in (but no whole limb)."""
    sites = grammar.table("sites", Concept)
    if site not in sites or place not in sites:
        return bool(site) and site == place
    return place in chain(sites[site], grammar) or (site in chain(sites[place], grammar) and site not in _LIMBS)


def _sentence_of(reading: Reading, fact: Fact) -> int:
    sentence = reading.sentence_at(fact.evidence.first)
    return -2 if sentence is None else sentence.index


_ELSEWHERE = frozenset(
    "history short-history family-history imaging consent aftercare follow-up booked harvest position".split()
)
# A sentence, or a clause, that speaks of another side than the one operated on, or of another day.
_NOT_OF_IT = frozenset(
    "other contralateral opposite comparison compared uninvolved unaffected healthy untouched not no never none "
    "previous previously earlier prior ago later next planned harvest harvested harvesting donor graft autograft "
    "padded holder holders strapped stirrup stirrups abducted tucked both each worse than".split()
)


def _said(reading: Reading, grammar: Grammar) -> list[_Said]:
    found: list[_Said] = []
    for at, sentence in enumerate(reading.sentences):
        if not sentence.tokens or sentence.section in _ELSEWHERE:
            continue
        sides = [side for side in laterality.sides(sentence, grammar) if _holds(sentence, side)]
        for side in sides:
            assert side.value is not None
            if len(sentence.tokens) <= _SHORT and heading(sentence, sides) is not None:
                found.append(_Said(side.value, fragment=at))
            site = _site_at(sentence, side)
            whole = _is_whole(sentence, side, site)
            if site is not None or whole:
                found.append(_Said(side.value, site.id if site is not None else "", whole))
    return found


_SHORT = 6  # tokens


def _holds(sentence: Sentence, side: Side) -> bool:
    """Whether a side is left or right, and said of what was done in this operation."""
    if side.value not in ("left", "right"):
        return False
    past = scope_at(sentence, "status", side.first, "performed") != "performed"
    if past or sideshare.of_way(sentence, side, -1, -1):
        return False
    first, last = clauses.bounds(sentence, side.first)
    return scope_at(sentence, "certainty", side.first, "affirmed") == "affirmed" and not any(
        token.norm in _NOT_OF_IT for token in sentence.tokens[first:last]
    )


def _site_at(sentence: Sentence, side: Side) -> Mention | None:
    """The part of the body that a side stands beside, in the same phrase."""
    for mention in sentence.mentions:
        if mention.table == "sites" and (0 < mention.first - side.last <= 2 or 0 < side.first - mention.last <= 2):
            between = sentence.tokens[side.last + 1 : mention.first] or sentence.tokens[mention.last + 1 : side.first]
            if not any(token.norm in ("and", "or", ".", ";", ":") or token.quantity for token in between):
                return mention
    return None


_WHOLE = frozenset("side laterality operation procedure operated surgery everything all whole case".split())
_POINTS = frozenset("this it that one".split())
_SAYS = frozenset({"was", "is", "were", "are", "operated", "did", ":", "done", "performed"})
_LIGHT = frozenset("the a on in at of course we i only just again correct i've have her his for been to side".split())
_DONE = frozenset({"done", "operated", "treated", "performed"})


def _is_whole(sentence: Sentence, side: Side, site: Mention | None) -> bool:
    """ "All this was the left hip", "side: left", "the right one was done": said of the operation as a whole."""
    tokens = sentence.tokens
    first, last = clauses.bounds(sentence, side.first)
    first -= bool(first) and tokens[first - 1].norm in ("all", "everything")
    led: set[str] = set()
    at = side.first - 1
    while at >= first and tokens[at].norm in _WHOLE | _POINTS | _SAYS | _LIGHT:
        led.add(tokens[at].norm)
        at -= 1
    end = max(side.last, site.last if site is not None and site.first > side.last else 0) + 1
    begin = first + (tokens[first].norm in ("but", "and"))
    if any(token.norm == "only" for token in tokens[begin : side.first]) and _is_chosen(sentence, begin, side.first):
        return _shut(sentence, end, last)  # "but we make today only the left side, the osteotomy"
    labelled = bool(led) and led <= {"laterality", "operative", "side", "the"} and "laterality" in led
    chosen = tokens[side.last].norm == "one" and _is_chosen(sentence, first, side.first)
    if (labelled or chosen) and _shut(sentence, end, last):
        return True
    if led & _SAYS and (led & _WHOLE or (led & _POINTS and site is not None)) and _shut(sentence, end, last):
        return True
    if at >= first and tokens[at].norm not in ("but", "and", ","):
        return False
    while end < last and tokens[end].norm in ("one", "side", "was", "were"):
        end += 1
    return end < last and tokens[end].norm in _DONE and tokens[end - 1].norm in ("was", "were") and (
        _shut(sentence, end + 1, last)
    )


def _is_chosen(sentence: Sentence, first: int, at: int) -> bool:
    """ "We do the left one", "I'm operating on the right one": whether the words before a side say which is done."""
    norms = [token.norm for token in sentence.tokens[first:at]]
    return bool(norms) and norms[0] in _US and len(norms) > 1 and not _DOES.isdisjoint(norms) and all(
        norm in _US | _DOES | _LIGHT for norm in norms
    )


_US = frozenset("we i we're i'm we've i've we'll are am so now today and then will".split())
_DOES = frozenset("make making made do did doing operate operating operated scope scoped scoping inject injected "
                  "injecting treat treated treating replace replaced replacing".split())  # fmt: skip


def _shut(sentence: Sentence, at: int, last: int) -> bool:
    """Whether a phrase ends before a token: at a mark, the end of its clause, "and" or "only"."""
    return at >= min(last, len(sentence.tokens)) or sentence.tokens[at].punctuation or (
        sentence.tokens[at].norm in ("and", "only", "not", "today", "but")
    )


def only_spoken(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> tuple[Laterality | None, int, str]:
    """(the one side of a narration that names no operation, the word at which it is said first, its part): "this is the
    right wrist, we scope it" where nothing else is spoken of. What was before counts for nothing."""
    if any(fact.kind == "procedure" and _counts(fact) and not is_of_any_part(fact, grammar) for fact in facts) or (
        of_spine(facts)
    ):
        return None, 0, ""  # a foramen on one side is no side of what lies between vertebrae
    told: list[tuple[Laterality | None, int, str | None]] = []
    for sentence in reading.sentences:
        for side in laterality.sides(sentence, grammar) if not is_left_alone(sentence) else ():
            if scope_at(sentence, "status", side.first, "performed") != "performed" or is_of_a_year(sentence, side):
                continue
            if donor_sides.of_other_tissue(sentence, side.first) or donor_sides.leads_crest(sentence, side):
                continue
            part = _site_at(sentence, side)
            if any(m.table in ("drains", "devices") and m.last < side.first for m in sentence.mentions):
                part = None  # "two drains, one mediastinal, one in the right pleura": where a thing lies
            where = part.id if part is not None else _of_illness(sentence, side, grammar)
            main = next((one for _, _, one in told if one), None)
            if side.value is None and (not is_other(sentence, side) or sentence.says(_COMPARED)):
                continue  # "popliteal block same side", "compare with the other ankle"
            if main and where and _is_of_another(main, where, grammar):
                continue  # "she'd fallen on the left wrist too"
            told.append((side.value, sentence.tokens[side.first].first, where))
    value, word, where = told[0] if told else (None, 0, None)
    sole = value in ("left", "right") and {side for side, _, _ in told} == {value}
    return (value, word, where) if sole and where is not None else (None, 0, "")


_COMPARED = frozenset({"compare", "compared", "comparison", "comparing", "unlike"})


def _is_of_another(main: str, where: str, grammar: Grammar) -> bool:
    """Whether a part of the body is of another limb or organ than the one that is spoken of."""
    sites = grammar.table("sites", Concept)
    return main in sites and where in sites and not related_sites(sites[main], sites[where], grammar)


def _of_illness(sentence: Sentence, side: Side, grammar: Grammar) -> str | None:
    """The paired part of an illness that a side stands right beside ("Achilles rupture right"), "" where its row names
    none ("left hydrocele"); None where no such illness stands there."""
    sites = grammar.table("sites", Concept)
    for mention in sentence.mentions:
        row = grammar.tables[mention.table].get(mention.id) if mention.table in ("diagnoses", "findings") else None
        beside = mention.first - side.last == 1 or side.first - mention.last == 1 or (
            side.first - mention.last == _PAST_COMMA and sentence.tokens[side.first - 1].norm in (",", "(")
        )
        if beside and isinstance(row, Concept) and (sites[row.site].sided if row.site in sites else row.sided):
            return row.site
    return None


_PAST_COMMA = 2


def is_of_any_part(fact: Fact, grammar: Grammar) -> bool:
    """Whether an operation has no side and its name no part of the body: "ORIF", "excision of a ganglion". """
    row = grammar.table("procedures", Concept).get(fact.name or "")
    if _IN_THE_MIDDLE.search(fact.name or fact.text or ""):
        return False
    site = grammar.table("sites", Concept).get(fact.body_site or "")
    if fact.body_site and not (row is None and site is not None and site.sided):
        return False
    return fact.laterality is None and not any("side" in doubt for doubt in fact.doubts) and (
        row is None or not row.site
    )


_IN_THE_MIDDLE = re.compile(r"laparo|scopy|examination|sternotomy|endoscop|spinal|vertebr|lamin|fusion", re.I)


def of_spine(facts: Sequence[Fact]) -> bool:
    """Whether vertebral levels are told."""
    return any(fact.kind == "spinal_level" and _LEVEL.match(fact.text or "") for fact in facts)


_LEVEL = re.compile(r"[CTLS]\d")


def says_other(reading: Reading, grammar: Grammar, operation: Laterality | None) -> frozenset[Laterality | None]:
    """The other sides that the narration speaks of first, or as its operation, None for one that is only called the
    other: "left orchidectomy and a biopsy of the testis on the other side"."""
    return frozenset(
        one.value
        for sentence in reading.sentences
        if (sentence.section == "procedure" or (not sentence.section and _is_title(sentence)))
        and not abandoned.leaves_side(sentence)
        for one in laterality.sides(sentence, grammar)
        if (one.value not in (operation, None) or (one.value is None and is_other(sentence, one)))
        and scope_at(sentence, "status", one.first, "performed") == "performed"
        and not donor_sides.of_other_tissue(sentence, one.first) and not is_of_a_year(sentence, one)
        and not (is_remark(sentence, one) and _NO_REMARK.isdisjoint(m.table for m in sentence.mentions
                                                                    if m.last < one.first))
        and not donor_sides.leads_crest(sentence, one)
        and not (one.value == "bilateral" and _is_of_illness(sentence, one))
        and (len(sentence.tokens) <= _STREAM or one.first < (sideshare.title_end(sentence) or len(sentence.tokens)))
    )


def _is_of_illness(sentence: Sentence, side: Side) -> bool:
    """ "Arthrosis in both knees, but we do only the left", "bilateral gonarthrosis": of the illness alone."""
    named = [m for m in sentence.mentions if m.table in ("diagnoses", "findings", "procedures", "acts")]
    near = [m for m in named if 0 < side.first - m.last <= _NEAR_ILLNESS or m.first <= side.first <= m.last]
    near = near or [m for m in named if 0 < m.first - side.last <= _NEAR_ILLNESS]
    return bool(near) and near[-1].table in ("diagnoses", "findings")


_NO_REMARK = frozenset({"procedures", "acts", "injectates"})  # "left orchidectomy and right orchidopexy already ..."
_NEAR_ILLNESS = 4  # tokens


def _is_title(sentence: Sentence) -> bool:
    """Whether a sentence may name an operation: the first one, or one that tells of something done."""
    if sentence.index and sentence.tokens[0].first > _STREAM:
        return False  # what follows a long stream of speech
    return sentence.index == 0 or sentence.index < _TITLES and any(
        m.table in ("procedures", "acts", "injectates") for m in sentence.mentions
    )


_TITLES = 2  # sentences
_STREAM = 40  # tokens; of a longer sentence only the beginning is a title
