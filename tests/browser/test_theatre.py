"""The theatre page in real Chromium, whose microphone plays the demonstration."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from pipeline.contexts import patient_context
from pipeline.sound import RATE
from tests import theatre_parts
from tests.theatre_parts import Server, browser, signed_in
from tests.web_parts import House

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
expect = playwright.expect
AXE = Path(__file__).resolve().parent.parent / "node" / "node_modules" / "axe-core" / "axe.min.js"
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(theatre_parts.CHROMIUM is None, reason="chromium is not installed"),
]
WALL = {"width": 1920, "height": 1080}
# A wall screen of 43 inches, 16:9, is 952 mm wide. ISO 9241-303 (from memory): characters of at least 16 minutes of
# arc; a capital letter is about 0.7 of the font size.
MM_PER_PIXEL, DISTANCE, LEAST_ARC = 952 / 1920, 3000, 16


def opened(made: House, label: str = "second case", family: str = "Lindqvist", given: str = "Maja") -> str:
    context = patient_context(family=family, given=given, number="700-41-998", system="urn:oid:2.999.1")
    return made.desk.new_case(made.user("ann"), label, context)


def serious(page: Any) -> list[str]:
    """The serious and critical faults that axe finds on the page as it is."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed: make test brings it")
    # As the tester's own script: the page's policy allows none but its own.
    page.evaluate(AXE.read_text(encoding="utf-8") + ";undefined")
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
    assert found["passes"], "axe looked at nothing"
    return [f"{one['id']}: {one['nodes'][0]['html'][:120]}" for one in found["violations"]
            if one["impact"] in ("serious", "critical")]  # fmt: skip


def arc_minutes(page: Any, place: str) -> float:
    expect(page.locator(place).first).to_be_visible(timeout=20_000)
    size = page.evaluate("place => parseFloat(getComputedStyle(document.querySelector(place)).fontSize)", place)
    return float(size) * 0.7 * MM_PER_PIXEL / DISTANCE * 180 / 3.14159265 * 60


def test_a_case_from_the_first_word_to_the_note(house: tuple[House, Server], recording: Path) -> None:
    made, server = house
    case = opened(made)
    with browser(recording) as launched:
        page = signed_in(launched, server, viewport=WALL, bypass_csp=True)
        page.goto(f"{server.address}/theatre")
        page.click("text=Maja Lindqvist")
        expect(page.locator("#go")).to_have_text("Start dictation")
        page.keyboard.press("PageDown")
        expect(page.locator("#phase")).to_contain_text("Recording")
        begun = time.monotonic()
        expect(page.locator("#side")).to_have_text("LEFT", timeout=30_000)
        expect(page.locator("#procedure")).to_contain_text("Ankle arthroscopy")
        expect(page.locator("#patient")).to_contain_text("Maja Lindqvist")
        assert arc_minutes(page, "#side") > 3 * LEAST_ARC
        for place in ("#patient", "#procedure", "#heard .stretch", "#note li", "#now .what", "#phase"):
            assert arc_minutes(page, place) >= LEAST_ARC, place
        # the connection is cut from the server's side, twice, while somebody speaks
        for _ in range(2):
            assert server.drop()
            page.wait_for_timeout(1500)
        expect(page.locator("#link")).to_contain_text("Connected", timeout=15_000)
        expect(page.locator("#now")).to_contain_text("5 + 6 + 5 + 4 = 20 mL", timeout=60_000)
        expect(page.locator("#heard mark").first).to_contain_text("unsure")
        assert serious(page) == []
        expect(page.locator("#signout [data-state=said]", has_text="Counts")).to_be_visible(timeout=40_000)
        page.keyboard.press("PageDown")
        expect(page.locator("#readback")).to_contain_text("Blood loss")
        expect(page.locator("#patient")).to_contain_text("Maja Lindqvist")
        assert serious(page) == []
        page.keyboard.press("PageDown")
        expect(page.locator("#confirmed")).to_contain_text("Confirmed by button")
        spoken = time.monotonic() - begun
        page.keyboard.press("PageDown")
        expect(page.locator("#finished")).to_be_visible(timeout=30_000)
        page.click("text=Review the note")
        expect(page.locator("body")).to_contain_text("Maja Lindqvist")
    note = made.desk.open(case).note
    assert note.of("procedure")[0].laterality == "left"
    assert [fact.value for fact in note.of("draw")] == [5, 6, 5, 4]
    assert note.source.notices == [], "a cut connection leaves no hole"
    assert made.desk.files(case).seconds() == pytest.approx(spoken, abs=4)
    assert [entry.action for entry in made.store.entries(case)] == ["case opened", "read-back confirmed", "note made"]


