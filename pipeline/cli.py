"""The command `voxop`. No logic: reads the options, calls run.py, shows what came out."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

from pipeline import (
    __version__,
    check_cli,
    grammar,
    handover_cli,
    listen_cli,
    manifest,
    models_cli,
    output,
    plugins,
    run,
    serve_cli,
    site,
    summary,
)
from pipeline.errors import VoxError
from pipeline.note import OperativeNote, load

OUT = Console()
ERR = Console(stderr=True)


class _Voxop(click.Group):
    """Turns every VoxError into one clear line and its exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except VoxError as problem:
            complain(problem)
            ctx.exit(problem.exit_code)
        except BrokenPipeError:
            ctx.exit(1)


def complain(problem: VoxError) -> None:
    click.echo(f"voxop: {problem}", err=True)


@click.group(cls=_Voxop, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="voxop")
def main() -> None:
    """Offline operative notes from dictation. Drafts until signed; not a medical device."""


def _names(_: click.Context, __: click.Parameter, value: str | None) -> tuple[str, ...] | None:
    if value is None:
        return None
    names = tuple(part.strip() for part in value.split(",") if part.strip())
    for name in names:
        try:
            plugins.find("pipeline.exports", run.ALIASES.get(name, name))
        except VoxError as problem:
            raise click.BadParameter(str(problem)) from None
    return names


_family = click.option("--family", metavar="NAME", help="Procedure family; found from the words when not given.")
_profile = click.option("--profile", default=run.DEFAULT_PROFILE, show_default=True, help="Rules of a country or site.")
_engine = click.option("--engine", default=run.DEFAULT_ENGINE, show_default=True, help="Recogniser for sound.")
_model = click.option("--model", metavar="NAME", help="Model of that recogniser (`voxop models list`).")
_second = click.option("--second-opinion", "second", metavar="MODEL|auto|off", default="off", show_default=True,
                       help="Ask a model for Vosk about numbers, units, sides and negations that are easily misheard; "
                            "auto: one that the site added.")  # fmt: skip
_reader = click.option("--second-reading", "reader", metavar="MODEL|auto|off", default="auto", show_default=True,
                       help="Model that reads each stretch of a recording again; where the two differ in a number, "
                            "unit, side or negation, both are shown.")  # fmt: skip
_no_repair = click.option(
    "--no-repair", is_flag=True, help="Leave every word as it was heard; misheard terms are not put right."
)
_json = click.option("--json", "as_json", is_flag=True, help="Machine-readable output on standard output.")
_quiet = click.option("--quiet", "-q", is_flag=True, help="Print nothing but errors.")
_strict = click.option("--strict", is_flag=True, help="Exit 3 when a blocking finding stands.")
_context = click.option(
    "--context", type=click.Path(path_type=Path), help="Patient, encounter, people: FHIR JSON or a small TOML."
)
_template = click.option("--template", type=click.Path(path_type=Path), help="The hospital's own DOCX template.")


def _site(context: Path | None, template: Path | None) -> site.Site:
    known = site.load(context) if context else site.Site()
    return replace(known, template=template)


