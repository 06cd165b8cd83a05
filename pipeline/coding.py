"""Questions for a coder: which diagnosis codes the words point to, and which axes of a procedure code they fill.

Nothing is assigned. ICD-10-CM comes with `simple-icd-10-cm` (April 2026) and is read only when asked for: that takes
some seconds and 200 MB. ICD-10-PCS tables are the site's to supply: the XML of tables that CMS publishes. CPT is
never used.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from lxml import etree

from pipeline.errors import BadContext
from pipeline.grammar import Grammar
from pipeline.mentions import fold
from pipeline.note import OperativeNote
from pipeline.records import Fact
from pipeline.rows import Concept

_DIAGNOSES = ("postop_diagnosis", "diagnosis", "preop_diagnosis")
_EMPTY = frozenset("a an and at by for from in into nec nos not of on or other part parts specified the to unspecified "
                   "initial encounter with without due elsewhere classified joint joints side".split())  # fmt: skip
_LATER = frozenset({"subsequent", "sequela"})
_HEALING = frozenset({"nonunion", "malunion", "delayed", "healing"})
_SIDES = {"left": "left", "right": "right", "bilateral": "bilateral"}


@dataclass(frozen=True, slots=True)
class Candidate:
    """A code to look at. `words`: words of the note that its title has; `open`: words of its title never said."""

    code: str
    title: str
    words: tuple[str, ...]
    open: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DiagnosisQuestion:
    """One diagnosis of the note with the codes to look at, best first; none where no title has its words."""

    fact: Fact
    said: str
    candidates: tuple[Candidate, ...]


def words_of(text: str) -> frozenset[str]:
    """The folded words of a text that carry meaning."""
    return frozenset(fold(word) for word in re.findall(r"[a-z]+", text.lower()) if word not in _EMPTY and len(word) > 1)


@lru_cache(maxsize=1)
def _titles() -> tuple[dict[str, tuple[str, frozenset[str]]], dict[str, frozenset[str]]]:
    """({code: (title, its words)} of billable codes, {word: codes}). Words include those of inclusion terms."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the package reads its data in a way that newer Pythons warn of
        import simple_icd_10_cm as icd
    codes: dict[str, tuple[str, frozenset[str]]] = {}
    index: dict[str, set[str]] = {}
    for code in icd.get_all_codes(True):
        if not icd.is_leaf(code) or icd.is_chapter_or_block(code):
            continue
        title = str(icd.get_description(code))
        found = words_of(title)
        codes[code] = (title, found)
        for word in found:
            index.setdefault(word, set()).add(code)
    return codes, {word: frozenset(which) for word, which in index.items()}


def diagnosis_questions(note: OperativeNote, grammar: Grammar, most: int = 5) -> list[DiagnosisQuestion]:
    """For every diagnosis that stands: codes whose titles have its words, with the words that support them.

    A title with another side than the one said is left out; a title that says more than the note is shown with the
    words that were never said.
    """
    found: list[DiagnosisQuestion] = []
    seen: set[tuple[str | None, str | None]] = set()
    for fact in sorted(note.of(*_DIAGNOSES), key=lambda one: _DIAGNOSES.index(one.kind)):
        if fact.certainty != "affirmed" or fact.status != "performed" or fact.name in (None, "same"):
            continue
        if (fact.name, fact.laterality) in seen:
            continue
        seen.add((fact.name, fact.laterality))
        names, support = _names(fact, grammar), _support(fact, grammar) | _region(note, fact)
        said = " ".join(part for part in (fact.laterality, fact.evidence.heard) if part)
        found.append(DiagnosisQuestion(fact, said, _look(names, support, fact, most)))
    return found


def _names(fact: Fact, grammar: Grammar) -> list[frozenset[str]]:
    """Word sets, each of which is a whole name of the diagnosis."""
    row = grammar.table("diagnoses", Concept).get(fact.name or "")
    texts = [row.name, *row.say] if row is not None else []
    texts.append(fact.text or fact.evidence.heard)
    return [words for words in dict.fromkeys(words_of(text) for text in texts) if words]


def _support(fact: Fact, grammar: Grammar) -> frozenset[str]:
    """Everything that the note says of the diagnosis: its words, its site and what that is part of, its side."""
    sites = grammar.table("sites", Concept)
    texts = [fact.evidence.heard, fact.text or "", _SIDES.get(fact.laterality or "", "")]
    row = grammar.table("diagnoses", Concept).get(fact.name or "")
    here = sites.get(fact.body_site or "") or (sites.get(row.site) if row is not None else None)
    while here is not None:
        texts += [here.name, *here.say]
        here = sites.get(here.within) if here.within != here.id else None
    return words_of(" ".join(texts))


_REGIONS = {"C": "cervical", "T": "thoracic", "L": "lumbar", "S": "sacral"}
_OF_SPINE = re.compile(r"stenosis|disc|herniation|spondyl|radiculopathy|vertebra|compression", re.IGNORECASE)


