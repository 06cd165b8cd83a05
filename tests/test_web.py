"""The application over HTTP: who may come in and do what, and the whole way of a case."""

from __future__ import annotations

import io
import json
import re
import time
import wave
import zipfile
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select

from pipeline import audio, run
from pipeline.casefiles import to_pcm, wav
from pipeline.jobs import Jobs
from pipeline.review import accounts
from pipeline.review.tables import AccessRow
from pipeline.web import admin, api, live, pages
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
