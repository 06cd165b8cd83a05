"""What people do that nobody planned: reload while dictating, two tabs, markup in a name, a wrong or huge file."""

from __future__ import annotations

from collections.abc import Iterator
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
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(theatre_parts.CHROMIUM is None, reason="chromium is not installed"),
]
EVIL = "<img src=x onerror=\"window.harmed=1\">'\"</script>"


@pytest.fixture
def launched(recording: Path) -> Iterator[Any]:
    with browser(recording) as made:
        yield made


def test_reloading_while_somebody_dictates(house: tuple[House, Server], launched: Any) -> None:
    made, server = house
    case = made.desk.new_case(made.user("ann"), "x")
    files = made.desk.files(case)
    page = signed_in(launched, server)
    page.on("dialog", lambda dialog: dialog.accept())
    page.goto(f"{server.address}/theatre/{case}")
    page.click("#go")
    page.wait_for_function("() => link.next > 2 * RATE && link.waiting < 1", timeout=20_000)
    before = page.evaluate("() => link.next")
    page.reload()
    expect(page.locator("#phase")).to_contain_text("NOT RECORDING", timeout=20_000)
    assert files.seconds() * RATE > before - RATE, "what was taken is on the disk or comes with the next page"
    page.click("text=Go on recording here")
    expect(page.locator("#phase")).to_contain_text("Recording", timeout=20_000)
    page.wait_for_function("() => link.next !== null && link.waiting < 1")
    # a second tab of the same case does not take the recording away by being opened
    other = page.context.new_page()
    other.goto(f"{server.address}/theatre/{case}")
    expect(other.locator("#go")).to_contain_text("Record here instead", timeout=20_000)
    expect(page.locator("#phase")).to_contain_text("Recording")
    page.keyboard.press("PageDown")
    expect(page.locator("#readback")).to_be_visible()
    page.click("text=End without confirmation")
    expect(page.locator("#finished")).to_be_visible(timeout=60_000)
    gaps = [one for one in made.desk.open(case).note.source.notices if "missing" in one]
    assert len(gaps) <= 1, "the time between the two pages is one marked gap"


def test_markup_in_what_was_typed_does_nothing(house: tuple[House, Server], launched: Any) -> None:
    made, server = house
    ann = made.user("ann")
    who = patient_context(family=EVIL, given=EVIL, number=EVIL, system="urn:oid:2.999.1")
    live, done = (made.desk.new_case(ann, EVIL, who) for _ in range(2))
    from pipeline import run

    made.desk.make_note(done, ann, run.from_text("Left hip arthroscopy. Blood loss 50 mL.", "x"))
    loss = made.desk.open(done).note.of("blood_loss")[0].id
    made.desk.ask(done, ann, loss, EVIL)
    made.desk.add(done, ann, "Urine output 50 mL.", EVIL)
    page = signed_in(launched, server)
    page.add_init_script("window.harmed = 0")
    for path in (f"/theatre/{live}", "/theatre", "/cases", f"/cases/{done}", f"/cases/{done}/questions", "/questions"):
        page.goto(server.address + path)
        expect(page.locator("body")).to_contain_text("<img src=x")
        assert page.evaluate("() => window.harmed") == 0, path
        assert page.locator("img").count() == 0, path
    page.goto(f"{server.address}/cases/{done}")
    page.focus(f"#{loss}")
    page.keyboard.press("c")
    page.wait_for_selector("#decide[open]")
    assert page.evaluate("() => window.harmed") == 0


def test_a_wrong_file_says_what_to_do(house: tuple[House, Server], launched: Any, tmp_path: Path) -> None:
    _, server = house
    page = signed_in(launched, server)
    page.goto(f"{server.address}/cases")
    wrong, empty = tmp_path / "holiday.jpg", tmp_path / "empty.wav"
    wrong.write_bytes(b"\xff\xd8\xff\xe0 no sound at all" * 50)
    empty.write_bytes(b"")
    page.set_input_files("[name=recording]", str(empty))
    page.click("#new-case button.main")
    expect(page.locator("#new-case .problem")).to_contain_text("empty")
    page.set_input_files("[name=recording]", str(wrong))
    page.click("#new-case button.main")
    expect(page.locator(".problem")).to_contain_text("not a recording", timeout=20_000)
    expect(page.locator("main")).to_contain_text("Open a new case with another recording.")


def test_little_motion_is_honoured(house: tuple[House, Server], launched: Any) -> None:
    """WCAG 2.2, 2.3.3: nothing moves by itself for who asked for less motion."""
    made, server = house
    case = made.desk.new_case(made.user("ann"), "x")
    page = signed_in(launched, server, reduced_motion="reduce")
    page.goto(f"{server.address}/theatre/{case}")
    page.wait_for_function("() => state !== null")
    moving = """() => [...document.querySelectorAll('*')].filter((one) => { const style = getComputedStyle(one);
        return style.transitionDuration !== '0s' || style.animationName !== 'none'; }).length"""
    assert page.evaluate(moving) == 0


def test_a_theatre_case_by_keyboard_alone(house: tuple[House, Server], launched: Any) -> None:
    _, server = house
    page = signed_in(launched, server)
    page.goto(f"{server.address}/theatre")
    page.focus("[name=label]")
    page.keyboard.type("by keyboard")
    for value in ("Okafor", "Ben", "700-41", "urn:oid:2.999.1"):
        page.keyboard.press("Tab")
        page.keyboard.type(value)
    page.keyboard.press("Enter")
    page.wait_for_url("**/theatre/*")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.className") == "skip"
    expect(page.locator("#go")).to_have_text("Start dictation")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement.id") == "go":
            break
    page.keyboard.press("Enter")
    expect(page.locator("#phase")).to_contain_text("Recording", timeout=20_000)
    expect(page.locator("#patient")).to_contain_text("Ben Okafor")
