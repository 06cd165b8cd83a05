"""The application over HTTP: who may come in and do what, and the whole way of a case."""

from __future__ import annotations

import io
import json
import re
import threading
import time
import wave
import zipfile
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select

from pipeline import audio, jobs, run
from pipeline.casefiles import to_pcm, wav
from pipeline.contexts import context_of
from pipeline.handover import Sending
from pipeline.jobs import Jobs
from pipeline.review import accounts
from pipeline.review.tables import AccessRow
from pipeline.web import admin, api, bodies, live, pages
from tests.web_parts import NARRATION, PASSWORD, Browser, House, token

DEMO = Path(__file__).resolve().parent.parent / "audio_demo" / "dictation.flac"


@pytest.fixture
def house(tmp_path: Path) -> House:
    return House(tmp_path)


def fact(browser: Browser, case: str, kind: str) -> str:
    return next(one["id"] for one in browser.get(f"/api/cases/{case}/note").json()["facts"] if one["kind"] == kind)


def decide(browser: Browser, case: str, **body: Any) -> Any:
    return browser.post(f"/api/cases/{case}/decisions", json=body)


def every_path(case: str) -> list[tuple[str, str]]:
    """(method, path) of all that the application answers to, from its own routing tables."""
    listed = []
    for route in [route for module in (pages, api, admin, live) for route in module.router.routes]:
        for method in getattr(route, "methods", None) or ():
            path = route.path.replace("{case}", case).replace("{fact}", "f001").replace("{form}", "docx")
            listed.append((method, re.sub(r"\{\w+\}", "x", path)))
    return [one for one in listed if one[0] != "HEAD"]


def test_nothing_is_readable_without_sign_in(house: House) -> None:
    case, stranger = house.case(), Browser(house)
    tried = 0
    for method, path in every_path(case):
        if path in ("/sign-in", "/sign-out"):
            continue
        answer = stranger.request(method, path, follow_redirects=False)
        tried += 1
        if path.startswith("/api/"):
            assert answer.status_code == 401, (method, path, answer.status_code)
        else:
            assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in"), (method, path)
        assert "arthroscopy" not in answer.text
    assert tried > 25


def test_roles(house: House) -> None:
    case = house.case()
    surgeon, coder, administrator = (Browser(house, name) for name in ("ann", "cem", "ada"))
    for path in (f"/api/cases/{case}/note", f"/cases/{case}", "/cases", f"/api/cases/{case}/exports/docx"):
        assert administrator.get(path).status_code == 403, path
        assert surgeon.get(path).status_code == coder.get(path).status_code == 200, path
    assert administrator.get("/administration").status_code == 200
    assert coder.get("/administration").status_code == surgeon.get("/api/users").status_code == 403
    signing = {"password": PASSWORD}
    assert coder.post(f"/api/cases/{case}/signature", json=signing).status_code == 403
    assert surgeon.post(f"/api/cases/{case}/signature", json=signing).status_code == 200
    assert coder.post(f"/api/cases/{case}/amendment", json={"reason": "x"}).status_code == 403
    user = {"name": "eve", "password": "quite another password", "roles": ["administrator"]}
    assert coder.post("/api/users", json=user).status_code == 403


