"""The tables of grammars/: they load, teach themselves by examples that are run, and agree with each other."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pytest

from pipeline import mentions, note, utterances
from pipeline.errors import GrammarError
from pipeline.grammar import NOT_MENTIONED, Grammar, load
from pipeline.records import Word
from pipeline.rows import Concept, Drug, Family, Kind, Row, Unit

# Tables that this file answers for; context, sections, sides, cues, units, corrections, limits and profiles have
# tests of their own, since what their rows do is more than to be found.
MENTIONED = sorted(table for table in load().tables if table not in NOT_MENTIONED)


@lru_cache(maxsize=1)
def rules() -> Grammar:
    return load()


def found(text: str) -> set[tuple[str, str]]:
    """(table, row id) of every mention in a sentence as spoken."""
    sentences = utterances.read(tuple(Word(index, word) for index, word in enumerate(text.split())))
    return {
        (mention.table, mention.id) for sentence in sentences for mention in mentions.mark(sentence, rules()).mentions
    }


def rows() -> Iterator[tuple[str, Row]]:
    for table in MENTIONED:
        for row in rules().tables[table].values():
            yield table, row


def test_examples_are_found() -> None:
    missed = [
        f"{table}.{row.id}: {example!r}"
        for table, row in rows()
        for example in row.examples
        if (table, row.id) not in found(example)
    ]
    assert not missed, f"{len(missed)} examples do not find their row:\n" + "\n".join(missed)


def test_not_examples_are_not_found() -> None:
    wrong = [
        f"{table}.{row.id}: {example!r}"
        for table, row in rows()
        for example in row.not_examples
        if (table, row.id) in found(example)
    ]
    assert not wrong, "rows found where they must not be:\n" + "\n".join(wrong)


def test_every_phrase_is_found_when_it_is_said() -> None:
    """No phrase is cut otherwise by the tokeniser, read as a number, or covered by a phrase of another row."""
    missed = [
        f"{table}.{row.id}: {phrase!r}"
        for table, row in rows()
        for phrase in row.say
        if not phrase.startswith("#") and (table, row.id) not in found(f"then {phrase} was said")
    ]
    assert not missed, f"{len(missed)} phrases are never found:\n" + "\n".join(missed)


def test_every_row_can_be_found_and_has_an_example() -> None:
    bare = [f"{table}.{row.id}" for table, row in rows() if not row.say or not row.examples]
    assert not bare, "rows without say or examples: " + ", ".join(bare)


def test_every_row_says_where_it_is_from() -> None:
    for table, each in rules().tables.items():
        for row in each.values():
            assert row.source.strip(), f"{table}.{row.id}"
            assert "todo" not in row.source.lower(), f"{table}.{row.id}"


def test_phrases_that_fold_alike_say_what_decides() -> None:
    """The loader compares phrases as written; matching sees them folded (plurals, spelling), so compare those."""
    owners: dict[tuple[str, ...], list[tuple[str, Row]]] = defaultdict(list)
    for table, row in rows():
        for phrase in row.say:
            owners[tuple(mentions.split_phrase(phrase))].append((table, row))
    clashes = [
        f"{' '.join(words)}: " + ", ".join(f"{table}.{row.id}" for table, row in who)
        for words, who in owners.items()
        if len({(table, row.id) for table, row in who}) > 1 and not all(row.decided_by for _, row in who)
    ]
    assert not clashes, "said for two rows and nothing decides:\n" + "\n".join(clashes)


# Words so common in speech that alone they would name a thing in half of all sentences.
EVERYDAY = frozenset(
    "back side open cut put take took made done left right good well then used next first place time part parts small"
    " large long short top bottom end start normal line point area piece set run call see saw found felt given"
    " present old new hard soft same other free light care sole last stat can may will".split()
)


def test_no_everyday_word_stands_alone() -> None:
    """`decided_by` is where a row says what tells the everyday sense apart."""
    bad = [
        f"{table}.{row.id}: {phrase}"
        for table, row in rows()
        for phrase in row.say
        if phrase in EVERYDAY and not row.decided_by
    ]
    assert not bad, ", ".join(bad)


def test_kinds_name_sections_and_tables_that_exist() -> None:
    sections = set(note.Sections.model_fields)
    used: set[str] = set()
    for kind in rules().table("kinds", Kind).values():
        assert kind.section in sections, kind.id
        if kind.table:
            assert kind.table in rules().tables, f"{kind.id}: there is no table {kind.table}"
            used.add(kind.table)
        if kind.value == "concept":
            assert kind.table, f"{kind.id} is a concept of no table"
    # injury of words that stand for no fact: idioms hide a word, sites tell where, grades are read by their system
    # general names stand in the note only where they are denied, as the kind that their row tells
    unused = set(MENTIONED) - used - {"idioms", "general"}
    assert not unused, f"tables that no kind uses: {unused}"


def test_enough_drugs_and_what_they_name() -> None:
    drugs = rules().table("drugs", Drug)
    assert len(drugs) >= 150
    routes = rules().tables["routes"]
    for drug in drugs.values():
        assert drug.classes, drug.id
        for route in drug.routes:
            assert route in routes, f"{drug.id}: no route {route}"
        for strength in drug.strengths:
            assert re.fullmatch(r"\d+(\.\d+)? (%|[^ ]+/[^ ]+)", strength), f"{drug.id}: {strength}"


# Percent solution to mg/mL is 1 : 10 (drug labels); these two pairs are printed on US labels [from memory].
@pytest.mark.parametrize(("drug", "strength"), [("bupivacaine", "0.25 %"), ("lidocaine", "1 %"),
                                                ("ropivacaine", "0.2 %"), ("heparin", "1000 [USP'U]/mL")])  # fmt: skip
def test_strengths_of_labels(drug: str, strength: str) -> None:
    assert strength in rules().table("drugs", Drug)[drug].strengths


def test_dose_units_are_ucum() -> None:
    """Each unit is read by a parser of another project, which refuses what is no UCUM."""
    from ucumvert import get_ucum_parser

    parser = get_ucum_parser()

    def refused(unit: str) -> bool:
        try:
            parser.parse(unit)
        except Exception:  # the parser has errors of several kinds
            return True
        return False

    drugs = rules().table("drugs", Drug).values()
    units = {unit for drug in drugs for unit in (*drug.dose_units, *(one.split(" ", 1)[1] for one in drug.strengths))}
    assert {"mg", "mL", "[USP'U]/mL"} <= units
    assert [unit for unit in sorted(units) if refused(unit)] == []
    assert refused("cc")


def test_sites_and_parents_exist() -> None:
    sites = rules().table("sites", Concept)
    for table, row in rows():
        if isinstance(row, Concept):
            if row.site:
                assert row.site in sites, f"{table}.{row.id}: no site {row.site}"
            if row.within:
                assert row.within in rules().tables[table], f"{table}.{row.id}: within {row.within}"
    for row in sites.values():
        seen = {row.id}
        while row.within:
            row = sites[row.within]
            assert row.id not in seen, f"{row.id} is within itself"
            seen.add(row.id)


def test_enough_procedures_and_diagnoses() -> None:
    assert len(rules().tables["procedures"]) >= 120
    assert len({row.group for row in rules().table("procedures", Concept).values()}) >= 18
    assert len(rules().tables["diagnoses"]) >= 150


def test_families() -> None:
    families = rules().table("families", Family)
    assert len(families) >= 18
    procedures, kinds = rules().tables["procedures"], rules().tables["kinds"]
    owner: dict[str, str] = {}
    for family in families.values():
        for ident in family.procedures:
            assert ident in procedures, f"{family.id}: no procedure {ident}"
            assert ident not in owner, f"{ident} is in {family.id} and {owner[ident]}"
            owner[ident] = family.id
        assert set(family.sections) <= set(note.Sections.model_fields), family.id
        assert family.bias, family.id
        assert len(set(map(str.lower, family.bias))) == len(family.bias), f"{family.id}: a bias word twice"
        for element in family.elements:
            assert element.ask, f"{family.id}.{element.id}"
            for kind in element.kinds:
                assert kind in kinds, f"{family.id}.{element.id}: no kind {kind}"
    assert set(owner) == set(procedures), f"procedures of no family: {set(procedures) - set(owner)}"


NUMBER_WORDS = frozenset(
    "zero oh one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen"
    " eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred thousand million half quarter"
    " third first second fourth fifth sixth seventh eighth ninth tenth twice once dozen point".split()
)


def test_bias_holds_no_number_unit_side_or_negation() -> None:
    """What the recogniser is told to expect must never be able to put a number, unit or side into a note."""
    spoken_units = {
        word
        for unit in rules().table("units", Unit).values()
        for phrase in (*unit.say, *unit.written)
        for word in phrase.lower().split()
    } - {"of", "per", "a", "to", "by", "and", "c", "f", "full"}
    banned = NUMBER_WORDS | spoken_units | {"left", "right", "bilateral", "no", "not", "without", "none", "denies"}
    for family in rules().table("families", Family).values():
        for term in family.bias:
            assert not re.search(r"\d", term), f"{family.id}: {term}"
            words = set(re.split(r"[\s\-]+", term.lower()))
            hit = words & banned
            assert not hit, f"{family.id}: {term} holds {hit}"


def test_all_bad_rows_are_told_at_once(tmp_path: Path) -> None:
    (tmp_path / "drugs.toml").write_text(
        '[no-source]\nsay = ["aspirin"]\nclasses = ["nsaid"]\n\n'
        '["Bad Id"]\nsay = ["x"]\nsource = "own"\nclasses = []\n',
        encoding="utf-8",
    )
    (tmp_path / "sites.toml").write_text(
        '[knee]\nsay = ["Knee"]\nsource = "own"\ncolour = "red"\n\n[hip]\nsay = ["Hip  joint"]\nsource = "own"\n',
        encoding="utf-8",
    )
    (tmp_path / "broken.toml").write_text("[a\n", encoding="utf-8")
    with pytest.raises(GrammarError) as told:
        load(tmp_path)
    message = str(told.value)
    for part in ("drugs.toml [no-source]: source", "drugs.toml [Bad Id]: id", "sites.toml [knee]: colour",
                 "sites.toml [hip]", "lower case", "broken.toml: not TOML"):  # fmt: skip
        assert part in message, part


def test_two_meanings_need_what_decides(tmp_path: Path) -> None:
    row = '[{id}]\nsay = ["loose body"]\nsource = "own"\n'
    (tmp_path / "findings.toml").write_text(row.format(id="loose-body"), encoding="utf-8")
    (tmp_path / "specimens.toml").write_text(row.format(id="body"), encoding="utf-8")
    with pytest.raises(GrammarError, match="loose body"):
        load(tmp_path)
    decided = row + 'decided_by = "the section"\n'
    (tmp_path / "findings.toml").write_text(decided.format(id="loose-body"), encoding="utf-8")
    (tmp_path / "specimens.toml").write_text(decided.format(id="body"), encoding="utf-8")
    load.cache_clear()
    assert set(load(tmp_path).tables) == {"findings", "specimens"}


def test_labels_are_plain_words() -> None:
    """A label is printed in notes: one line, no marks of a file format."""
    for table, row in rows():
        assert re.fullmatch(r"[\w][\w \-/'’(),.%&:]*", row.name), f"{table}.{row.id}: {row.name!r}"