@contextmanager
def _progress(quiet: bool) -> Iterator[run.Progress | None]:
    if quiet or not ERR.is_terminal:
        yield None
        return
    columns = (TextColumn("Listening"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"), TimeElapsedColumn(),
               TextColumn("left"), TimeRemainingColumn())  # fmt: skip
    with Progress(*columns, console=ERR, transient=True) as bar:
        task = bar.add_task("listening", total=None)

        def shown(done: float, total: float) -> None:
            bar.update(task, completed=done, total=total)

        yield shown


@main.command()
@click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the results.")
@click.option("--to", "names", callback=_names, help="Outputs, by comma.  [default: json,fhir,docx]")
@_engine
@_model
@_second
@_reader
@_no_repair
@_family
@_profile
@_context
@_template
@_strict
@_json
@_quiet
def note(
    sources: tuple[str, ...], out: Path, names: tuple[str, ...] | None, engine: str, model: str | None,
    second: str, reader: str, no_repair: bool, family: str | None, profile: str, context: Path | None,
    template: Path | None, strict: bool, as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Make a checked note, a FHIR bundle and a Word file of a recording or narration.

    SOURCE is sound (wav, flac, mp3, m4a, ogg), a stored word list (.json), a narration as text (.txt), or - for
    text on standard input. With several sources each gets a folder of its own under --out, and one that fails
    does not stop the rest.
    """
    rules, where = grammar.load(), _site(context, template)
    asked = run.second_opinion(second, rules)
    failed, blocked, made = 0, False, []
    for source in sources:
        folder = out if len(sources) == 1 else out / (Path(source).stem if source != "-" else "stdin")
        try:
            with _progress(quiet or as_json) as progress:
                heard = run.listen_to(
                    source, rules, engine=engine, model=model, family=family, progress=progress, mend=not no_repair,
                    second=asked, reader=reader,
                )
            result = run.make_note(heard, rules, family=family, profile=profile)
            files = {"words.json": run.words_file(heard)} | run.export(result, names or run.OUTPUTS, rules, where)
            written = output.write_all(folder, files)
        except VoxError as problem:
            if len(sources) == 1:
                raise
            complain(problem)
            failed += 1
            continue
        blocked |= any(finding.severity == "blocking" for finding in result.open_findings())
        made.append(_as_dict(result, written, source))
        if not (quiet or as_json):
            summary.show(OUT, result, written)
    if as_json:
        click.echo(json.dumps(made[0] if len(sources) == 1 else made, ensure_ascii=False, indent=1))
    if failed:
        click.echo(f"voxop: {failed} of {len(sources)} sources failed; the others are done.", err=True)
        sys.exit(2)
    if strict and blocked:
        sys.exit(check_cli.STRICT_EXIT)


def _as_dict(result: OperativeNote, written: Sequence[Path], source: str) -> dict[str, Any]:
    return {
        "source": source,
        "id": result.id,
        "family": result.family,
        "facts": len(result.facts),
        "findings": [asdict(finding) for finding in result.findings],
        "files": [str(path) for path in written],
    }


@main.command()
@click.argument("source")
@click.option("--out", type=click.Path(path_type=Path), help="Write the word list (JSON) to this file.")
@_engine
@_model
@_second
@_reader
@_no_repair
@_family
@_json
@_quiet
def transcribe(
    source: str, out: Path | None, engine: str, model: str | None, second: str, reader: str, no_repair: bool,
    family: str | None,
    as_json: bool, quiet: bool,
) -> None:  # fmt: skip
    """Turn a recording into words, with times and confidences."""
    rules = grammar.load()
    asked = run.second_opinion(second, rules)
    with _progress(quiet or as_json) as progress:
        heard = run.listen_to(
            source, rules, engine=engine, model=model, family=family, progress=progress, mend=not no_repair,
            second=asked, reader=reader,
        )  # fmt: skip
    words = run.words_file(heard)
    if out is not None:
        output.write_all(out.parent, {out.name: words})
    for notice in () if quiet else heard.source.notices:
        click.echo(f"voxop: {notice}", err=True)
    if as_json:
        click.echo(words.decode())
    elif not quiet:
        for start, text in run.lines(heard):
            click.echo(text if start is None else f"{int(start // 60):02d}:{start % 60:04.1f}  {text}")


@main.command()
@click.argument("path", metavar="NOTE.json", type=click.Path(path_type=Path))
@click.option("--to", "names", callback=_names, required=True, help="Outputs, by comma.")
@click.option("--out", type=click.Path(path_type=Path), default=Path(), help="Folder for the results.")
@_context
@_template
@_quiet
def export(
    path: Path, names: tuple[str, ...], out: Path, context: Path | None, template: Path | None, quiet: bool
) -> None:  # fmt: skip
    """Write a note in other forms. The forms are listed by `voxop forms`."""
    written = output.write_all(out, run.export(load(path), names, grammar.load(), _site(context, template)))
    if not quiet:
        for file in written:
            click.echo(str(file))


@main.command()
def forms() -> None:
    """List the output forms that --to takes."""
    for module in plugins.every("pipeline.exports"):
        name = module.__name__.rsplit(".", 1)[-1]
        short = next((alias for alias, real in run.ALIASES.items() if real == name), "")
        click.echo(f"{(short or name).replace('_', '-'):18} {module.FILE:20} {module.MEANING}")


@main.command()
def schema() -> None:
    """Print the JSON Schema of note.json."""
    click.echo(json.dumps(OperativeNote.model_json_schema(), indent=1))


@main.group()
def models() -> None:
    """List, join and verify the speech weights."""


@models.command(name="list")
@_json
def models_list(as_json: bool) -> None:
    """List the models, their licence and size."""
    rows = manifest.models()
    if as_json:
        click.echo(json.dumps([row.model_dump(exclude={"files"}) | {"size": row.size} for row in rows], indent=1))
        return
    for row in rows:
        mark = "default" if row.default else ""
        click.echo(f"{row.name:16} {row.size / 1e6:7.1f} MB  {row.licence:12} {row.origin:8} {mark:8} {row.about}")


@models.command()
@_quiet
def join(quiet: bool) -> None:
    """Join the weights that are used by default into the cache (others are joined at their first use)."""
    rows = manifest.models()
    beside = [manifest.second(row.name) for row in rows if row.default]
    for row in rows:
        if row.how == "join" and not row.default and row not in beside:
            continue
        folder = manifest.folder(row.name)
        if not quiet:
            click.echo(f"{row.name}: {folder}")


@models.command()
@_json
def verify(as_json: bool) -> None:
    """Check every file of every model against its sha256; exits 2 when one is missing or damaged."""
    states = [manifest.verify(row.name) for row in manifest.models()]
    if as_json:
        click.echo(json.dumps([asdict(state) for state in states], indent=1))
    else:
        for state in states:
            click.echo(f"{state.name:16} {state.state:10} {state.detail}")
    if any(state.state in ("missing", "damaged") for state in states):
        sys.exit(2)


for command in (check_cli.check, handover_cli.send, handover_cli.outbox, handover_cli.codes, listen_cli.listen_command):
    main.add_command(command)


for command in models_cli.COMMANDS:
    models.add_command(command)


for command in serve_cli.COMMANDS:
    main.add_command(command)


if __name__ == "__main__":
    main()
