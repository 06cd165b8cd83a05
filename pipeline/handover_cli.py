"""`voxop send`, `voxop outbox` and `voxop codes`: what leaves for the hospital's systems, and what a coder asks."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from pipeline import coding, delivery, grammar, run, site
from pipeline.delivery import Receipt
from pipeline.errors import DeliveryError
from pipeline.note import load

_token = click.option(
    "--token-file", type=click.Path(path_type=Path), help=f"File with the bearer token; else {delivery.TOKEN_VARIABLE}."
)
_ca = click.option("--ca-file", type=click.Path(path_type=Path), help="Certificate authority of the hospital (PEM).")
_outbox = click.option("--outbox", type=click.Path(path_type=Path), help="Folder of the outbox.")
_json = click.option("--json", "as_json", is_flag=True, help="Machine-readable output on standard output.")


@click.command()
@click.argument("path", metavar="NOTE.json", type=click.Path(path_type=Path))
@click.option("--to", "url", required=True, metavar="URL", help="Base URL of the FHIR server.")
@click.option("--form", type=click.Choice(["transaction", "document"]), default="transaction", show_default=True)
@click.option("--context", type=click.Path(path_type=Path), help="Patient, encounter, people: FHIR JSON or TOML.")
@click.option("--allow-placeholders", is_flag=True, help="Send although identities are placeholders (tests only).")
@click.option("--attempts", type=click.IntRange(1, 50), default=6, show_default=True, help="Requests at most.")
@_token
@_ca
@_outbox
@_json
def send(
    path: Path, url: str, form: str, context: Path | None, allow_placeholders: bool, attempts: int,
    token_file: Path | None, ca_file: Path | None, outbox: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Send a note to a FHIR server. What cannot be delivered waits in the outbox (`voxop outbox --resume`)."""
    where = site.load(context) if context else site.Site()
    (bundle,) = run.export(load(path), (f"fhir-{form}",), grammar.load(), where).values()
    policy = delivery.Policy(attempts=attempts, ca_file=ca_file)
    receipt = delivery.send(
        bundle, url, token=delivery.token_from(token_file), outbox=outbox, policy=policy,
        allow_placeholders=allow_placeholders,
    )  # fmt: skip
    click.echo(json.dumps(asdict(receipt), indent=1) if as_json else _told(receipt))


@click.command()
@click.option("--resume", is_flag=True, help="Send everything that waits.")
@_token
@_ca
@_outbox
@_json
def outbox(resume: bool, token_file: Path | None, ca_file: Path | None, outbox: Path | None, as_json: bool) -> None:
    """Show what waits to be sent, or send it."""
    failed: list[DeliveryError] = []
    if resume:
        token, policy = delivery.token_from(token_file), delivery.Policy(ca_file=ca_file)
        receipts, failed = delivery.resume(token=token, outbox=outbox, policy=policy)
        for receipt in receipts:
            click.echo(json.dumps(asdict(receipt), indent=1) if as_json else _told(receipt))
    left = [path.name for path in delivery.waiting(outbox)]
    click.echo(json.dumps({"waiting": left}) if as_json else f"{len(left)} bundle(s) waiting.")
    for problem in failed:
        click.echo(f"voxop: {problem}", err=True)
    if failed:
        sys.exit(2)


def _told(receipt: Receipt) -> str:
    made = sum(entry.made for entry in receipt.entries)
    again = " (it had been sent before; nothing was made twice)" if receipt.again else ""
    return f"Accepted by {receipt.url}: {len(receipt.entries)} resources, {made} new{again}."


@click.command()
@click.argument("path", metavar="NOTE.json", type=click.Path(path_type=Path))
@click.option("--pcs-tables", type=click.Path(path_type=Path), help="ICD-10-PCS tables of CMS (XML) of the site.")
@click.option("--most", type=click.IntRange(1, 50), default=5, show_default=True, help="Candidates for a diagnosis.")
@_json
def codes(path: Path, pcs_tables: Path | None, most: int, as_json: bool) -> None:
    """Suggest ICD-10-CM candidates and PCS axes with the words that support them. Never assigns a code."""
    note, rules = load(path), grammar.load()
    questions = coding.diagnosis_questions(note, rules, most)
    procedures = coding.procedure_questions(note, rules, coding.read_tables(pcs_tables) if pcs_tables else [])
    if as_json:
        rows: dict[str, Any] = {
            "diagnoses": [
                {"fact": item.fact.id, "said": item.said, "candidates": [asdict(one) for one in item.candidates]}
                for item in questions
            ],
            "procedures": [
                {"fact": item.fact.id, "said": item.said, "axes": [asdict(axis) for axis in item.axes]}
                for item in procedures
            ],
        }
        click.echo(json.dumps(rows, ensure_ascii=False, indent=1))
        return
    for item in questions:
        click.echo(f"“{item.said}”")
        for one in item.candidates:
            click.echo(f"  {one.code:9} {one.title}  (said: {', '.join(one.words)}; not said: {', '.join(one.open)})")
        if not item.candidates:
            click.echo("  no title has these words")
    for asked in procedures:
        click.echo(f"“{asked.said}”: " + "; ".join(f"{axis.name} {axis.value or 'open'}" for axis in asked.axes))
    click.echo("Candidates only: a coder decides. CPT is not included.")
