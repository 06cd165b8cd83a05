"""`voxop models add`, `remove` and `words`: the models for Vosk, those that a site brings above all."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline import grammar, listen, model_store, plugins
from pipeline.engines import vosk
from pipeline.errors import EngineUnavailable, ModelDamaged

# Tables of the grammar whose phrases a model is asked for.
TABLES = ("control", "sides", "units", "drugs", "sites")


@click.command(name="add")
@click.argument("path", metavar="PATH", type=click.Path(path_type=Path))
@click.option("--licence", required=True, prompt="Licence of the model (as its publisher names it)",
              help="Licence, as the publisher names it; asked for when not given.")
@click.option("--name", help="Name for --model.  [default: the folder's own]")
@click.option("--holder", default="", help="Who holds the rights.")
@click.option("--source", default="", help="Where it is from.")
@click.option("--language", metavar="CODE", help="ISO 639-1; told by the model when not given.")
@click.option("--default", "as_default", is_flag=True, help="Use it when no model is named.")
def add(path: Path, licence: str, name: str | None, holder: str, source: str, language: str | None,
        as_default: bool) -> None:  # fmt: skip
    """Take in a model for the engine vosk: PATH is its folder or zip, as its publisher packs it.

    It is checked, copied into the data folder and entered with the sha256 of every file. Nothing is downloaded.
    """
    row = model_store.add(
        path, licence=licence, name=name, language=language, holder=holder, source=source, default=as_default
    )
    try:
        vosk.load(row.name).recogniser()
    except EngineUnavailable as problem:
        model_store.remove(row.name)
        raise ModelDamaged(
            "The model is there in part only: vosk cannot use it.", "Bring its publisher's archive anew.",
            where=str(path),
        ) from problem  # fmt: skip
    click.echo(f"{row.name}: {len(row.files)} files, {row.size / 1e6:.1f} MB, {row.licence}. {row.about}.")


@click.command(name="remove")
@click.argument("name")
def remove(name: str) -> None:
    """Delete a model that was added."""
    model_store.remove(name)
    click.echo(f"{name}: removed.")


@click.command(name="words")
@click.argument("name")
def words(name: str) -> None:
    """Say which words of the grammar a model for Vosk does not know, and so never hears."""
    engine = plugins.find(listen.ENGINES, model_store.ENGINE).load(name)
    rules = grammar.load()
    for table in TABLES:
        said = dict.fromkeys(part for row in rules.tables[table].values() for phrase in getattr(row, "say", ())
                             for part in phrase.casefold().split())  # fmt: skip
        lacking = engine.unknown(tuple(said))
        told = f"; not {', '.join(lacking)}" if lacking else ""
        click.echo(f"{table}: {len(said) - len(lacking)} of {len(said)} words known{told}.")


COMMANDS = (add, remove, words)
