"""Where clauses begin, in speech without marks. The truth is from reading the sentence."""

from __future__ import annotations

import pytest
from reading_of import read

from pipeline import clauses, grammar, laterality, story

CUT = [
    "the right ovary was replaced by a cyst | the left ovary was normal | no ascites | the uterus was bulky",
    "the cyst was removed | the tendon of the ring finger showed some fraying | no rupture",
    "the bladder showed no tumour | contrast showed a filling defect | it was hazy",
    "the wire was passed | and a stent was left",
    "the vein came from the thigh | because the other one had been stripped",
    "he had been seen before | then the drum was opened",
    "there was no fluid in the joint",
    "a cyst which was removed with the sac",
    "the wound was closed without any tension",
]


@pytest.mark.parametrize("text", CUT)
def test_where_clauses_begin(text: str) -> None:
    parts = text.split(" | ")
    sentence = read(" ".join(parts)).sentences[0]
    expected = [sum(len(part.split()) for part in parts[:n]) for n in range(len(parts))]
    assert list(clauses.starts(sentence)) == expected


def test_bounds_and_parted_agree() -> None:
    sentence = read("the drum was dull the canal was dry").sentences[0]
    assert clauses.bounds(sentence, 2) == (0, 4)
    assert clauses.bounds(sentence, 4) == (4, 8)
    assert clauses.parted(sentence, 1, 5)
    assert not clauses.parted(sentence, 4, 7)


def test_a_side_or_a_site_of_the_next_clause_is_not_taken() -> None:
    rules = grammar.load()
    text = "the right ovary was replaced by a cyst the left ovary was normal the uterus was bulky"
    sentence = read(text).sentences[0]
    cyst = next(m for m in sentence.mentions if sentence.tokens[m.first].norm == "cyst")
    assert laterality.side_for(sentence, cyst.first, cyst.last, rules)[0] != "left"
    other = read(" ".join(["the testis lay in the pouch", "it was washed out"] + ["a cyst was seen"] * 12)).sentences[0]
    cysts = [m for m in other.mentions if m.table == "findings"]
    assert cysts
    assert all(story.site_before(other, mention) is None for mention in cysts)
