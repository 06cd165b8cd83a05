"""`voxop check`: the findings of a note, and the decisions on them as the review desk records them."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path

import click
from rich.console import Console

from pipeline import checking, grammar, output, run, summary
from pipeline.note import OperativeNote, load
from pipeline.records import Revision
from pipeline.review.store import now

OUT = Console()
STRICT_EXIT = 3


@click.command()
@click.argument("path", metavar="NOTE.json", type=click.Path(path_type=Path))
@click.option("--profile", help="Check by the rules of another profile than the note's own.")
@click.option("--family", help="Check by another procedure family than the note's own.")
@click.option("--settle", "settled", metavar="KEY", multiple=True,
              help="Record that a finding may stand (its key, or its slug if one alone has it); needs --reason, --by.")
@click.option("--reopen", "reopened", metavar="KEY", multiple=True,
              help="Take such a decision back; both stay on record. Needs --reason and --by.")
@click.option("--reason", default="", help="Why the finding may stand, or why the decision is taken back.")
@click.option("--by", default="", metavar="NAME", help="Who decides.")
@click.option("--decisions", "listed", is_flag=True, help="List the recorded decisions instead of the findings.")
@click.option("--strict", is_flag=True, help="Exit 3 when a blocking finding stands.")
@click.option("--json", "as_json", is_flag=True, help="Machine-readable output on standard output.")
def check(
    path: Path, profile: str | None, family: str | None, settled: tuple[str, ...], reopened: tuple[str, ...],
    reason: str, by: str, listed: bool, strict: bool, as_json: bool,
) -> None:  # fmt: skip
    """Check a note again and print the findings, worst first, each with its key; or decide on them."""
    changes = {key: value for key, value in (("profile", profile), ("family", family)) if value}
    if changes and (settled or reopened):
        raise click.UsageError("Decisions are by the note's own profile and family; leave --profile and --family out.")
    rules = grammar.load()
    result = run.recheck(load(path).model_copy(update=changes), rules)
    if settled or reopened:
        result = _decided(result, rules, settled, reopened, reason, by)
        output.write_all(path.parent, {path.name: result.to_json().encode()})
    _show(result, listed, as_json)
    if strict and any(finding.severity == "blocking" for finding in result.open_findings()):
        sys.exit(STRICT_EXIT)


def _decided(
    note: OperativeNote, rules: grammar.Grammar, settled: tuple[str, ...], reopened: tuple[str, ...], reason: str,
    by: str,
) -> OperativeNote:  # fmt: skip
    """The note with all decisions, or none of them. Raises BadDecision."""
    at = now()
    made = [checking.settle(note, key, by=by, at=at, reason=reason) for key in settled]
    made += [checking.reopen(note, key, by=by, at=at, reason=reason) for key in reopened]
    return run.recheck(note.model_copy(update={"decisions": [*note.decisions, *made]}), rules)


def _show(note: OperativeNote, listed: bool, as_json: bool) -> None:
    if listed and as_json:
        click.echo(json.dumps([asdict(one) for one in note.decisions], ensure_ascii=False, indent=1))
    elif listed:
        for one in note.decisions:
            click.echo(_told(one))
        click.echo(f"{len(note.decisions)} decision(s).")
    elif as_json:
        click.echo(json.dumps([asdict(finding) for finding in note.findings], ensure_ascii=False, indent=1))
    else:
        for finding in note.findings:
            OUT.print(summary.line(finding, with_key=True))
        OUT.print(f"{len(note.open_findings())} open finding(s). {summary.CAUTION}", style="dim")


def _told(one: Revision) -> str:
    """One decision on a line: when, who, what on, and the reason."""
    change = " -> ".join(part for part in (one.before, one.after) if part)
    why = f"  because: {one.reason}" if one.reason else ""
    return f"{one.at}  {one.by}  {one.action}  {one.target}  {change}{why}"
