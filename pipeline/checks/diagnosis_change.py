"""The diagnosis after the operation against the one before."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from pipeline.body_parts import limbs
from pipeline.checks._words import matches
from pipeline.checks.base import beside, called, finding, site_of
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding

MEANING = "The post-operative diagnosis is said to be the same, though the diagnosis was ruled out in the note."

_SAME = frozenset({"same", "the same", "as above", "unchanged"})

# "No other lesion", "no evidence of any residual tumour": what was there is not denied.
_REST = re.compile(r"\b(?:other|further|residual|remaining|additional|more|recurrent|remained)\b", re.IGNORECASE)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    before = [fact for fact in note.of("preop_diagnosis", "diagnosis") if fact.certainty != "negated" and fact.name]
    after = [fact for fact in note.of("postop_diagnosis") if fact.status == "performed"]
    seen = {fact.name for fact in note.of("finding") if fact.status == "performed" and fact.certainty == "affirmed"}
    denied = [
        fact
        for fact in note.of("finding", "diagnosis")
        if fact.certainty == "negated" and fact.name and fact.name not in seen and not _of_the_rest(note, fact)
    ]
    ruled_out = {fact.name: fact for fact in denied}
    found: list[Finding] = []
    for fact in after:
        same = fact.name == "same" or (fact.text or "").lower() in _SAME
        for first in before:
            against = ruled_out.get(first.name or "") or _kind_of(first, ruled_out)
            if first.kind == "diagnosis" and fact.name == "same" and first.evidence.first > fact.evidence.last:
                continue  # "same" is of what was said before it
            if against is not None and _of_the_other_side(note, against, first):
                continue
            if against is None or fact.certainty == "negated" or not (same or fact.name == first.name):
                continue
            found.append(
                finding(
                    "diagnosis_change",
                    "warning",
                    f"{called(first, grammar)} stands as the post-operative diagnosis, but was said not to be there.",
                    [first, against, fact],
                    ask="Say the diagnosis after the operation.",
                )
            )
    found += _normal(note, grammar, before, after) + _of_another_limb(note, grammar, before, after)
    negated_after = [fact for fact in after if fact.certainty == "negated" and fact.name]
    affirmed_after = {fact.name for fact in after if fact.certainty == "affirmed"}
    found += [
        finding(
            "diagnosis_change",
            "warning",
            f"{called(fact, grammar)} was said and denied as the diagnosis after the operation.",
            [fact],
            ask="Say the diagnosis after the operation.",
            about="denied",
        )
        for fact in negated_after
        if fact.name in affirmed_after and not _of_a_sort(note, fact, after)
    ]
    return found


def _of_another_limb(
    note: OperativeNote, grammar: Grammar, before: list[Fact], after: list[Fact]
) -> list[Finding]:  # fmt: skip
    """A meniscal tear before, a cuff tear afterwards: an illness of a limb that nothing else was said of."""
    rest = [*before, *note.of("procedure", given=True)]
    others = limbs({site.id for fact in rest if (site := site_of(fact, grammar))}, grammar)
    found: list[Finding] = []
    for fact in after:
        site = site_of(fact, grammar)
        own = limbs({site.id}, grammar) if site is not None and fact.certainty == "affirmed" else frozenset()
        if before and own and others and not own & others:
            found.append(finding(
                "diagnosis_change", "warning",
                f"{called(fact, grammar)} is the diagnosis after the operation; nothing else is of that part.",
                [before[0], fact], ask="Say the diagnosis after the operation.", about="part",
            ))  # fmt: skip
    return found


def _kind_of(first: Fact, ruled_out: Mapping[str | None, Fact]) -> Fact | None:
    """ "There was no cholecystitis": an acute one neither."""
    return next((fact for name, fact in ruled_out.items()
                 if name and _DISEASE.search(name) and (first.name or "").endswith(f"-{name}")), None)  # fmt: skip


# A mass or an abscess may be missing at one place; an inflamed organ is the disease.
_DISEASE = re.compile(r"(?:itis|osis|hernia|torsion|rupture|perforation|obstruction)$")


def _normal(note: OperativeNote, grammar: Grammar, before: list[Fact], after: list[Fact]) -> list[Finding]:
    """The diagnosis stands, and what it is of was said to be normal."""
    names = {fact.name for fact in after}
    same = any(fact.name == "same" or (fact.text or "").lower() in _SAME for fact in after)
    found: list[Finding] = []
    for fact in before:
        site = site_of(fact, grammar)
        organ = next((organ for ill, organ in _ORGANS if (fact.name or "").endswith(ill)), None)
        if site is None and organ is None or not (same or fact.name in names):
            continue
        words = [organ or ""]
        if site is not None:
            words = sorted({phrase.split()[-1] for phrase in site.say} | {site.name.lower().split()[-1]})
        called_so = "|".join(map(re.escape, words))
        sound = re.compile(
            rf"\b(?:{called_so})(?: itself)? (?:was|were|is|looked|appeared|seemed) "
            r"(?:\w+ly |quite |to be )*(?:normal|intact|healthy|unremarkable|sound)\b|"
            rf"\b(?:normal|healthy|uninflamed|unremarkable)(?:[- ]looking|[- ]appearing)? (?:{called_so})"
            r"(?= ?[.,;]| and\b| with| but| was left| left)", re.I,
        )  # fmt: skip
        for passage, match in matches(note, sound, _SOUND):
            if passage.evidence.first > fact.evidence.last and not _SIDE_OF_REST.search(passage.text):
                made = finding(
                    "diagnosis_change", "warning",
                    f"{called(fact, grammar)} stands as the post-operative diagnosis, but “{match[0]}” was said.",
                    [fact], ask="Say the diagnosis after the operation.", about=f"w{passage.evidence.first}",
                )  # fmt: skip
                found.append(beside(made, passage.evidence))
                break
    return found


_SOUND = ("normal", "intact", "healthy", "unremarkable", "sound", "uninflamed")
# Illnesses whose name holds the organ that no other word of it tells.
_ORGANS = (("appendicitis", "appendix"), ("cholecystitis", "gallbladder"), ("salpingitis", "tube"))
# "The rest of the cuff was intact", "the left ovary was normal", "at the end": not of what was ill.
_SIDE_OF_REST = re.compile(
    r"\b(?:rest|remaining|remainder|other|opposite|contralateral|adjacent|surrounding|left|right|medial|lateral|"
    r"anterior|posterior|upper|lower|proximal|distal|superior|inferior|skin|bladder neck|now|then|end|after|repair\w*|"
    r"closure|otherwise)\b", re.I,
)  # fmt: skip


def _of_the_other_side(note: OperativeNote, denied: Fact, said: Fact) -> bool:
    """ "On the left there is no hernia", of a hernia on the right."""
    operated = {fact.laterality for fact in note.of("procedure", given=True)} - {None}
    own = said.laterality or (next(iter(operated)) if len(operated) == 1 else "") or ""
    other = {"left": "right", "right": "left"}.get(own)
    if other is None or denied.laterality is not None:
        return other is not None and denied.laterality == other
    words = [word for passage in note.sections.description for word in passage.text.lower().split()]
    at = next((before + denied.evidence.first - passage.evidence.first for before, passage in _counted(note)
               if passage.holds(denied)), 0)  # fmt: skip
    lead = " ".join(words[max(0, at - _NEAR) : at]).split(".")[-1]
    return other in f"{lead} {' '.join(words[at : at + _NEAR]).split('.')[0]}".split()


def _of_a_sort(note: OperativeNote, denied: Fact, after: list[Fact]) -> bool:
    """ "No haemorrhagic lesion", beside "right lesion": one sort of it is denied, which the other is not said to be."""
    sort = _word_before(note, denied)
    if not sort or sort in _ANY:
        return False
    return all(_word_before(note, fact) != sort for fact in after if fact.name == denied.name and fact is not denied)


_ANY = frozenset("no any without of for a an evidence obvious definite apparent acute further not signs sign".split())


def _word_before(note: OperativeNote, fact: Fact) -> str:
    for passage in note.sections.description:
        if passage.holds(fact):
            before = passage.text.lower().split()[: fact.evidence.first - passage.evidence.first]
            return before[-1].strip(".,;:") if before else ""
    return ""


def _counted(note: OperativeNote) -> Iterator[tuple[int, Passage]]:
    """(words before it, passage): speech without marks is cut anywhere, so that a side may stand in the one before."""
    before = 0
    for passage in note.sections.description:
        yield before, passage
        before += len(passage.text.split())


_NEAR = 7  # words


def _of_the_rest(note: OperativeNote, fact: Fact) -> bool:
    """Whether the sentence speaks of what is left, or of one place ("no tear on the articular side"), not of the
    disease itself."""
    for passage in note.sections.description:
        if passage.holds(fact):
            after = passage.text.lower().split()[fact.evidence.last - passage.evidence.first + 1 :]
            return bool(_REST.search(passage.text)) or after[:1] in (["on"], ["in"], ["at"], ["within"], ["along"])
    return False
