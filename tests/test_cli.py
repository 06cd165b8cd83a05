"""The command as a user meets it: results, exit codes, clear one-line errors, nothing half-written."""

from __future__ import annotations

import json
import os
from pathlib import Path

import av
import numpy as np
import pytest
from click.testing import CliRunner, Result

from pipeline.cli import main

FILES = {"note.json", "bundle.json", "note.docx", "words.json"}
ROOT = Path(__file__).resolve().parent.parent
NARRATION = (
    "Left hip arthroscopy. Preoperative diagnosis labral tear of the left hip. Heparin one thousand units per "
    "millilitre. First draw five millilitres, second draw four millilitres, total ten millilitres."
)


def voxop(*arguments: str | Path, text: str | None = None) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments], input=text)


def one_line(result: Result) -> str:
    """The error as printed: exactly one line that names the program."""
    (line,) = [line for line in result.stderr.splitlines() if line.strip()]
    assert line.startswith("voxop: ")
    return line


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.txt"
    path.write_text(NARRATION, encoding="utf-8")
    return path


def test_note_from_text_writes_four_files(case: Path, tmp_path: Path) -> None:
    result = voxop("note", case, "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert {path.name for path in (tmp_path / "out").iterdir()} == FILES
    assert "10 mL" in result.output
    assert "9 mL" in result.output


def test_standard_input_and_stored_words_give_the_same_facts(case: Path, tmp_path: Path) -> None:
    assert voxop("note", "-", "--out", tmp_path / "a", text=NARRATION).exit_code == 0
    assert voxop("note", case, "--out", tmp_path / "b").exit_code == 0
    assert voxop("note", tmp_path / "b" / "words.json", "--out", tmp_path / "c").exit_code == 0
    facts = [json.loads((tmp_path / name / "note.json").read_text("utf-8"))["facts"] for name in "abc"]
    assert facts[0] == facts[1]

    def values(these: list[dict[str, object]]) -> list[tuple[object, ...]]:
        return [(fact["kind"], fact["value"], fact["unit"], fact["laterality"]) for fact in these]

    assert values(facts[1]) == values(facts[2])


def test_strict_exits_3_only_for_a_blocking_finding(tmp_path: Path) -> None:
    conflict = "Procedure: left hip arthroscopy. Time out confirmed, right hip. Arthroscopy of the right hip was done."
    result = voxop("note", "-", "--out", tmp_path / "a", "--json", "--strict", text=conflict)
    severities = {finding["severity"] for finding in json.loads(result.stdout)["findings"]}
    assert result.exit_code == 3
    assert "blocking" in severities
    assert voxop("check", tmp_path / "a" / "note.json", "--strict").exit_code == 3
    assert voxop("check", tmp_path / "a" / "note.json").exit_code == 0


def test_a_finding_is_settled_with_a_reason_and_opened_again(tmp_path: Path) -> None:
    conflict = "Procedure: left hip arthroscopy. Time out confirmed, right hip. Arthroscopy of the right hip was done."
    voxop("note", "-", "--out", tmp_path, "--to", "json", text=conflict)
    path = tmp_path / "note.json"
    blocking = [one for one in json.loads(voxop("check", path, "--json").stdout) if one["severity"] == "blocking"]
    keys = [one["key"] for one in blocking]
    assert all(key in "".join(voxop("check", path).stdout.split()) for key in keys)
    named = [part for key in keys for part in ("--settle", key)]

    untouched = path.read_bytes()
    for lacking in ((), ("--reason", "a slip"), ("--by", "Dr Harper")):
        assert voxop("check", path, *named, *lacking).exit_code == 2
    assert voxop("check", path, "--settle", "no-such", "--reason", "a slip", "--by", "Dr Harper").exit_code == 2
    assert path.read_bytes() == untouched

    said = ("--reason", "right is right, the first word was a slip", "--by", "Dr Harper")
    assert voxop("check", path, *named, *said, "--strict").exit_code == 0
    assert voxop("check", path, "--strict").exit_code == 0
    assert voxop("check", path, "--strict", "--profile", "uk").exit_code == 0
    note = json.loads(path.read_text("utf-8"))
    assert [(one["action"], one["target"], one["by"]) for one in note["decisions"]] == [
        ("settle", key, "Dr Harper") for key in keys
    ]

    assert voxop("check", path, "--reopen", keys[0], "--reason", "heard again", "--by", "Dr Mason").exit_code == 0
    assert voxop("check", path, "--strict").exit_code == 3
    told = voxop("check", path, "--decisions").stdout
    assert "the first word was a slip" in told
    assert "Dr Mason  reopen" in told
    assert len(json.loads(voxop("check", path, "--decisions", "--json").stdout)) == len(keys) + 1


def test_chosen_outputs_only(case: Path, tmp_path: Path) -> None:
    assert voxop("note", case, "--out", tmp_path / "out", "--to", "json,aftercare").exit_code == 0
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"note.json", "aftercare.docx", "words.json"}
    assert voxop("export", tmp_path / "out" / "note.json", "--to", "docx,fhir", "--out", tmp_path / "x").exit_code == 0
    assert {path.name for path in (tmp_path / "x").iterdir()} == {"note.docx", "bundle.json"}


