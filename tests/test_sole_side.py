"""What has the side of an operation on one side, and what has none. The narrations are invented."""

from __future__ import annotations

import pytest
from cases_runner import facts_of
from reading_of import read, sides

from pipeline import grammar, mentions
from pipeline.body_parts import limbs
from pipeline.extractors import _operation_words
from pipeline.rows import Concept

KNEE = (
    "Right knee arthroscopy and partial meniscectomy. Femoral nerve block. Cefazolin 2 g IV. Ten millilitres of half "
    "percent bupivacaine into the portals. Loose body sent to pathology. Suction drain 10 French. Brace for two weeks. "
    "Partial weight bearing for two weeks. Crutches."
)


@pytest.mark.parametrize(
    ("text", "kind", "name", "side"),
    [
        (KNEE, "anaesthesia", "femoral-nerve-block", "right"),
        (KNEE, "medication_dose", "cefazolin", None),
        (KNEE, "medication_volume", "bupivacaine", "right"),
        (KNEE, "specimen", "Loose body", "right"),
        (KNEE, "drain", "", "right"),
        (KNEE, "drain_size", "", "right"),
        (KNEE, "aftercare", "brace", "right"),
        (KNEE, "aftercare", "partial-weight-bearing", "right"),
        ("Left knee arthroscopy. Spinal with 3 mL bupivacaine 0.5%.", "medication_volume", "bupivacaine", None),
        ("Left knee arthroscopy. Sling for the right arm for 2 weeks.", "aftercare", "sling", "right"),
        ("Left knee arthroscopy. Collar for two weeks.", "aftercare", "collar", None),
        ("Left knee arthroscopy. Both knees in a brace for two weeks.", "aftercare", "brace", None),
        ("Left orchidectomy and a biopsy of the other testis. Biopsy sent to pathology.", "specimen", "", None),
        ("Right nephrectomy. Urinary catheter 16 French.", "drain_size", "", None),
        ("Right os trigonum excision. Right ankle prepared. The bone was 11 mm.", "measurement", "", "right"),
    ],
)  # fmt: skip
def test_the_one_side_of_an_operation(text: str, kind: str, name: str, side: str | None) -> None:
    found = sides(text, kind, name)
    assert found
    assert set(found) == {side}


def test_blocks_of_a_limb_belong_to_that_limb_only() -> None:
    assert limbs({"knee"}, grammar.load()) == {"lower"}
    assert limbs({"wrist"}, grammar.load()) == {"upper"}
    assert not limbs({"breast"}, grammar.load())


def test_each_row_of_operation_words_finds_its_examples() -> None:
    rules = grammar.load()
    for row in rules.table("operation_words", Concept).values():
        for example in row.examples:
            facts = [fact for fact in facts_of(example) if fact.kind == "procedure"]
            assert facts, f"{row.id}: {example}"
            assert facts[0].laterality in ("left", "right"), f"{row.id}: {example}"


def test_heads_leave_out_what_has_another_name() -> None:
    rules = grammar.load()
    sentence = read("Left knee arthroscopy under fluoroscopy with a repair.").sentences[0]
    marked = mentions.mark(sentence, rules)
    heads = _operation_words.heads(marked, rules, title=True)
    assert [marked.tokens[at].norm for at in heads] == ["repair"]
