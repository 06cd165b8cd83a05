"""The HL7 v2 message: valid by hl7apy's tables of version 2.5.1, complete, escaped."""

from __future__ import annotations

import unicodedata
from typing import Any

import notes
import pytest
from hl7apy.consts import VALIDATION_LEVEL
from hl7apy.parser import parse_message

from pipeline import grammar
from pipeline.exports import mdm
from pipeline.note import OperativeNote
from pipeline.site import Site

RULES = grammar.load()
STATES = {"draft": lambda note: note, "signed": notes.signed, "amended": notes.amended}
SITE = Site(
    {
        "Patient": [{"resourceType": "Patient", "identifier": [{"system": "urn:oid:2.999.1", "value": "77|12^3"}],
                     "name": [{"family": "O'Lind & Sons", "given": ["Tobias"]}], "birthDate": "1967-05-04",
                     "gender": "male"}],
        "Encounter": [{"resourceType": "Encounter", "identifier": [{"system": "urn:x", "value": "E-1"}],
                       "status": "in-progress", "class": {"code": "EMER"}}],
    }
)  # fmt: skip


def message(note: OperativeNote, site: Site = SITE) -> str:
    return mdm.write(note, RULES, site, {}).decode()


def segments(text: str, name: str) -> list[list[str]]:
    return [line.split("|") for line in text.split("\r") if line.startswith(f"{name}|")]


def unescaped(text: str) -> str:
    """The five escape sequences of HL7 v2.5.1, section 2.7, taken back one after the other."""
    plain = {"F": "|", "S": "^", "T": "&", "R": "~", "E": "\\"}
    parts = text.split("\\")
    return "".join(plain[part] if index % 2 else part for index, part in enumerate(parts))


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("name", ["empty", "hip", "doubtful", "odd_text"])
def test_the_message_is_valid_when_read_again(name: str, state: str) -> None:
    text = message(STATES[state](notes.NOTES[name]()))
    # read strictly, hl7apy takes no text of more than 199 characters; the standard's limit for TX is 65536
    strict = max(len(line[5]) for line in segments(text, "OBX")) < 200
    level = VALIDATION_LEVEL.STRICT if strict else VALIDATION_LEVEL.TOLERANT
    assert strict is (name != "odd_text")
    read = parse_message(text, validation_level=level, find_groups=True)
    assert read.validate()
    assert read.msh.msh_9.value == "MDM^T02^MDM_T02"


def test_every_kind_of_fact_makes_a_line() -> None:
    note = notes.every_kind()
    told = segments(message(note), "OBX")
    entries = sum(len(entries) for _, entries in note.sections.items())
    assert len(told) == entries + 1
    assert [int(line[1]) for line in told] == list(range(1, len(told) + 1))


@pytest.mark.parametrize(
    ("state", "result", "completion", "available"),
    [("draft", "P", "PA", "UN"), ("signed", "F", "LA", "AV"), ("amended", "C", "LA", "AV")],
)
def test_the_state_shows(state: str, result: str, completion: str, available: str) -> None:
    # HL7 tables 0085 (result status), 0271 (completion) and 0273 (availability)
    text = message(STATES[state](notes.hip()))
    assert {line[11] for line in segments(text, "OBX")} == {result}
    txa = segments(text, "TXA")[0]
    assert (txa[17], txa[19]) == (completion, available)
    assert ("Amara Obi" in txa[22] if len(txa) > 22 else False) is (state != "draft")


def test_separators_in_what_was_said_are_escaped() -> None:
    text = message(notes.odd_text())
    told = [unescaped(line[5]) for line in segments(text, "OBX")]
    assert any(notes.MARKUP in line for line in told)
    assert any(notes.ARABIC in line for line in told)
    assert any("🩹" in line for line in told)
    assert {char for char in text if unicodedata.category(char) == "Cc"} == {"\r"}


def test_escaping_is_the_one_of_the_standard() -> None:
    assert mdm.escaped("a|b^c&d~e\\f") == "a\\F\\b\\S\\c\\T\\d\\R\\e\\E\\f"
    for text in ("\\F\\", "\\\\", "|\\|", "\\E\\H\\", "plain"):
        assert unescaped(mdm.escaped(text)) == text


def test_texts_that_already_look_escaped_come_back_as_said() -> None:
    told = notes.Telling()
    said = ["\\F\\ and \\H\\ stay", "C:\\notes\\E", "\\\\ two", "a \\.br\\ b"]
    for text in said:
        told.say("finding", text=text)
    lines = [unescaped(line[5]) for line in segments(message(told.note()), "OBX")]
    for text in said:
        assert any(text.lower() in line.lower() for line in lines), text


def test_identity_comes_from_the_site_or_is_a_marked_placeholder() -> None:
    pid = segments(message(notes.hip()), "PID")[0]
    assert unescaped(pid[3].split("^")[0]) == "77|12^3"
    assert unescaped(pid[5].split("^")[0]) == "O'Lind & Sons"
    assert (pid[7], pid[8]) == ("19670504", "M")
    assert segments(message(notes.hip()), "PV1")[0][2] == "E"
    bare = segments(message(notes.hip(), Site()), "PID")[0]
    assert bare[3].startswith("PLACEHOLDER")
    assert bare[5].startswith("PLACEHOLDER")


def test_long_lines_are_cut_between_words_and_nothing_is_lost() -> None:
    text = message(notes.odd_text())
    told = [line for line in segments(text, "OBX") if "and then" in line[5]]
    assert len(told) > 10
    assert " ".join(line[5] for line in told).lower().count("and then") == 20000
    assert max(len(line[5]) for line in told) <= 4000


def test_doubts_and_open_findings_are_said() -> None:
    told = " ".join(line[5] for line in segments(message(notes.doubtful()), "OBX"))
    assert "unsure: two readings of the sound" in told
    assert "also heard as right" in told
    assert "The volumes do not add up." in " ".join(line[5] for line in segments(message(notes.hip()), "OBX"))


def test_the_same_note_gives_the_same_bytes() -> None:
    made: Any = message(notes.hip())
    assert made == message(notes.hip())