def test_a_request_of_another_site_is_refused(house: House) -> None:
    case, ann = house.case(), Browser(house, "ann")
    body = {"action": "accept-sure"}
    path = f"/api/cases/{case}/decisions"
    assert ann.post(path, json=body, headers={"X-CSRF-Token": "wrong"}).status_code == 403
    assert ann.post(path, json=body, headers={"X-CSRF-Token": ""}).status_code == 403
    assert ann.post(path, json=body, headers={"Origin": "https://elsewhere.example"}).status_code == 403
    assert ann.post(path, json=body, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert house.desk.open(case).seen == 0
    other = Browser(house, "cem")
    assert ann.post(path, json=body, headers={"X-CSRF-Token": other.headers["X-CSRF-Token"]}).status_code == 403
    assert ann.post(path, json=body, headers={"Origin": "http://testserver"}).status_code == 200
    stranger = Browser(house)
    stranger.get("/sign-in")
    assert stranger.post("/sign-in", data={"name": "ann", "password": PASSWORD, "form": "guess"}).status_code == 403


def test_cookie_and_headers(house: House) -> None:
    browser = Browser(house)
    page = browser.get("/sign-in")
    form = re.search(r'name="form" value="([^"]+)"', page.text)[1]
    answer = browser.post("/sign-in", data={"name": "ann", "password": PASSWORD, "form": form}, follow_redirects=False)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    policy = {part.split()[0]: part.split()[1:] for part in page.headers["content-security-policy"].split(";")}
    assert policy["default-src"] == ["'none'"]
    assert policy["script-src"] == policy["style-src"] == ["'self'"]
    assert policy["frame-ancestors"] == ["'none'"]
    assert page.headers["x-content-type-options"] == "nosniff"
    assert page.headers["cache-control"] == "no-store"


def test_pages_take_nothing_from_elsewhere_and_hold_no_inline_script(house: House) -> None:
    case, ann, ada = house.case(), Browser(house, "ann"), Browser(house, "ada")
    pages = [ann.get(path).text for path in ("/cases", f"/cases/{case}", f"/cases/{case}/questions")]
    for page in [*pages, ada.get("/administration").text]:
        for source in re.findall(r'(?:src|href)="([^"#]+)"', page):
            assert source.startswith("/"), source
            assert not source.startswith("//")
        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=", page)


def test_lockout_after_wrong_passwords(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    browser = Browser(house)
    for _ in range(accounts.MOST_ATTEMPTS):
        assert browser.sign_in("ann", "a wrong long password").status_code in (401, 429)
    assert browser.sign_in("ann").status_code == 429, "even the right password waits now"
    assert browser.sign_in("cem").status_code == 200, "others are not locked out"
    later = accounts.time.time() + accounts.LOCKED_SECONDS + 1
    monkeypatch.setattr(accounts.time, "time", lambda: later)
    assert Browser(house).sign_in("ann").status_code == 200


def test_unknown_and_wrong_look_alike(house: House) -> None:
    def shown(name: str) -> tuple[int, str]:
        answer = Browser(house).sign_in(name, "a wrong long password")
        return answer.status_code, re.search(r'role="alert">([^<]+)', answer.text)[1]

    assert shown("ann") == shown("nobody")


def test_sign_out_ends_the_session(house: House) -> None:
    ann = Browser(house, "ann")
    cookie = ann.cookies["voxop"]
    ann.post("/sign-out", data={"csrf": "wrong"})
    ann.cookies.set("voxop", cookie)
    assert ann.get("/api/cases").status_code == 200, "another site cannot sign anybody out"
    ann.post("/sign-out", data={"csrf": ann.headers["X-CSRF-Token"]})
    ann.cookies.set("voxop", cookie)
    assert ann.get("/api/cases").status_code == 401


def test_access_is_logged(house: House) -> None:
    case = house.case()
    Browser(house, "cem").get(f"/api/cases/{case}/note")
    Browser(house).get(f"/api/cases/{case}/note")
    with house.store.reading() as session:
        rows = [(row.user, row.method, row.path, row.status) for row in session.scalars(select(AccessRow))]
    assert ("cem", "GET", f"/api/cases/{case}/note", 200) in rows
    assert ("", "GET", f"/api/cases/{case}/note", 401) in rows
    assert not any(PASSWORD in path for _, _, path, _ in rows)


def test_the_whole_way_of_a_case(house: House) -> None:
    ann, cem = Browser(house, "ann"), Browser(house, "cem")
    patient = {"family": "Lind", "given": "Tobias", "number": "7712345", "system": "urn:oid:2.999.1",
               "birth_date": "1967-05-04"}  # fmt: skip
    case = ann.post("/api/cases", json={"label": "Theatre 3", "patient": patient}).json()["id"]
    assert ann.post(f"/api/cases/{case}/narration", json={"text": NARRATION}).status_code == 201
    assert "Tobias Lind" in ann.get(f"/cases/{case}").text
    total = fact(cem, case, "harvest_total")
    before = {one["check"] for one in cem.get(f"/api/cases/{case}/note").json()["findings"]}
    assert "draw_total" in before

    wrong = decide(cem, case, action="correct", fact=total, value="9 mg", seen=0)
    assert wrong.status_code == 409
    assert "mass" in wrong.json()["what"]
    state = decide(cem, case, action="correct", fact=total, value="9 mL", seen=0).json()
    assert "draw_total" not in {one["check"] for one in cem.get(f"/api/cases/{case}/note").json()["findings"]}
    assert decide(cem, case, action="accept-sure", seen=0).status_code == 409, "made on an old page"
    state = decide(cem, case, action="accept-sure", seen=state["seen"]).json()
    assert state["facts"]["sure"] == 0
    state = decide(cem, case, action="undo", seen=state["seen"]).json()
    assert state["facts"]["sure"] > 0
    loss = fact(cem, case, "blood_loss")
    decide(cem, case, action="ask", target=loss, reason="Fifty or fifteen?")
    assert "Fifty or fifteen?" in cem.get(f"/cases/{case}/questions").text
    assert [one["reason"] for one in cem.get(f"/api/cases/{case}/questions").json()] == ["Fifty or fifteen?"]
    decide(ann, case, action="accept", fact=loss)
    code = {"kind": "icd-10-cm", "code": "m25.552", "display": "Pain in left hip"}
    assert cem.post(f"/api/cases/{case}/codes", json=code).status_code == 200
    assert cem.post(f"/api/cases/{case}/codes", json={**code, "code": "hip"}).status_code == 409

    assert ann.post(f"/api/cases/{case}/signature", json={"password": "not my password"}).status_code == 409
    signed = ann.post(f"/api/cases/{case}/signature", json={"password": PASSWORD, "statement": "So it was."}).json()
    assert signed["state"] == "signed"
    assert decide(cem, case, action="accept", fact=total).status_code == 409
    note = cem.get(f"/api/cases/{case}/note").json()
    assert note["signature"]["by"] == "Dr Ann Adeyemi"
    assert [one["code"] for one in note["codes"]] == ["M25.552"]
    assert ann.post(f"/api/cases/{case}/amendment", json={"reason": "left out a drain"}).json() == {"version": 2}
    assert "left out a drain" in cem.get(f"/cases/{case}/compare?before=1&after=2").text
    assert cem.get(f"/api/cases/{case}/note?version=1").json() == note
    assert house.store.verify() == []


def test_exports(house: House) -> None:
    case, cem = house.case(), Browser(house, "cem")
    document = cem.get(f"/api/cases/{case}/exports/fhir-document").json()
    assert (document["resourceType"], document["type"]) == ("Bundle", "document")
    assert cem.get(f"/api/cases/{case}/exports/fhir-transaction").json()["type"] == "transaction"
    word = cem.get(f"/api/cases/{case}/exports/docx")
    assert "attachment" in word.headers["content-disposition"]
    assert "50 mL" in words_of(word.content)
    assert cem.get(f"/api/cases/{case}/exports/aftercare").content[:2] == b"PK"
    unknown = cem.get(f"/api/cases/{case}/exports/telegram")
    assert unknown.status_code == 404
    assert "Known" in unknown.json()["do"]
    assert [one.action for one in house.store.entries(case)].count("exported") == 4


def test_a_note_that_somebody_else_reviewed_can_be_exported(house: House) -> None:
    case, cem = house.case(), Browser(house, "cem")
    decide(cem, case, action="accept-sure")
    for form in ("fhir-document", "fhir-transaction"):
        bundle = cem.get(f"/api/cases/{case}/exports/{form}")
        assert bundle.status_code == 200, bundle.text
        (made,) = [one["resource"] for one in bundle.json()["entry"]
                   if one["resource"]["resourceType"] == "Provenance"]  # fmt: skip
        assert "reviewed and decided" in [agent["type"]["text"] for agent in made["agent"]]


def words_of(content: bytes) -> str:
    """The text of a Word file, tags left out (ISO/IEC 29500: word/document.xml)."""
    with zipfile.ZipFile(io.BytesIO(content)) as file:
        return re.sub(r"<[^>]+>", "", file.read("word/document.xml").decode()).replace("\u00a0", " ")


def test_two_cases_at_once_are_never_mixed(house: House) -> None:
    first, second = house.case(), house.case(text="Right knee arthroscopy. Estimated blood loss twenty millilitres.")
    ann, cem = Browser(house, "ann"), Browser(house, "cem")
    for browser, case in ((ann, first), (cem, second), (ann, second), (cem, first)):
        decide(browser, case, action="ask", target=fact(browser, case, "blood_loss"), reason=f"about {case}")
    for case, other in ((first, second), (second, first)):
        note = ann.get(f"/api/cases/{case}/note").json()
        assert {one["reason"] for one in note["decisions"]} == {f"about {case}"}
        assert other not in json.dumps(note)
    assert ann.get(f"/api/cases/{first}/note").json()["facts"] != ann.get(f"/api/cases/{second}/note").json()["facts"]


def waited(browser: Browser, case: str, seconds: float = 60.0) -> Any:
    """The state of a case once it is no longer listened to."""
    end = time.monotonic() + seconds
    while (state := browser.get(f"/api/cases/{case}").json())["state"] == "listening":
        assert time.monotonic() < end, "still listening"
        time.sleep(0.05)
    return state


@pytest.mark.slow
def test_a_recording_is_heard_in_the_background(tmp_path: Path) -> None:
    """The first fifteen seconds of the demonstration, by the real recogniser."""
    house = House(tmp_path)
    house.jobs = house.app.state.jobs = Jobs(house.desk)
    ann = Browser(house, "ann")
    case = ann.post("/api/cases", json={"label": "x"}).json()["id"]
    sound = to_pcm(np.concatenate(list(islice(audio.pieces(audio.inspect(DEMO)), 15))))
    assert ann.post(f"/api/cases/{case}/recording", files={"file": ("a.wav", wav(sound))}).status_code == 202
    assert ann.post(f"/api/cases/{case}/recording", files={"file": ("b.wav", wav(sound))}).status_code == 409
    assert waited(ann, case, 300)["state"] == "ready"
    note = ann.get(f"/api/cases/{case}/note").json()
    assert "procedure" in {one["kind"] for one in note["facts"]}
    assert ann.get(f"/api/cases/{case}/sound?start=0&end=1").content == wav(sound[:32000])


def test_an_unreadable_recording_says_what_is_wrong(house: House) -> None:
    ann = Browser(house, "ann")
    case = ann.post("/api/cases", json={"label": "x"}).json()["id"]
    sent = ann.post(f"/api/cases/{case}/recording", files={"file": ("../../evil.wav", b"no sound at all")})
    assert sent.status_code == 202
    state = waited(ann, case)
    assert state["state"] == "failed"
    assert "not a recording" in state["message"]
    assert state["message"] in ann.get(f"/cases/{case}").text.replace("&#39;", "'")
    assert [path.name for path in house.desk.files(case).folder.iterdir()] == ["recording.wav"]


def test_sound_pieces_are_wav_of_the_place(house: House) -> None:
    case, ann = house.case(), Browser(house, "ann")
    assert ann.get(f"/api/cases/{case}/sound").status_code == 404
    ramp = (np.arange(16000 * 3, dtype=np.float32) / 48000.0).astype(np.float32)
    house.desk.files(case).sound.write_bytes(to_pcm(ramp))
    answer = ann.get(f"/api/cases/{case}/sound?start=1&end=2")
    assert answer.headers["content-type"] == "audio/wav"
    with wave.open(io.BytesIO(answer.content)) as sound:
        assert (sound.getframerate(), sound.getnchannels(), sound.getnframes()) == (16000, 1, 16000)
        first = int.from_bytes(sound.readframes(1), "little", signed=True)
    assert abs(first - 32767 / 3) < 2, "begins at second 1 of 3 of the ramp"
    assert ann.get(f"/api/cases/{case}/sound?start=9&end=10").status_code == 404
    assert ann.get("/api/cases/../../etc/sound").status_code == 404


def test_the_api_is_described(house: House) -> None:
    described = Browser(house, "ann").get("/api/openapi.json").json()
    assert described["openapi"].startswith("3.")
    for path in ("/api/cases/{case}/decisions", "/api/cases/{case}/signature", "/api/cases/{case}/exports/{form}"):
        assert path in described["paths"]
        assert all(operation.get("description") for operation in described["paths"][path].values())


def test_context_files_and_bad_identities(house: House) -> None:
    ann = Browser(house, "ann")
    case = ann.post("/api/cases", json={}).json()["id"]
    toml = b'timezone = "Europe/London"\n[patient]\nsystem = "urn:oid:2.999.1"\nnumber = "1"\nfamily = "Lind"\n'
    assert ann.put(f"/api/cases/{case}/context", files={"file": ("c.toml", toml)}).status_code == 204
    assert "Lind" in ann.get("/cases").text
    bad = ann.put(f"/api/cases/{case}/context", files={"file": ("c.toml", b"patient = 1")})
    assert bad.status_code == 400
    assert bad.json()["do"]
    half = ann.put(f"/api/cases/{case}/patient", json={"family": "Lind", "number": "1", "system": ""})
    assert half.status_code == 400
    assert "Lind" in ann.get("/cases").text
    house.desk.make_note(case, house.user("ann"), run.from_text("Left hip arthroscopy.", "n"))
    assert house.desk.open(case).site.timezone == "Europe/London"


def test_administration_shows_whether_the_history_is_whole(house: House) -> None:
    ada = Browser(house, "ada")
    assert "Whole:" in ada.get("/administration").text
    made = ada.post("/api/users", json={"name": "bo", "password": "quite another password", "roles": ["coder"]})
    assert made.status_code == 201
    assert ada.patch("/api/users/bo", json={"active": False}).status_code == 204
    assert Browser(house).sign_in("bo", "quite another password").status_code == 401
    assert token(ada.get("/administration").text) == ada.headers["X-CSRF-Token"]


class Hospital:
    """An HTTP server that takes transactions as FHIR R4 says (http.html#transaction-response: one entry an entry).

    `up`: whether it answers 503. `taken`: bundles that came."""

    def __init__(self) -> None:
        self.up, self.taken = True, list[dict[str, Any]]()
        hospital = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                bundle = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                answer: dict[str, Any] = {"resourceType": "OperationOutcome"}
                if hospital.up:
                    hospital.taken.append(bundle)
                    entries = [{"response": {"status": "201 Created"}} for _ in bundle["entry"]]
                    answer = {"resourceType": "Bundle", "type": "transaction-response", "entry": entries}
                body = json.dumps(answer).encode()
                self.send_response(200 if hospital.up else 503)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}/fhir"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


@pytest.fixture
def hospital() -> Iterator[Hospital]:
    made = Hospital()
    yield made
    made.server.shutdown()
    made.server.server_close()


IDENTITY = json.dumps([
    {"resourceType": "Patient", "identifier": [{"system": "urn:oid:2.999.1", "value": "7712345"}],
     "name": [{"family": "Lind"}]},
    {"resourceType": "Encounter", "identifier": [{"system": "urn:oid:2.999.2", "value": "E-1"}],
     "status": "in-progress", "class": {"code": "IMP"}},
]).encode()  # fmt: skip


def signed_case(house: House) -> str:
    case = house.case(text="Left hip arthroscopy. Estimated blood loss fifty millilitres. Counts correct.")
    house.desk.identify(case, house.user("ann"), context_of("c.json", IDENTITY))
    for one in house.desk.open(case).note.open_findings():
        if one.severity == "blocking":
            house.desk.settle(case, house.user("ann"), one.key, "looked up")
    house.desk.sign(case, house.user("ann"))
    return case


def test_a_signed_note_is_sent_and_what_cannot_go_waits(house: House, hospital: Hospital, tmp_path: Path) -> None:
    house.app.state.sending = Sending(house.desk, hospital.url, outbox=tmp_path / "outbox")
    draft, cem = house.case(), Browser(house, "cem")
    refused = cem.post(f"/api/cases/{draft}/delivery")
    assert (refused.status_code, refused.json()["what"]) == (409, "Only a signed note is sent.")
    case = signed_case(house)
    hospital.up = False
    failed = cem.post(f"/api/cases/{case}/delivery")
    assert failed.status_code == 502
    assert "outbox" in failed.json()["do"]
    assert len(cem.get("/api/outbox").json()["waiting"]) == 1
    assert "1 bundle(s) wait" in cem.get(f"/cases/{case}").text
    hospital.up = True
    assert cem.post("/api/outbox").json() == {"sent": 1, "failed": []}
    assert cem.get("/api/outbox").json()["waiting"] == []
    assert cem.post(f"/api/cases/{case}/delivery").json()["again"] is True
    assert len(hospital.taken) == 1
    assert hospital.taken[0]["type"] == "transaction"
    page = cem.get(f"/cases/{case}").text
    assert "✓ Sent: version 1" in page
    assert "Could not be sent; put into the outbox" in page
    assert Browser(house, "ada").post("/api/outbox").status_code == 403
    assert house.store.verify() == []


def test_without_a_server_the_page_says_so_and_nothing_is_queued(house: House, tmp_path: Path) -> None:
    house.app.state.sending = Sending(house.desk, "", outbox=tmp_path / "outbox")
    case, cem = signed_case(house), Browser(house, "cem")
    assert "No server of the hospital is configured" in cem.get(f"/cases/{case}").text
    assert cem.post(f"/api/cases/{case}/delivery").status_code == 409
    assert cem.get("/api/outbox").json() == {"url": "", "waiting": []}


def test_a_placeholder_is_not_sent(house: House, hospital: Hospital, tmp_path: Path) -> None:
    house.app.state.sending = Sending(house.desk, hospital.url, outbox=tmp_path / "outbox")
    case, ann = house.case(text="Left hip arthroscopy. Counts correct."), Browser(house, "ann")
    for one in house.desk.open(case).note.open_findings():
        if one.severity == "blocking":
            house.desk.settle(case, house.user("ann"), one.key, "looked up")
    house.desk.sign(case, house.user("ann"))
    failed = ann.post(f"/api/cases/{case}/delivery")
    assert failed.status_code == 502
    assert "context file" in failed.json()["do"]
    assert hospital.taken == []
    assert ann.get("/api/outbox").json()["waiting"] == []


def test_what_was_never_said_is_added_and_marked_everywhere(house: House) -> None:
    case = house.case(text="Left hip arthroscopy. Cefazolin two grams intravenously was given.")
    cem, ann = Browser(house, "cem"), Browser(house, "ann")
    before = {one["key"] for one in cem.get(f"/api/cases/{case}/note").json()["findings"]}
    assert any("blood_loss" in key for key in before)
    assert decide(cem, case, action="add", value="Estimated blood loss 40 mL.", reason="").status_code == 409
    assert decide(cem, case, action="add", value="tralala", reason="chart").status_code == 409
    state = decide(cem, case, action="add", value="Estimated blood loss 40 mL.", reason="anaesthetic chart").json()
    assert state["facts"]["added"] == 1
    note = cem.get(f"/api/cases/{case}/note").json()
    assert not any("blood_loss" in one["key"] for one in note["findings"]), "the checks were made again"
    (loss,) = [one for one in note["facts"] if one["kind"] == "blood_loss"]
    assert (loss["value"], loss["unit"], loss["evidence"]["start"]) == ("40", "mL", None)
    marks = ("Cem Ozturk", "anaesthetic chart", loss["added"][len("added by Cem Ozturk, "):][:10])
    page = cem.get(f"/cases/{case}").text
    assert "Never said: added by Cem Ozturk" in page
    for form in ("fhir-document", "fhir-transaction", "docx", "mdm", "note-json"):
        content = cem.get(f"/api/cases/{case}/exports/{form}").content
        text = words_of(content) if form == "docx" else content.decode()
        assert "not said" in text, form
        assert all(mark in text for mark in marks), form
    undone = decide(cem, case, action="undo").json()
    assert undone["facts"]["added"] == 0
    decide(cem, case, action="add", value="Estimated blood loss 40 mL.", reason="anaesthetic chart")
    (loss,) = [one for one in house.desk.open(case).note.facts if one.kind == "blood_loss"]
    state = decide(ann, case, action="correct", fact=loss.id, value="45 mL").json()
    assert "45 mL" in ann.get(f"/cases/{case}").text
    for one in house.desk.open(case).note.open_findings():
        if one.severity == "blocking":
            house.desk.settle(case, house.user("ann"), one.key, "looked up")
    house.desk.sign(case, house.user("ann"))
    assert "not said; added by Cem Ozturk" in house.desk.open(case, 1).note.sections.blood_loss[0].text
    assert house.store.verify() == []


def test_a_question_goes_to_the_surgeon_and_comes_back_answered(house: House) -> None:
    house.accounts.add("bo", PASSWORD, ("surgeon",), "Dr Bo Berg", by="terminal")
    case = house.case()
    cem, ann, bo = (Browser(house, name) for name in ("cem", "ann", "bo"))
    loss = fact(cem, case, "blood_loss")
    assert decide(cem, case, action="ask", target=loss, reason="Fifty or fifteen?", to="cem").status_code == 409
    decide(cem, case, action="ask", target=loss, reason="Fifty or fifteen?", to="ann")
    assert "Fifty or fifteen?" in ann.get("/questions").text
    assert "Fifty or fifteen?" not in bo.get("/questions").text
    assert cem.get("/questions").status_code == 403
    assert decide(cem, case, action="answer", target=loss, reason="guess").status_code == 403
    assert decide(ann, case, action="answer", target=loss, reason=" ").status_code == 409
    decide(ann, case, action="answer", target=loss, reason="Fifty, I saw the canister.")
    assert ann.get("/api/questions").json() == []
    assert "Fifty, I saw the canister." in cem.get(f"/cases/{case}").text
    assert house.desk.open(case).note.decisions[-1].action == "answer"
    total = fact(cem, case, "harvest_total")
    decide(cem, case, action="ask", target=total, reason="Nine or ten?")
    assert all("Nine or ten?" in one.get("/questions").text for one in (ann, bo)), "asked of every surgeon"


def test_a_body_that_is_too_large_is_refused_before_it_is_kept(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    ann = Browser(house, "ann")
    case = ann.post("/api/cases", json={"label": "x"}).json()["id"]
    big = ann.post(f"/api/cases/{case}/narration", content=b"x" * (bodies.USUAL + 1))
    assert big.status_code == 413
    assert big.json()["do"]
    # without a length beforehand (chunked), counted while it comes
    chunks = (b"x" * 100_000 for _ in range(60))
    assert ann.post(f"/api/cases/{case}/narration", content=chunks).status_code == 413
    monkeypatch.setattr(jobs, "LARGEST", 10_000)
    sent = ann.post(f"/api/cases/{case}/recording", files={"file": ("a.wav", b"x" * 20_000)})
    assert sent.status_code == 409
    assert list(house.desk.files(case).folder.iterdir()) == []
    assert ann.get(f"/api/cases/{case}").json()["state"] == "new", "another file can be handed in"
    empty = ann.post(f"/api/cases/{case}/recording", files={"file": ("a.wav", b"")})
    assert "empty" in empty.json()["what"]


def test_what_is_typed_is_text_on_every_page(house: House) -> None:
    """A name, label, question or reason that looks like markup stays text (OWASP cross-site scripting, rule 1)."""
    evil = "<img src=x onerror=alert(1)>\"'</script>"
    ann, cem = Browser(house, "ann"), Browser(house, "cem")
    patient = {"family": evil, "given": evil, "number": evil, "system": "urn:oid:2.999.1"}
    case = ann.post("/api/cases", json={"label": evil, "patient": patient}).json()["id"]
    waiting = [ann.get(path).text for path in ("/cases", "/theatre", f"/theatre/{case}", f"/cases/{case}")]
    ann.post(f"/api/cases/{case}/narration", json={"text": NARRATION + f" Estimated blood loss {evil} 5 mL."})
    decide(cem, case, action="ask", target=fact(cem, case, "harvest_total"), reason=evil)
    decide(cem, case, action="add", value="Urine output 50 mL.", reason=evil)
    pages = waiting + [ann.get(path).text for path in (
        "/cases", f"/cases/{case}", f"/cases/{case}/questions", "/questions", f"/cases/{case}/coding")]  # fmt: skip
    assert all("<img" not in page for page in pages)
    assert sum("&lt;img" in page for page in pages) >= 7