def _region(note: OperativeNote, fact: Fact) -> frozenset[str]:
    """Words for the part of the spine, where a level was said with a diagnosis that may be of it ("stenosis L4-L5")."""
    if not _OF_SPINE.search(f"{fact.name} {fact.evidence.heard}"):
        return frozenset()
    here = [one for one in note.sections.description if one.holds(fact)]
    letters = {(level.text or " ")[0] for level in note.of("spinal_level") if any(one.holds(level) for one in here)}
    words = " ".join(_REGIONS[letter] for letter in letters if letter in _REGIONS)
    return words_of(f"spinal {words} region") if words else frozenset()


# What a title says of special patients or causes: such a code comes last, unless the note says so too.
_SPECIAL = words_of("neonatal newborn congenital childbirth puerperium pregnancy obstetric screening postprocedural "
                    "following rheumatic complicating maternal fetal gestational history family")  # fmt: skip
# What a title says where nothing more is known. "Essential (primary)" is the usual hypertension.
_USUAL = words_of("unspecified essential primary other type")


def _plainly_without(title: str) -> frozenset[str]:
    """Words of what a title says is not there: "without cholecystitis without obstruction"."""
    return words_of(" ".join(re.findall(r"\bwithout ([\w ]+?)(?=,|;|\bwithout\b|\bwith\b|$)", title)))


def _look(names: Iterable[frozenset[str]], support: frozenset[str], fact: Fact, most: int) -> tuple[Candidate, ...]:
    titles, index = _titles()
    other_sides = set(_SIDES.values()) - {fact.laterality or ""} if fact.laterality else set()
    ranked: dict[str, tuple[tuple[int, int, int, int], Candidate]] = {}
    for name in names:
        if not name <= index.keys():
            continue
        for code in frozenset.intersection(*(index[word] for word in name)):
            title, words = titles[code]
            if words & other_sides or (words & _LATER and not (support | name) & (_LATER | _HEALING)):
                continue  # a first operation is no "subsequent encounter" and no "sequela", unless the words say so
            here = words & (support | name)
            never = sorted(words - support - name)
            # Best: of nobody special, most of what was said, least that was not; then the code, for a stable order.
            unknown = set(never) - _USUAL - _plainly_without(title)
            special = len(words & _SPECIAL - support - name)
            rank = (special, -len(here), len(unknown), len(title))
            if code not in ranked or rank < ranked[code][0]:
                ranked[code] = (rank, Candidate(code, title, tuple(sorted(here)), tuple(never)))
    best = sorted(ranked.items(), key=lambda item: (item[1][0], item[0]))
    return tuple(candidate for _, (_, candidate) in best[:most])


# --- ICD-10-PCS ------------------------------------------------------------------------------------------------------

AXES = ("section", "body system", "root operation", "body part", "approach", "device", "qualifier")

