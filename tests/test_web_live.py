"""Live dictation behind the theatre page: its socket, its rooms, and what the screen is told."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.websockets import WebSocketDisconnect

from pipeline import grammar, run, soundstore
from pipeline.casefiles import to_pcm
from pipeline.contexts import patient_context
from pipeline.engines.base import Options
from pipeline.engines.scripted import ScriptedSession
from pipeline.live import LiveCase
from pipeline.records import Word
from pipeline.rows import Drug, LookAlike
from pipeline.site import Site
from pipeline.sound import RATE
from pipeline.tokens import words_from_text
from pipeline.web import live, microphone, spoken, theatre_page
from tests.theatre_parts import Told, short_case
from tests.web_parts import Browser, House

RULES = grammar.load()
PIECE = 4000
LEFT = "Left ankle arthroscopy. Estimated blood loss ten millilitres. No specimens. The counts are correct."
RIGHT = "Right carpal tunnel release. Estimated blood loss five millilitres. No specimens. The counts are correct."


class InTurn:
    """An engine whose first case hears the first text, whose second case the second, and so on.

    What is heard anew at the end of a case (with the words of its family) is `again`.
    """

    name, model, sha256, streams = "in-turn", "", "", False

    def __init__(self, *texts: str) -> None:
        self.texts = list(texts)
        self.again = texts[-1]

    def open(self, options: Options) -> ScriptedSession:
        return ScriptedSession(tuple(words_from_text(self.texts.pop(0) if self.texts else self.again)))


@contextmanager
def house(folder: Path, engine: Any) -> Iterator[tuple[House, Browser]]:
    made = House(folder, load_engine=lambda: engine)
    with Browser(made, "ann") as client:
        yield made, client


class Talk:
    """A socket of the test client that loses nothing: a message that comes while another is waited for is set aside,
    in order, for whoever waits for it next. A state may come before or after an acknowledgement."""

    def __init__(self, socket: Any) -> None:
        self._socket, self._aside = socket, list[dict[str, Any]]()
        self.send_json, self.send_bytes, self.send_text = socket.send_json, socket.send_bytes, socket.send_text

    def until(self, kind: str, **fields: Any) -> dict[str, Any]:
        """The next message of that kind with these fields; those of its kind before it are gone then."""
        passed = -1
        for _ in range(400):
            passed += 1
            if passed == len(self._aside):
                self._aside.append(self._socket.receive_json())
            message = self._aside[passed]
            assert not message.get("problem"), message["problem"]
            if message["is"] == kind and all(message.get(name) == value for name, value in fields.items()):
                before = [one for one in self._aside[:passed] if one["is"] != kind]
                self._aside = before + self._aside[passed + 1 :]
                return message
        raise AssertionError(f"no message {kind} {fields}")


@contextmanager
def connected(client: Browser, case: str, session: str = "page-1", **hello: Any) -> Iterator[Talk]:
    with client.websocket_connect(f"/theatre/{case}/socket") as socket:
        socket.send_json({"do": "hello", "session": session, "record": True} | hello)
        yield Talk(socket)


def send(socket: Talk, position: int, pcm: bytes) -> int:
    """Sends a piece and waits until it is on the disk; the number of samples there."""
    socket.send_bytes(position.to_bytes(8, "little") + pcm)
    return int(socket.until("kept")["received"])


def noise(seed: int, samples: int = PIECE) -> bytes:
    """Sound of the full range, the same for the same seed."""
    return np.random.default_rng(seed).integers(-32768, 32768, samples).astype("<i2").tobytes()


def test_every_piece_lies_on_the_disk_as_it_was_sent(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        sound = made.desk.files(case).sound
        with connected(client, case) as socket:
            assert socket.until("ready") == {"is": "ready", "received": 0, "at": 0, "zero": 0, "record": True,
                                             "phase": "ready"}  # fmt: skip
            socket.send_json({"do": "begin"})
            socket.until("state", phase="listening")
            sent = [noise(seed) for seed in range(6)]
            for number, pcm in enumerate(sent):
                assert send(socket, number * PIECE, pcm) == (number + 1) * PIECE
                assert sound.read_bytes() == b"".join(sent[: number + 1])
            # sent twice, and half of it new
            assert send(socket, 5 * PIECE, sent[5]) == 6 * PIECE
            half = PIECE // 2
            assert send(socket, 5 * PIECE + half, sent[5][PIECE:] + noise(9, half)) == 6 * PIECE + half
            socket.send_json({"do": "end"})
            ended = socket.until("state", phase="ended")
        assert sound.read_bytes() == b"".join(sent) + noise(9, PIECE // 2)
        assert ended["side"]["text"] == "LEFT"
        note = made.desk.open(case).note
        assert note.source.notices == []
        assert note.source.seconds == pytest.approx(6.5 * PIECE / RATE)
        # and the page of a case that has a note is the review
        assert client.get(f"/theatre/{case}", follow_redirects=False).headers["location"] == f"/cases/{case}"


def test_a_lost_connection_loses_nothing(tmp_path: Path) -> None:
    sent = [noise(seed) for seed in range(12)]
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            for number in range(4):
                send(socket, number * PIECE, sent[number])
            # these two are sent and never acknowledged
            for number in (4, 5):
                socket.send_bytes((number * PIECE).to_bytes(8, "little") + sent[number])
        with connected(client, case) as socket:
            received = socket.until("ready", record=True)["received"]
            assert 4 * PIECE <= received <= 6 * PIECE
            for number in range(4, 12):  # everything that was not acknowledged, again
                send(socket, number * PIECE, sent[number])
            socket.send_json({"do": "end"})
            socket.until("state", phase="ended")
        assert made.desk.files(case).sound.read_bytes() == b"".join(sent)
        assert made.desk.open(case).note.source.notices == []


def test_sound_that_never_came_is_marked(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            send(socket, 0, noise(1))
            assert send(socket, PIECE + 2 * RATE, noise(2)) == 2 * PIECE + 2 * RATE
            socket.send_json({"do": "end"})
            socket.until("state", phase="ended")
        data = made.desk.files(case).sound.read_bytes()
        assert data == noise(1) + bytes(2 * RATE * 2) + noise(2)
        (notice,) = made.desk.open(case).note.source.notices
        assert "from 0.2 s to 2.2 s" in notice


def test_a_session_that_ends_while_somebody_dictates_loses_no_sound(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            send(socket, 0, noise(1))
            made.accounts.change("ann", by="terminal", active=False)  # ends her sessions
            monkeypatch.setattr(live, "LOOKED_AT_EVERY", 0.0)
            socket.send_bytes(PIECE.to_bytes(8, "little") + noise(2))
            socket.until("signed-out")
            with pytest.raises(WebSocketDisconnect):
                socket.until("kept", received=2 * PIECE)
        with pytest.raises(WebSocketDisconnect), connected(client, case) as socket:
            socket.until("ready")
        made.accounts.change("ann", by="terminal", active=True)
        client.sign_in("ann")
        with connected(client, case) as socket:
            assert socket.until("ready", record=True)["received"] == PIECE, "the page still has the rest"
            assert send(socket, PIECE, noise(2)) == 2 * PIECE
        assert made.desk.files(case).sound.read_bytes() == noise(1) + noise(2)


def test_a_page_that_counts_wrongly_cannot_fill_the_disk(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            send(socket, 0, noise(1))
            for position in (2**63, RATE * 3600):
                socket.send_bytes(position.to_bytes(8, "little") + noise(2))
                assert "wrongly" in socket.until("problem")["what"]
            assert send(socket, PIECE, noise(2)) == 2 * PIECE
        assert made.desk.files(case).sound.stat().st_size == 2 * PIECE * 2


def test_a_long_pause_is_told_as_at_least_what_it_was() -> None:
    assert soundstore.missing(12.0, 14.5) == "The sound is missing from 12.0 s to 14.5 s."
    told = soundstore.missing(12.0, 12.0 + soundstore.LONGEST_GAP)
    assert "ten minutes or more" in told
    assert "10 minutes of silence" in told


def test_a_page_that_is_loaded_anew_counts_the_time_without_sound(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            send(socket, 0, noise(1))
        time.sleep(1.0)
        with connected(client, case, "page-2") as socket:
            ready = socket.until("ready", record=True)
            assert ready["received"] == PIECE
            assert 0.9 * RATE < ready["at"] - PIECE < 6 * RATE
            send(socket, ready["at"], noise(2))
            socket.send_json({"do": "end"})
            socket.until("state", phase="ended")
        assert len(made.desk.open(case).note.source.notices) == 1


def test_two_cases_at_once_are_not_mixed(tmp_path: Path) -> None:
    engine = InTurn(LEFT, RIGHT)
    with house(tmp_path, engine) as (made, client):
        ann = made.user("ann")
        context = patient_context(family="Lind", given="Maja", number="700", system="urn:oid:2.999.1")
        first, second = made.desk.new_case(ann, "one", context), made.desk.new_case(ann, "two")
        with connected(client, first, "a") as one, connected(client, second, "b") as two:
            one.send_json({"do": "begin"})
            one.until("state", phase="listening")
            two.send_json({"do": "begin"})
            two.until("state", phase="listening")
            for number in range(5):
                send(one, number * PIECE, noise(10 + number))
                send(two, number * PIECE, noise(20 + number))
            two.send_json({"do": "end"})
            right = two.until("state", phase="ended")
            engine.again = LEFT
            send(one, 5 * PIECE, noise(15))
            one.send_json({"do": "end"})
            left = one.until("state", phase="ended")
        assert made.desk.files(first).sound.read_bytes() == b"".join(noise(10 + number) for number in range(6))
        assert made.desk.files(second).sound.read_bytes() == b"".join(noise(20 + number) for number in range(5))
        assert (left["side"]["text"], right["side"]["text"]) == ("LEFT", "RIGHT")
        assert "Maja Lind" in left["patient"]
        assert "not identified" in right["patient"]
        assert made.desk.open(first).note.of("procedure")[0].name != made.desk.open(second).note.of("procedure")[0].name


def test_who_may_not(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, surgeon):
        case = made.desk.new_case(made.user("ann"))
        path = f"/theatre/{case}/socket"
        refused = [(Browser(made), {}), (Browser(made, "ada"), {}), (surgeon, {"origin": "https://elsewhere.example"})]
        for client, headers in refused:
            with pytest.raises(WebSocketDisconnect) as closed, client.websocket_connect(path, headers=headers):
                pass
            assert closed.value.code in (1008, 403)
        assert Browser(made, "ada").get(f"/theatre/{case}").status_code == 403
        assert Browser(made).get("/theatre", follow_redirects=False).headers["location"] == "/sign-in"
        coder = Browser(made, "cem")
        assert coder.get(f"/theatre/{case}").status_code == 200
        with connected(coder, case, "c") as socket:
            assert socket.until("ready")["record"] is False
            socket.send_json({"do": "begin"})
            assert "looks on" in socket.until("problem")["what"]
            socket.send_bytes(bytes(8) + noise(1))
        assert not made.desk.files(case).has_sound()
        assert made.desk.case(case).state == "new"


def test_one_page_records_until_another_takes_over(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case, "a") as one:
            one.send_json({"do": "begin"})
            send(one, 0, noise(1))
            with connected(client, case, "b") as two:
                two.until("taken")
                assert two.until("ready")["record"] is False
                two.send_bytes(PIECE.to_bytes(8, "little") + noise(2))
                two.send_json({"do": "hello", "session": "b", "record": True, "take": True})
                assert two.until("ready")["record"] is True
                one.until("taken")
                one.send_bytes(PIECE.to_bytes(8, "little") + noise(3))
                assert send(two, PIECE, noise(4)) == 2 * PIECE
                two.send_json({"do": "end"})
                two.until("state", phase="ended")
        assert made.desk.files(case).sound.read_bytes() == noise(1) + noise(4)


def feed(socket: Talk, sound: np.ndarray, first: int = 0) -> None:
    pcm = to_pcm(sound)
    for at in range(0, len(pcm), 2 * RATE):
        send(socket, first + at // 2, pcm[at : at + 2 * RATE])


def test_the_read_back_is_confirmed_by_voice_with_its_place_in_the_sound(tmp_path: Path) -> None:
    sound, words = short_case(0.0)
    # The voice of the recording's opening stands for the team's: what counts is that somebody speaks there.
    voice, at = sound[: round(9.6 * RATE)], 9.8
    said = tuple(
        Word(1000 + index, text, start=at + 2 + index / 2, end=at + 2.4 + index / 2, confidence=0.9)
        for index, text in enumerate(("Left", "ankle,", "confirmed."))
    )
    told = Told(tuple(word for word in words if word.end is not None and word.end < 9.6) + said)
    with house(tmp_path, told) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            feed(socket, np.concatenate([voice, np.zeros(round(0.2 * RATE), dtype=np.float32)]))
            pause = np.zeros(RATE, dtype=np.float32)
            feed(socket, pause, round(9.8 * RATE))
            while not socket.until("state")["procedures"]:
                pass
            socket.send_json({"do": "read-back"})
            shown = socket.until("state", phase="read-back")
            feed(socket, np.concatenate([voice, pause]), round(10.8 * RATE))
            confirmed = socket.until("state")
            while confirmed["confirmed"] is None:
                confirmed = socket.until("state")
            assert confirmed["confirmed"]["how"] == "spoken"
            socket.send_json({"do": "end"})
            socket.until("state", phase="ended")
        (entry,) = client.get(f"/api/cases/{case}/read-back").json()
        assert (entry["by"], entry["how"], entry["heard"]) == ("ann", "spoken", "Left ankle, confirmed.")
        assert said[0].start is not None
        assert entry["start"] == pytest.approx(said[0].start, abs=0.3)
        assert entry["shown"] == [[row["label"], *row["values"]] for row in shown["readback"]]
        assert client.get(f"/api/cases/{case}/sound", params={"start": entry["start"], "end": entry["end"]}).content
        assert made.store.verify() == []


def test_a_confirmation_does_not_outlast_what_it_confirmed(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            send(socket, 0, noise(1))
            socket.send_json({"do": "confirm"})  # nothing is shown: nothing can be confirmed
            socket.send_json({"do": "read-back"})
            assert socket.until("state", phase="read-back")["confirmed"] is None
            socket.send_json({"do": "confirm"})
            state = socket.until("state", phase="read-back")
            assert state["confirmed"] == {"how": "pressed", "at": 0.2, "heard": "", "stale": False}
            socket.send_json({"do": "end"})  # only now the words of the noise come
            assert socket.until("state", phase="ended")["confirmed"]["stale"] is True


@pytest.mark.parametrize("slow", [0.0, 0.3], ids=["", "ended while it is still being written"])
def test_a_case_begins_by_voice_and_nothing_before_is_stored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, slow: float
) -> None:
    def take(live: LiveCase, position: int, pcm: bytes, write: Any = LiveCase.take) -> None:
        time.sleep(slow)
        write(live, position, pcm)

    monkeypatch.setattr(LiveCase, "take", take)
    sound, _ = short_case(0.0)
    voice = sound[: round(9.6 * RATE)]
    chat, begin = "The weather was fine on Sunday.", "Note keeper, begin the note. Left ankle arthroscopy."

    def timed(text: str, start: float) -> tuple[Word, ...]:
        return tuple(Word(index, word, start=start + index / 3, end=start + index / 3 + 0.3, confidence=0.9)
                     for index, word in enumerate(text.split()))  # fmt: skip

    class Both:
        """Hears the chat and the beginning in standby; the beginning alone, from its own start, in the case."""

        name, model, sha256, streams = "both", "", "", False
        opened = 0

        def open(self, options: Options) -> ScriptedSession:
            self.opened += 1
            if self.opened == 1:
                return ScriptedSession(timed(chat, 1.0) + timed(begin, 12.5))
            return ScriptedSession(timed(begin, 1.0))

    with house(tmp_path, Both()) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        pause = np.zeros(round(1.4 * RATE), dtype=np.float32)
        with connected(client, case) as socket:
            socket.send_json({"do": "stand-by"})
            socket.until("state", phase="standby")
            heard = np.concatenate([voice, pause, voice, pause])
            feed(socket, heard)
            socket.until("state", phase="listening")
            socket.send_json({"do": "end"})
            socket.until("state", phase="ended")
        stored = made.desk.files(case).sound.read_bytes()
        begun = to_pcm(heard).rfind(stored) // 2
        assert begun > 0
        assert len(voice) < begun < len(voice) + len(pause) + RATE, "stored from the beginning that was said"
        note = made.desk.open(case).note
        assert note.of("procedure")[0].laterality == "left"
        assert "weather" not in note.to_json()


def test_a_microphone_of_the_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sent = [noise(seed) for seed in range(3)]

    def opened(stop: threading.Event) -> Iterator[bytes]:
        return iter(sent)

    monkeypatch.setattr(microphone, "opened", opened)
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            socket.send_json({"do": "server-microphone", "on": True})
            socket.until("server-microphone")
            sound = made.desk.files(case).sound
            limit = time.monotonic() + 10
            while sound.stat().st_size < 6 * PIECE and time.monotonic() < limit:
                time.sleep(0.02)
            socket.send_json({"do": "end"})
            socket.until("state", phase="ended")
        assert sound.read_bytes() == b"".join(sent)


def test_no_recogniser_is_told_and_nothing_begins(tmp_path: Path) -> None:
    from pipeline.errors import ModelMissing

    def missing() -> Any:
        raise ModelMissing("The model is not there.", "Run: voxop models join")

    made = House(tmp_path, load_engine=missing)
    with Browser(made, "ann") as client:
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            problem = socket.until("problem")
            assert (problem["what"], problem["do"]) == ("The model is not there.", "Run: voxop models join")


def test_a_broken_message_does_not_end_the_dictation(tmp_path: Path) -> None:
    with house(tmp_path, InTurn(LEFT)) as (made, client):
        case = made.desk.new_case(made.user("ann"))
        with connected(client, case) as socket:
            socket.send_json({"do": "begin"})
            send(socket, 0, noise(1))
            for bad in ("{", "[1]", "null", '{"do": 5}'):
                socket.send_text(bad)
            for bad_piece in (b"", b"123"):
                socket.send_bytes(bad_piece)
            assert send(socket, PIECE, noise(2)) == 2 * PIECE


@pytest.mark.parametrize(
    ("said", "counts"),
    [
        ("Confirmed.", True), ("Left ankle arthroscopy, confirmed.", True), ("We confirm.", True),
        ("That is correct.", True), ("Not confirmed.", False), ("Confirmed, but the counts are open.", False),
        ("Is that confirmed?", False), ("That is not correct.", False), ("Who confirms?", False),
        ("Wait, stop.", False), ("The counts are correct.", False), ("To be confirmed.", False),
    ],
)  # fmt: skip
def test_what_confirms_a_read_back(said: str, counts: bool) -> None:
    words = tuple(words_from_text(said))
    assert [one[0] for one in spoken.commands(words, RULES, read_back=True)] == (["confirm"] if counts else [])
    assert spoken.commands(words, RULES, read_back=False) == []


@pytest.mark.parametrize(
    ("said", "commands"),
    [("Note keeper, read back.", ["read_back"]), ("Note keeper, end the note.", ["end"]),
     ("The end of the note was read back.", [])],
)  # fmt: skip
def test_what_is_said_to_the_screen(said: str, commands: list[str]) -> None:
    words = tuple(words_from_text(said))
    assert [one[0] for one in spoken.commands(words, RULES, read_back=False)] == commands


def shown(text: str) -> dict[str, Any]:
    return theatre_page.state(run.make_note(run.from_text(text), RULES), RULES, Site())


@pytest.mark.parametrize(
    ("text", "side", "how"),
    [
        ("Left ankle arthroscopy.", "LEFT", "said"),
        ("Right carpal tunnel release.", "RIGHT", "said"),
        ("Bilateral carpal tunnel release.", "BOTH SIDES", "said"),
        ("Ankle arthroscopy.", "NO SIDE SAID", "missing"),
        ("Left ankle arthroscopy. Time out was done, right ankle confirmed.", "LEFT or RIGHT?", "conflict"),
        ("The weather is fine.", "—", ""),
    ],
)  # fmt: skip
def test_the_side_is_shown_as_it_stands(text: str, side: str, how: str) -> None:
    told = shown(text)["side"]
    assert (told["text"], told["how"]) == (side, how)


def test_what_is_open_is_ordered_by_what_must_be_settled_first() -> None:
    told = shown(
        "Left ankle arthroscopy. Time out was done, right ankle confirmed. First draw five millilitres. Second draw "
        "four millilitres. Total aspirate ten millilitres."
    )["open"]
    assert told[0]["severity"] == "blocking"
    assert [one["now"] for one in told] == sorted((one["now"] for one in told), reverse=True)
    sums = [index for index, one in enumerate(told) if "5 + 4 = 9 mL" in one["arithmetic"]]
    unsaid = [index for index, one in enumerate(told) if one["key"] == "unsaid"]
    assert sums
    assert 0 < sums[0] < unsaid[0]
    assert all(word in told[unsaid[0]]["message"] for word in ("counts", "specimens"))


def test_a_drug_whose_name_is_taken_for_another_is_asked_about() -> None:
    """Pairs: FDA and ISMP lists of confused drug names (from memory)."""
    told = {one["key"]: one for one in shown("Left ankle arthroscopy. Ephedrine six milligrams was given.")["open"]}
    assert "EPHEDRINE, not adrenaline" in told["look-alike"]["message"].replace("epinephrine", "adrenaline").replace(
        "adrenaline (adrenaline)", "adrenaline"
    )
    plain = shown("Left ankle arthroscopy. Tranexamic acid one gram was given. Allergic to ephedrine.")["open"]
    assert "look-alike" not in {one["key"] for one in plain}


def test_look_alikes_are_drugs_of_the_table() -> None:
    drugs = RULES.table("drugs", Drug)
    pairs = [row.pair for row in RULES.table("look_alikes", LookAlike).values()]
    assert len(pairs) == len({frozenset(pair) for pair in pairs}) > 10
    assert all(one in drugs for pair in pairs for one in pair)


def test_the_sign_out_has_the_items_of_the_who_and_three_states() -> None:
    """Items: WHO surgical safety checklist (2009), sign-out, from memory: procedure, counts, specimens, equipment,
    concerns for recovery."""
    told = {item["id"]: item for item in shown("Left ankle arthroscopy. No specimens. Counts are correct.")["signout"]}
    assert set(told) == {"procedure", "counts", "specimens", "equipment", "recovery"}
    assert told["procedure"]["state"] == told["counts"]["state"] == "said"
    assert told["specimens"]["state"] == "none"
    assert told["equipment"]["state"] == "not said"
    assert "correct" in told["counts"]["value"].lower()


def test_the_read_back_says_what_was_given_and_what_was_never_said() -> None:
    rows = {row["label"]: row for row in shown(
        "Left hip arthroscopy. Cefazolin two grams intravenously was given. Enoxaparin forty milligrams daily for "
        "fourteen days. Tourniquet time forty-eight minutes. Estimated blood loss fifty millilitres."
    )["readback"]}  # fmt: skip
    assert rows["Side"]["values"] == ["LEFT"]
    assert "50 mL" in rows["Blood loss"]["values"][0]
    assert "2 g" in rows["Medicines given"]["values"][0]
    assert rows["Counts"]["values"] == rows["Specimens"]["values"] == [theatre_page.NOT_SAID]
    assert rows["Counts"]["missing"]


def test_the_read_back_marks_the_value_that_is_unsure_and_no_other() -> None:
    (row,) = [row for row in shown(
        "Left hip arthroscopy. Cefazolin two grams intravenously was given. Bupivacaine 0.25 percent, twenty "
        "milliliters, eighty milligrams was infiltrated."
    )["readback"] if row["label"] == "Medicines given"]  # fmt: skip
    marked = dict(zip(row["values"], row["unsure"], strict=True))
    assert [unsure for text, unsure in marked.items() if text.startswith("Cefazolin")] == [False]
    # 20 mL of 0.25 % (2.5 mg/mL) are 50 mg
    assert [unsure for text, unsure in marked.items() if text.startswith("Bupivacaine")] == [True]


def test_doubtful_words_are_marked_with_the_reason() -> None:
    words = (
        Word(0, "Heparin", confidence=0.9, heard="hepper in"), Word(1, "two", confidence=0.2),
        Word(2, "fifteen", confidence=0.9, others=("fifty",)), Word(3, "millilitres", confidence=0.9),
        Word(4, "given", confidence=0.95),
    )  # fmt: skip
    told = theatre_page.runs(words, theatre_page.least_confidence(RULES, run.DEFAULT_PROFILE))
    assert [run["text"] for run in told] == ["Heparin", "two", "fifteen", "millilitres given"]
    assert [run["why"] for run in told] == ["heard as hepper in", "not heard clearly", "also heard as fifty", ""]