def test_unknown_names_list_what_there_is(case: Path, tmp_path: Path) -> None:
    assert "Known:" in voxop("note", case, "--out", tmp_path, "--to", "pdf").stderr
    for option in ("--family", "--profile"):
        result = voxop("note", case, "--out", tmp_path / "o", option, "nowhere")
        assert result.exit_code == 2
        assert "Known:" in one_line(result)
    assert not (tmp_path / "o").exists()


BAD: dict[str, bytes] = {
    "not-sound.wav": b"this is no sound at all" * 50,
    "empty.flac": b"",
    "empty.txt": b"  \n",
    "latin.txt": "gr\xf6\xdfe".encode("latin-1"),
    "broken.json": b'{"format": "voxop-words", "version": 1',
    "other.json": b'{"words": 3}',
}


@pytest.mark.parametrize("name", [*BAD, "missing.wav", "missing.txt", "folder.wav", "silence.wav"])
def test_bad_input_is_one_clear_line(name: str, tmp_path: Path) -> None:
    source = tmp_path / name
    if name in BAD:
        source.write_bytes(BAD[name])
    elif name.startswith("folder"):
        source.mkdir()
    elif name.startswith("silence"):
        quiet(source)
    result = voxop("note", source, "--out", tmp_path / "out")
    assert result.exit_code == 2, result.output
    assert name in one_line(result)
    assert not (tmp_path / "out").exists()


def quiet(path: Path) -> None:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=16_000, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 32_000), np.int16), format="s16", layout="mono")
        frame.sample_rate = 16_000
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def test_a_batch_goes_on_and_says_so(case: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.wav"
    bad.write_bytes(b"nothing")
    result = voxop("note", bad, case, "--out", tmp_path / "out", "--quiet")
    assert result.exit_code == 2
    assert "1 of 2 sources failed" in result.stderr
    assert (tmp_path / "out" / "case" / "note.json").exists()
    assert not (tmp_path / "out" / "bad").exists()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_unwritable_out_for_a_plain_user(case: Path, tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o500)
    result = voxop("note", case, "--out", closed / "out")
    assert result.exit_code == 2
    assert "closed" in one_line(result)


def test_out_that_is_a_file(case: Path, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file")
    result = voxop("note", case, "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert "--out" in one_line(result)
    assert (tmp_path / "out").read_text() == "a file"


def test_check_and_export_of_what_is_no_note(tmp_path: Path) -> None:
    path = tmp_path / "note.json"
    path.write_text('{"id": 3}')
    for arguments in (("check", path), ("export", path, "--to", "docx", "--out", tmp_path / "x")):
        result = voxop(*arguments)
        assert result.exit_code == 2
        assert "note" in one_line(result)


def test_schema_is_json_schema_and_accepts_the_note(case: Path, tmp_path: Path) -> None:
    schema = json.loads(voxop("schema").stdout)
    assert schema["title"] == "OperativeNote"
    assert {"facts", "findings", "sections"} <= set(schema["properties"])


def test_help_of_every_command_says_something() -> None:
    for name, command in main.commands.items():
        assert command.help, name
        assert voxop(name, "--help").exit_code == 0
