"""Short names that mean different things in different specialties ("DCR", "cup", "reflux"): which of them is meant,
or whether anything is, the operations of the narration decide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence
from pipeline.rows import Concept

_TABLE = "procedures"


def decide(sentences: Sequence[Sentence], grammar: Grammar) -> list[Sentence]:
    """The sentences with one operation for each stretch of words. Where nothing decides, the row that comes
    first in the alphabet stays."""
    sentences = _not_meant(_told_elsewhere(_knuckles(_capsules(sentences, grammar)), grammar))
    shared = [_shared(sentence) for sentence in sentences]
    if not any(shared):
        return list(sentences)
    rows = grammar.table(_TABLE, Concept)
    groups = [rows[m.id].group for sentence, doubtful in zip(sentences, shared, strict=True)
              for m in sentence.mentions if m.table == _TABLE and (m.first, m.last) not in doubtful]  # fmt: skip
    return [_chosen(sentence, doubtful, groups, rows) if doubtful else sentence
            for sentence, doubtful in zip(sentences, shared, strict=True)]  # fmt: skip


@lru_cache(maxsize=4)
def _short(grammar: Grammar) -> dict[str, dict[tuple[str, str], frozenset[str]]]:
    """Short name -> {(table, row): groups of operations beside which it means that row}."""
    found: dict[str, dict[tuple[str, str], frozenset[str]]] = {}
    for table, rows in grammar.tables.items():
        for ident, row in rows.items():
            for name in row.short:
                found.setdefault(name, {})[table, ident] = frozenset(row.told_in)
    return found


_LETTERS = 2  # of a name that is one in capitals only


def _told_elsewhere(sentences: Sequence[Sentence], grammar: Grammar) -> Sequence[Sentence]:
    """Without the short names that mean something only beside operations of another specialty: the "cup" of a
    hysterectomy is no acetabular one. Where no operation is named, all of them stay."""
    short = _short(grammar)
    openers = {name.split()[0] for name in short}
    if not any(sentence.says(openers) for sentence in sentences):
        return sentences
    rows = grammar.table(_TABLE, Concept)
    groups = {rows[m.id].group for sentence in sentences for m in sentence.mentions
              if m.table == _TABLE and (m.table, m.id) not in short.get(sentence.tokens[m.first].norm, {})}  # fmt: skip

    def stays(sentence: Sentence, mention: Mention) -> bool:
        said = " ".join(token.norm for token in sentence.tokens[mention.first : mention.last + 1])
        wanted = short.get(said, {}).get((mention.table, mention.id))
        if wanted is not None and len(said) == _LETTERS and not sentence.tokens[mention.first].text.isupper():
            return False  # "HA 2 mL", but no "ha" of a laugh
        return wanted is None or not groups or bool(wanted & groups)

    return [replace(one, mentions=tuple(m for m in one.mentions if stays(one, m))) if one.says(openers) else one
            for one in sentences]  # fmt: skip


# A row that a word does not mean beside these operations: the plate of a urethra is no implant, and the PDA of a heart
# that gets grafts is the posterior descending artery. Common usage, no source.
_NOT_BESIDE = {
    ("devices", "plate", "plate"): frozenset({"hypospadias-repair", "urethroplasty"}),
    ("diagnoses", "patent-ductus-arteriosus", "pda"): frozenset({"coronary-artery-bypass-grafting"}),
}


def _not_meant(sentences: Sequence[Sentence]) -> Sequence[Sentence]:
    done = {m.id for sentence in sentences for m in sentence.mentions if m.table == _TABLE}
    away = {key for key, beside in _NOT_BESIDE.items() if beside & done}
    if not away:
        return sentences

    def meant(sentence: Sentence, mention: Mention) -> bool:
        said = " ".join(token.norm for token in sentence.tokens[mention.first : mention.last + 1])
        return (mention.table, mention.id, said) not in away

    return [replace(one, mentions=tuple(m for m in one.mentions if meant(one, m))) for one in sentences]


_CAPSULE = "joint-capsule"


def _capsules(sentences: Sequence[Sentence], grammar: Grammar) -> Sequence[Sentence]:
    """The bare "capsule" of a narration about an eye that names no joint is that of the lens."""
    if not any(sentence.says({"capsule"}) for sentence in sentences):
        return sentences
    sites = grammar.table("sites", Concept)
    rows = grammar.table(_TABLE, Concept)
    places = {sites[m.id].group for sentence in sentences for m in sentence.mentions
              if m.table == "sites" and m.id != _CAPSULE}  # fmt: skip
    eyes = any(m.table == _TABLE and rows[m.id].group == "eye" for sentence in sentences for m in sentence.mentions)
    if not eyes or "joint" in places:
        return sentences
    return [replace(one, mentions=tuple(m for m in one.mentions if m.id != _CAPSULE or m.last > m.first))
            if one.says({"capsule"}) else one for one in sentences]  # fmt: skip


_OF_HANDS = frozenset("thumb finger fingers hand hands palm palmar volar trigger metacarpal metacarpals".split())
_OF_FEET = frozenset("foot feet toe toes hallux bunion metatarsal metatarsals plantar sesamoid sesamoids".split())
_KNUCKLES = {"mcp-joint": _OF_FEET, "mtp-joint": _OF_HANDS}


def _knuckles(sentences: Sequence[Sentence]) -> Sequence[Sentence]:
    """ "MPJ" and "MP joint" are said of hands and of feet: what the sentence names decides, else the narration."""
    if not any(sentence.says({"mpj", "mpjs", "mp"}) for sentence in sentences):
        return sentences
    told = {part for part in (_OF_HANDS, _OF_FEET) if any(sentence.says(part) for sentence in sentences)}

    def meant(sentence: Sentence, mention: Mention) -> Mention:
        away = _KNUCKLES.get(mention.id, frozenset())
        if mention.table != "sites" or not away or sentence.tokens[mention.first].norm not in ("mpj", "mpjs", "mp"):
            return mention
        here = {part for part in (_OF_HANDS, _OF_FEET) if sentence.says(part)} or told
        return replace(mention, id=next(one for one in _KNUCKLES if one != mention.id)) if here == {away} else mention

    return [replace(one, mentions=tuple(meant(one, m) for m in one.mentions)) for one in sentences]


def _shared(sentence: Sentence) -> set[tuple[int, int]]:
    """The stretches that name more than one operation."""
    seen: set[tuple[int, int]] = set()
    twice: set[tuple[int, int]] = set()
    for mention in sentence.mentions:
        if mention.table == _TABLE:
            place = (mention.first, mention.last)
            (twice if place in seen else seen).add(place)
    return twice


def _chosen(
    sentence: Sentence, doubtful: Iterable[tuple[int, int]], groups: Sequence[str], rows: Mapping[str, Concept]
) -> Sentence:
    dropped: set[Mention] = set()
    for place in doubtful:
        rivals = [m for m in sentence.mentions if m.table == _TABLE and (m.first, m.last) == place]
        if not all(rows[rival.id].decided_by for rival in rivals):
            continue  # two names of one operation in other words
        best = min(rivals, key=lambda rival: (-groups.count(rows[rival.id].group), rival.id))
        dropped.update(rival for rival in rivals if rival is not best)
    return replace(sentence, mentions=tuple(m for m in sentence.mentions if m not in dropped))
