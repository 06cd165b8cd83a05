"""How quick the pages are: first paint, and from the end of an utterance to its words and note on the theatre screen.

    python benchmarks/pages.py [--seconds 60]

The bundled recording plays into Chromium's microphone in real time; the real recogniser listens. Prints a table with
the number of processors and the load of the machine, which is shared with whatever else runs on it.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from pipeline import audio, jobs, run
from pipeline.dictation import Event, Noted, Utterance
from pipeline.sound import RATE
from pipeline.web import rooms
from tests.theatre_parts import DEMO, Server, browser, signed_in, write_wav
from tests.web_parts import House

WATCH = """() => {
  window.changes = [];
  const note = (what) => window.changes.push([what, Date.now()]);
  new MutationObserver(() => note("heard")).observe(document.getElementById("heard"), {childList: true});
  new MutationObserver(() => note("note")).observe(document.getElementById("note"), {childList: true});
}"""
PAINT = "() => performance.getEntriesByName('first-contentful-paint')[0].startTime"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=60.0, help="How much of the recording is played.")
    seconds = parser.parse_args().seconds
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder), seconds)


def measure(folder: Path, seconds: float) -> None:
    house = House(folder)
    engine = jobs.Jobs(house.desk).load_engine()
    house.app.state.rooms = rooms.Rooms(house.desk, lambda: engine)
    told: list[tuple[float, Event]] = []
    following = rooms.Room._on

    def on(room: rooms.Room, event: Event, stored: object) -> None:
        if isinstance(event, Utterance | Noted):
            told.append((time.time(), event))
        following(room, event, stored)  # type: ignore[arg-type]

    rooms.Room._on = on  # type: ignore[method-assign, assignment]
    ann = house.user("ann")
    case = house.desk.new_case(ann, "timed")
    reviewed = house.desk.new_case(ann, "review")
    house.desk.make_note(reviewed, ann, run.listen_to(str(DEMO / "words.json"), house.desk.rules))
    sound = np.concatenate(list(audio.pieces(audio.inspect(DEMO / "dictation.flac"))))[: round(seconds * RATE)]
    server = Server(house)
    with browser(write_wav(folder / "microphone.wav", sound)) as launched:
        page = signed_in(launched, server, viewport={"width": 1920, "height": 1080}, bypass_csp=True)
        print("first contentful paint, ms (third of three loads)")
        for name, path in (("list of cases", "/cases"), ("demonstration case, review", f"/cases/{reviewed}"),
                           ("theatre page", f"/theatre/{case}")):  # fmt: skip
            for _ in range(3):
                page.goto(server.address + path)
                page.wait_for_timeout(1500)  # a page without a frame yet has no paint entry
            print(f"  {name:28} {page.evaluate(PAINT):6.0f}")
        page.wait_for_selector("#go:not([disabled])")
        page.evaluate(WATCH)
        page.click("#go")
        page.wait_for_timeout(1000 * seconds + 8000)
        changes = page.evaluate("() => window.changes")
    server.stop()
    report(told, changes)


def report(told: list[tuple[float, Event]], changes: list[list[object]]) -> None:
    drawn = {what: [float(str(when)) / 1000 for name, when in changes if name == what] for what in ("heard", "note")}
    words, notes = [], []
    for at, event in told:
        if isinstance(event, Utterance):
            made = [when for when, other in told if isinstance(other, Noted) and when > at]
            heard = [when for when in drawn["heard"] if when >= at]
            shown = [when for when in drawn["note"] if made and when >= made[0]]
            if heard:
                words.append(event.wait + heard[0] - at)
            if shown:
                notes.append(event.wait + shown[0] - at)
    print(f"from the end of an utterance to the screen, s ({len(words)} utterances)")
    for name, values in (("its words", words), ("the note with it", notes)):
        print(f"  {name:28} median {statistics.median(values):.1f}, worst {max(values):.1f}")
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}; the machine is shared, so less is possible.")


if __name__ == "__main__":
    main()
