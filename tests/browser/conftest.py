"""A served application with the demonstration case, and a real headless Chromium. Skipped by name without one."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from pipeline import jobs
from tests.theatre_parts import Server, Told, short_case, write_wav
from tests.web_parts import PASSWORD, House

# Without these a Chromium of Debian calls home and opens helper processes that a test machine refuses.
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip


@dataclass
class Served:
    """An application that answers at `url`. `case`: the demonstration case."""

    house: House
    url: str
    case: str


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("served")
    house = House(folder)
    case = jobs.demo(house.desk, house.user("ann"), *jobs.bundled())
    server = uvicorn.Server(uvicorn.Config(house.app, host="127.0.0.1", port=0, log_level="error", lifespan="off"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield Served(house, f"http://127.0.0.1:{port}", case)
    server.should_exit = True
    thread.join(10)
    house.jobs.close()


# Not for the whole session: playwright keeps an event loop running in this thread, and the stack it switches away from
# is in the way of whatever test comes next.
@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if program is None:
        pytest.skip("chromium is not installed")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS, headless=True)
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the microphone of the browser plays: the short case."""
    return write_wav(tmp_path_factory.mktemp("sound") / "microphone.wav", short_case()[0])


@pytest.fixture
def house(tmp_path: Path) -> Iterator[tuple[House, Server]]:
    """A served application whose recogniser hears the words of the short case."""
    made = House(tmp_path, load_engine=lambda: Told(short_case()[1]))
    server = Server(made)
    yield made, server
    server.stop()


class Reader:
    """A page with somebody signed in; collects what the browser complains of."""

    def __init__(self, chromium: Any, served: Served, name: str, **options: Any) -> None:
        self.served = served
        self.context = chromium.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.page.on("console", lambda told: self.complaints.append(told.text) if told.type == "error" else None)
        self.page.on("pageerror", lambda problem: self.complaints.append(str(problem)))
        self.page.goto(served.url + "/sign-in")
        self.page.fill("[name=name]", name)
        self.page.fill("[name=password]", PASSWORD)
        self.page.click("button.main")

    def open(self, path: str) -> Any:
        self.page.goto(self.served.url + path)
        return self.page

    def close(self) -> None:
        self.context.close()


AXE = Path(__file__).resolve().parents[1] / "node" / "node_modules" / "axe-core" / "axe.min.js"


# Rows beyond these are of the same template as the ones before them.
ALIKE = ["#transcript p:nth-of-type(n+3)", ".note .part:nth-of-type(n+6)", "tbody tr:nth-child(n+6)"]


def faults(page: Any, *rules: str) -> list[str]:
    """Serious and critical faults that axe-core finds against WCAG 2.2 A and AA (or by `rules`), one line each."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm)")
    page.evaluate(AXE.read_text(encoding="utf-8"))
    wanted = list(rules) or ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = page.evaluate(
        "([alike, wanted]) => axe.run({exclude: alike.map((one) => [one])}, "
        "{runOnly: wanted, resultTypes: ['violations']})",
        [ALIKE, wanted],
    )
    assert found["passes"], "axe looked at nothing"
    return [f"{one['id']}: {one['help']}: {node['html'][:120]}" for one in found["violations"]
            if one["impact"] in ("serious", "critical") for node in one["nodes"]]  # fmt: skip
