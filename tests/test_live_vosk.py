"""The small model for Vosk while somebody speaks: partial text in the terminal and on the theatre page, and a command
that the page obeys before its text is there. Real sound."""

from __future__ import annotations

import json
import wave
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from voice import speak

from pipeline import cli
from pipeline.engines import vosk
from pipeline.sound import RATE, Samples
from tests.test_spotting import Texts
from tests.test_web_live import connected, feed, house

SAID = "no known fracture in the left femoral neck"


@pytest.fixture(scope="module")
def ear() -> vosk.Vosk:
    return vosk.load("vosk-small")


def sound(text: str) -> Samples:
    quiet = np.zeros(RATE * 3 // 2, np.float32)
    return np.concatenate([quiet[: RATE // 2], 0.5 * speak(text), quiet]).astype(np.float32)


def test_listen_tells_words_before_their_utterance_ends(tmp_path: Path) -> None:
    path = tmp_path / "said.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes((sound(SAID) * 32767).astype("<i2").tobytes())
    # At the pace of speech: sound that is there at once is heard in one piece.
    result = CliRunner().invoke(cli.main, ["listen", "--from", str(path), "--engine", "vosk", "--model", "vosk-small",
                                           "--json", "--out", str(tmp_path / "out")])  # fmt: skip
    assert result.exit_code == 0, result.output
    events = [json.loads(line) for line in result.stdout.splitlines()]
    final = next(at for at, event in enumerate(events) if event["event"] == "utterance")
    early = [event["text"] for event in events[:final] if event["event"] == "partial"]
    assert early
    assert early[0] != early[-1]
    assert "left" in events[final]["text"]
    assert events[-1]["event"] == "written"


def test_the_theatre_page_shows_words_before_their_utterance_ends(ear: vosk.Vosk, tmp_path: Path) -> None:
    with house(tmp_path, ear) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            socket.until("state", phase="listening")
            feed(socket, sound(SAID))
            assert socket.until("partial")["text"]
            socket.send_json({"do": "end"})
            ended = socket.until("state", phase="ended")
        assert ended["partial"] == ""
        assert "left" in [word.text for word in made.desk.open(case).words.words]


def test_the_page_shows_the_read_back_before_the_text_has_the_command(ear: vosk.Vosk, tmp_path: Path) -> None:
    with house(tmp_path, Texts()) as (made, client):
        made.desk.spots = ear
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            socket.until("state", phase="listening")
            feed(socket, sound("note keeper read back"))
            socket.until("state", phase="read-back")
            socket.send_json({"do": "end"})
            socket.until("state", phase="ended")
        (notice,) = made.desk.open(case).note.source.notices
        assert "'note keeper read back'" in notice
