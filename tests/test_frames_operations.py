"""Operations and cancers of every specialty by their common names, in a heading and in a sentence.

The names are in common use, no source; each stands for its kind, the rows hold more.
"""

from __future__ import annotations

import pytest
from cases_runner import facts_of

OPERATIONS = """
episiotomy ; B-Lynch suture ; cervical cerclage ; hysteroscopic polypectomy ; seton insertion ; varicose vein stripping
VSD repair ; left atrial appendage closure ; maze procedure ; epistaxis cautery ; cyclodiode ; zygoma elevation
TMJ arthrocentesis ; frenectomy ; EVD insertion ; VNS implantation ; intrathecal pump refill ; capsule endoscopy
oesophageal atresia repair ; Kasai procedure ; duodenal atresia repair ; anorectoplasty ; club foot release
thyroglossal cyst excision ; mandible fracture fixation ; selective laser trabeculoplasty ; gastroschisis repair
"""
CANCERS = """
cancer of the caecum ; carcinoma of the sigmoid colon ; pancreatic cancer ; cancer of the bladder ; renal cancer
cancer of the ovary ; carcinoma of the larynx ; cancer of the tongue ; gastric cancer ; oesophageal cancer
"""


def _names(text: str) -> list[str]:
    return [name.strip() for line in text.strip().splitlines() for name in line.split(";")]


@pytest.mark.parametrize("name", _names(OPERATIONS))
def test_an_operation_has_its_row(name: str) -> None:
    for text in (f"Operation: {name}.", f"This is the note of a {name} done today. Counts correct."):
        done = [fact for fact in facts_of(text) if fact.kind == "procedure"]
        assert done
        assert all(fact.name for fact in done)


@pytest.mark.parametrize("name", _names(CANCERS))
def test_a_cancer_has_its_row(name: str) -> None:
    for text in (f"Preoperative diagnosis: {name}. Excision.", f"Operated on for {name}. Counts correct."):
        ill = [fact for fact in facts_of(text) if fact.kind.endswith("diagnosis")]
        assert [fact.name for fact in ill if fact.name]
