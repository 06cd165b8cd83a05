"""What the terminal shows of a note: one screen, plain words, no meaning by colour alone."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from pipeline.note import OperativeNote, Passage
from pipeline.records import Finding

MARKS = {"blocking": ("MUST SETTLE", "bold white on red"), "warning": ("CHECK", "bold yellow"), "note": ("note", "dim")}
CAUTION = "Draft until signed. Not a medical device; local rules and licensed judgement decide."
_FIRST = ("procedures", "diagnoses", "anaesthesia", "medicines", "harvest", "injection", "tourniquet", "blood_loss")


def show(console: Console, note: OperativeNote, files: Sequence[Path]) -> None:
    """Prints what was understood, what is missing, what does not add up, and where the files lie."""
    console.print(
        Panel(
            understood(note),
            title=f"Understood from {note.source.name}: {len(note.facts)} facts",
            subtitle=CAUTION,
            title_align="left",
            subtitle_align="left",
        )
    )
    findings = note.open_findings()
    missing = [finding for finding in findings if finding.check in ("completeness", "family_elements")]
    wrong = [finding for finding in findings if finding not in missing and finding.severity != "note"]
    quiet = [finding for finding in findings if finding not in missing and finding.severity == "note"]
    _list(console, "Does not add up or is unsure", wrong)
    _list(console, "Never said", missing)
    if quiet:
        console.print(f"and {len(quiet)} note(s); see all with: voxop check {_note_path(files)}", style="dim")
    if files:
        console.print(Text("Files: ") + Text(", ".join(str(path) for path in files), style="bold"))


def _note_path(files: Sequence[Path]) -> str:
    return next((str(path) for path in files if path.name == "note.json"), "NOTE.json")


def understood(note: OperativeNote) -> Table:
    """The note by sections, a line each; what is unsure is marked (?)."""
    table = Table.grid(padding=(0, 2))
    table.add_column(style="bold", no_wrap=True)
    table.add_column(overflow="fold")
    names = dict(note.sections.items())
    for name in (*_FIRST, *(name for name in names if name not in _FIRST)):
        entries = [entry for entry in names[name] if not isinstance(entry, Passage)]
        if entries:
            line = Text("; ").join(
                Text(f"{entry.text} (?)" if entry.doubtful else entry.text, style="yellow" if entry.doubtful else "")
                for entry in entries
            )
            table.add_row(name.replace("_", " ").capitalize(), line)
    return table


def _list(console: Console, title: str, findings: Sequence[Finding]) -> None:
    if not findings:
        console.print(f"{title}: nothing.", style="green")
        return
    console.print(Text(f"{title} ({len(findings)})", style="bold"))
    for finding in findings:
        console.print(line(finding))


def line(finding: Finding, *, with_key: bool = False) -> Text:
    """One finding on a line: mark, message, sum as worked, what to say or do, and the slug of DEVELOPERS.md; with the
    key that a decision on it names, if asked for."""
    mark, style = MARKS[finding.severity]
    text = Text("  ") + Text(f"[{mark}]", style=style) + Text(f" {finding.message}")
    if finding.arithmetic:
        text += Text(f"  ({finding.arithmetic})", style="cyan")
    if finding.ask:
        text += Text(f"  {finding.ask}", style="italic")
    if finding.settled:
        text += Text(f"  settled: {finding.settled}", style="dim")
    key = f"  key {finding.key}" if with_key else ""
    return text + Text(f"  {finding.check.replace('_', '-')}{key}", style="dim")