# Words of a procedure's name -> root operation. ICD-10-PCS reference manual, root operation definitions [from memory].
_ROOTS: Mapping[str, tuple[str, ...]] = {
    "Resection": ("cholecystectomy", "appendicectomy", "appendectomy", "hysterectomy", "nephrectomy", "lobectomy",
                  "thyroidectomy", "splenectomy", "mastectomy", "colectomy"),
    "Excision": ("excision", "biopsy", "lumpectomy", "debridement", "meniscectomy", "discectomy", "microdiscectomy",
                 "ectomy"),
    "Release": ("release", "decompression", "neurolysis", "adhesiolysis"),
    "Repair": ("repair", "suture"),
    "Supplement": ("mesh",),
    "Replacement": ("arthroplasty", "replacement"),
    "Reposition": ("reduction", "orchiopexy", "reposition", "fixation", "osteotomy"),
    "Fusion": ("fusion", "arthrodesis"),
    "Drainage": ("drainage", "aspiration", "arthrocentesis", "evacuation"),
    "Extraction": ("aspirate", "harvest", "extraction", "curettage"),
    "Introduction": ("injection",),
    "Inspection": ("arthroscopy", "laparoscopy", "cystoscopy", "inspection", "hysteroscopy"),
    "Insertion": ("insertion", "placement", "pinning", "nailing"),
    "Removal": ("removal", "explantation"),
}  # fmt: skip
_APPROACHES: Mapping[str, tuple[str, ...]] = {
    "Percutaneous Endoscopic": ("arthroscopic", "arthroscopy", "laparoscopic", "laparoscopy", "endoscopic",
                                "thoracoscopic"),
    "Percutaneous": ("percutaneous", "needle", "injection", "trocar"),
    "Open": ("open", "incision", "arthrotomy", "laparotomy"),
    "Via Natural or Artificial Opening Endoscopic": ("cystoscopic", "hysteroscopic", "colonoscopy", "gastroscopy"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Table:
    """One table of ICD-10-PCS. `head`: (character, label) of axes 1 to 3; `rows`: axis 4 to 7 -> {character: label}."""

    head: tuple[tuple[str, str], ...]
    rows: tuple[tuple[dict[str, str], ...], ...]


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis. `value`: the label that the words fill it with, "" where it is open; `choices`: what is possible."""

    name: str
    value: str
    words: tuple[str, ...]
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ProcedureQuestion:
    """A procedure and the axes that its words fill. A code needs all seven (guideline A8): else ask the surgeon."""

    fact: Fact
    said: str
    axes: tuple[Axis, ...]

    @property
    def open(self) -> tuple[str, ...]:
        return tuple(axis.name for axis in self.axes if not axis.value)


def read_tables(path: Path) -> list[Table]:
    """The tables of the XML that CMS publishes (icd10pcs_tables_*.xml). Raises BadContext if it is no such file."""
    try:
        tree = etree.parse(str(path), etree.XMLParser(resolve_entities=False, no_network=True))
    except (OSError, etree.XMLSyntaxError) as problem:
        raise BadContext(
            f"cannot be read as ICD-10-PCS tables ({problem}).", "Name the tables XML of CMS.", where=str(path)
        ) from None
    tables: list[Table] = []
    for node in tree.iter("pcsTable"):
        head = tuple(_labels(axis)[0] for axis in node.findall("axis"))
        rows = tuple(tuple(dict(_labels(axis)) for axis in row.findall("axis")) for row in node.findall("pcsRow"))
        tables.append(Table(head, rows))
    if not tables:
        raise BadContext("holds no ICD-10-PCS tables.", "Name the tables XML of CMS.", where=str(path))
    return tables


def _labels(axis: etree._Element) -> list[tuple[str, str]]:
    return [(str(label.get("code")), (label.text or "").strip()) for label in axis.findall("label")]


def procedure_questions(note: OperativeNote, grammar: Grammar, tables: list[Table]) -> list[ProcedureQuestion]:
    """For every procedure that was done: the axes that its words fill, and those they leave open. Never a code."""
    found: list[ProcedureQuestion] = []
    for fact in note.of("procedure", given=True):
        row = grammar.table("procedures", Concept).get(fact.name or "")
        name = words_of(f"{row.name if row else ''} {fact.evidence.heard}")
        found.append(ProcedureQuestion(fact, fact.evidence.heard, _axes(note, grammar, fact, name, tables)))
    return found


def _axes(
    note: OperativeNote, grammar: Grammar, fact: Fact, name: frozenset[str], tables: list[Table]
) -> tuple[Axis, ...]:
    roots = {root: hits for root, stems in _ROOTS.items() if (hits := _hits(name, stems))}
    row = grammar.table("procedures", Concept).get(fact.name or "")
    site = grammar.table("sites", Concept).get(fact.body_site or (row.site if row else ""))
    place = words_of(" ".join((*((site.name, *site.say) if site else ()), fact.laterality or "")))
    best: tuple[int, Table, int, str, tuple[str, ...]] | None = None
    for table in tables:
        if len(table.head) < 3 or table.head[2][1] not in roots:
            continue
        for index, axes in enumerate(table.rows):
            for label in axes[0].values():
                hit = words_of(label) & (place | name)
                other = words_of(label) & (set(_SIDES) - {fact.laterality or ""})
                score = len(hit) * 4 - len(words_of(label) - hit) - (9 if other and fact.laterality else 0)
                if hit and not (other and fact.laterality) and (best is None or score > best[0]):
                    best = (score, table, index, label, tuple(sorted(hit)))
    if best is None:
        root = next(iter(roots), "") if len(roots) == 1 else ""
        return tuple(
            Axis(axis, root, roots.get(root, ()), ()) if axis == AXES[2] else Axis(axis, "", (), ()) for axis in AXES
        )
    _, table, index, part, support = best
    row_axes = table.rows[index]
    said = name | words_of(" ".join(one.evidence.heard for one in note.of("approach", "device", given=True)))
    filled = [Axis(AXES[at], table.head[at][1], roots[table.head[2][1]], ()) for at in range(3)]
    filled.append(Axis(AXES[3], part, support, ()))
    filled.append(_approach(row_axes[1], said))
    filled += [_by_label(AXES[at], row_axes[at - 3], said) for at in (5, 6)]
    return tuple(filled)


def _hits(words: frozenset[str], stems: Iterable[str]) -> tuple[str, ...]:
    folded = {fold(stem) for stem in stems}
    return tuple(sorted(word for word in words if word in folded))


def _approach(values: Mapping[str, str], said: frozenset[str]) -> Axis:
    for label, stems in _APPROACHES.items():
        hit = _hits(said, stems)
        if hit and label in values.values():
            return Axis(AXES[4], label, hit, ())
    return Axis(AXES[4], "", (), tuple(values.values()))


def _by_label(name: str, values: Mapping[str, str], said: frozenset[str]) -> Axis:
    """Filled where there is only one choice, or exactly one whose words were said."""
    labels = tuple(dict.fromkeys(values.values()))
    if len(labels) == 1:
        return Axis(name, labels[0], (), labels)
    hits = [(label, words_of(label) & said) for label in labels if words_of(label) & said]
    if len(hits) == 1:
        return Axis(name, hits[0][0], tuple(sorted(hits[0][1])), labels)
    return Axis(name, "", (), labels)