def test_sound_survives_a_page_that_is_closed_without_connection(house: tuple[House, Server], recording: Path) -> None:
    made, server = house
    case = opened(made)
    files = made.desk.files(case)
    with browser(recording) as launched:
        page = signed_in(launched, server)
        page.goto(f"{server.address}/theatre/{case}")
        page.click("#go")
        expect(page.locator("#phase")).to_contain_text("Recording", timeout=20_000)
        page.wait_for_function("() => link.stored && link.next > 2 * RATE")
        server.stop()
        expect(page.locator("#trouble")).to_contain_text("The recording goes on in this page", timeout=20_000)
        page.wait_for_function("() => link.waiting > 3", timeout=20_000)
        taken = page.evaluate(
            "async () => { await microphone.stop(); await shelf.change((store) => store.count()); return link.next; }"
        )
        assert files.seconds() * RATE < taken - 2 * RATE
        context = page.context
        page.close()
        server.start()
        page = context.new_page()
        page.goto(f"{server.address}/theatre/{case}")
        expect(page.locator("#recovered")).to_contain_text("are with the server now", timeout=20_000)
        assert round(files.seconds() * RATE) == taken
        gaps = files.sound.with_suffix(".pcm.gaps.json")
        assert not gaps.exists(), "no hole in what was kept"
        page.wait_for_function("() => shelf.change((store) => store.count()).then((count) => count === 0)")
        # a second page of the same case finds nothing left behind, and takes nothing from the first
        other = context.new_page()
        other.goto(f"{server.address}/theatre/{case}")
        other.wait_for_function("() => link.up")
        assert other.evaluate("() => link.pieces.length") == 0


def test_the_read_back_is_on_one_screen(house: tuple[House, Server], recording: Path) -> None:
    """With more than most cases have; at 16 minutes of arc it would not fit, so the letters shrink, never below two
    thirds."""
    made, server = house
    case = opened(made)
    told = {"label": "Medicines given", "values": [f"Cefazolin {n} g, intravenous" for n in range(9)],
            "missing": False, "unsure": [False] * 9}  # fmt: skip
    with browser(recording) as launched:
        page = signed_in(launched, server)
        page.goto(f"{server.address}/theatre/{case}")
        page.wait_for_function("() => state !== null")
        for width, height in ((1920, 1080), (1280, 800)):
            page.set_viewport_size({"width": width, "height": height})
            page.evaluate(
                "(rows) => { state.phase = 'read-back'; state.readback = rows; drawState(state); show(); }",
                [told, *({**told, "label": name, "values": ["No drain"], "unsure": [True]} for name in "ABCDEF")],
            )
            assert page.evaluate("""() => { const whole = document.querySelector('#readback .whole');
                return whole.scrollHeight <= whole.clientHeight && whole.scrollWidth <= whole.clientWidth; }""")
            foot = page.locator(".controls").bounding_box()
            assert foot["y"] + foot["height"] <= height


def test_two_cases_at_once(house: tuple[House, Server], recording: Path) -> None:
    made, server = house
    first, second = opened(made, "one"), opened(made, "two", "Okafor", "Ben")
    with browser(recording) as launched:
        one, two = signed_in(launched, server), signed_in(launched, server)
        one.goto(f"{server.address}/theatre/{first}")
        two.goto(f"{server.address}/theatre/{second}")
        one.click("#go")
        expect(one.locator("#side")).to_have_text("LEFT", timeout=30_000)
        expect(two.locator("#side")).to_have_text("—")
        expect(two.locator("#heard")).to_contain_text("Nothing yet")
        two.click("#go")
        two.wait_for_timeout(1500)
        expect(one.locator("#patient")).to_contain_text("Lindqvist")
        expect(two.locator("#patient")).to_contain_text("Okafor")
    lengths = [made.desk.files(case).seconds() for case in (first, second)]
    assert lengths[0] > lengths[1] + 3
    assert lengths[1] > 0.5


def test_who_looks_on_records_nothing(house: tuple[House, Server], recording: Path) -> None:
    made, server = house
    case = opened(made)
    with browser(recording) as launched:
        page = signed_in(launched, server, "cem", viewport={"width": 768, "height": 1024}, bypass_csp=True)
        page.goto(f"{server.address}/theatre/{case}")
        expect(page.locator("#go")).to_have_text("Looking on")
        expect(page.locator("#go")).to_be_disabled()
        assert serious(page) == []
        # words for screen readers inside the rolling areas make the page no longer than what is seen
        page.evaluate("() => { state.heard = Array(40).fill({runs: [{text: 'fifty', why: 'also heard as fifteen'}]}); "
                      "state.sections = [{name: 'Times', lines: Array(60).fill({text: 'x', unsure: true, why: 'y'})}]; "
                      "drawState(state); }")  # fmt: skip
        assert page.evaluate("() => document.documentElement.scrollHeight") < 2 * 1024
        # 1920 pixels at 400 %
        page.set_viewport_size({"width": 480, "height": 270})
        assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
        page.context.clear_cookies()
        answer = page.goto(f"{server.address}/theatre/{case}")
        assert answer is not None
        assert "/sign-in" in page.url
        admin = signed_in(launched, server, "ada")
        refused = admin.goto(f"{server.address}/theatre/{case}")
        assert refused is not None
        assert refused.status == 403
    assert not made.desk.files(case).has_sound()


def test_the_real_recogniser(tmp_path: Path, recording: Path) -> None:
    made = House(tmp_path)
    from pipeline.errors import SetupError
    from pipeline.jobs import Jobs

    try:
        engine = Jobs(made.desk).load_engine()
    except SetupError as problem:
        pytest.skip(f"the recogniser is not installed: {problem}")
    made.app.state.rooms._load = lambda: engine
    server = Server(made)
    case = opened(made)
    try:
        with browser(recording) as launched:
            page = signed_in(launched, server)
            page.goto(f"{server.address}/theatre/{case}")
            page.click("#go")
            expect(page.locator("#side")).to_have_text("LEFT", timeout=60_000)
            expect(page.locator("#procedure")).to_contain_text("Ankle arthroscopy")
    finally:
        server.stop()
