"""`voxop serve`, `voxop users` and `voxop history`."""

from __future__ import annotations

import ipaddress
import json
import secrets
import sys
from pathlib import Path

import click

from pipeline import grammar, paths, run
from pipeline.errors import SetupError, SourceNotFound
from pipeline.review.accounts import ROLES, Accounts, User
from pipeline.review.store import Store

_store = click.option("--store", "url", metavar="URL", default="", help="SQLAlchemy URL of the database.  [default: "
                      "an SQLite file in the user's data folder]")  # fmt: skip
TERMINAL = "terminal"


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen at.")
@click.option("--port", default=8765, show_default=True, help="Port to listen at.")
@click.option("--certfile", type=click.Path(path_type=Path, dir_okay=False, exists=True), help="TLS certificate, PEM.")
@click.option("--keyfile", type=click.Path(path_type=Path, dir_okay=False, exists=True), help="Its private key, PEM.")
@click.option("--demo", is_flag=True, help="Open the bundled case, in a store of its own, with users of its own.")
@click.option("--profile", default=run.DEFAULT_PROFILE, show_default=True, help="Rules of a country or site.")
@click.option("--engine", default=run.DEFAULT_ENGINE, show_default=True, help="Recogniser for recordings.")
@click.option("--model", metavar="NAME", help="Model of that recogniser (`voxop models list`).")
@click.option("--second-opinion", "second", metavar="MODEL|auto|off", default="off", show_default=True,
              help="Ask a model for Vosk about numbers, units, sides and negations that are easily misheard.")
@click.option("--pcs-tables", type=click.Path(path_type=Path, dir_okay=False, exists=True), help="ICD-10-PCS tables, "
              "the XML that CMS publishes, for the coding help.")
@click.option("--send-to", metavar="URL", default="", help="Base URL of the FHIR server that signed notes are sent to.")
@click.option("--token-file", type=click.Path(path_type=Path), help="File with the bearer token for it.")
@click.option("--ca-file", type=click.Path(path_type=Path), help="Certificate authority of the hospital (PEM).")
@_store
def serve(
    host: str, port: int, certfile: Path | None, keyfile: Path | None, demo: bool, profile: str, engine: str,
    model: str | None, second: str, pcs_tables: Path | None, send_to: str, token_file: Path | None,
    ca_file: Path | None, url: str,
) -> None:  # fmt: skip
    """Open the local web application: the theatre page and the coder's page."""
    import uvicorn

    from pipeline.desk import Desk
    from pipeline.handover import Sending
    from pipeline.jobs import Jobs
    from pipeline.web.app import create

    if not _loopback(host) and not (certfile and keyfile):
        raise SetupError(
            f"{host} can be reached from other machines, and without TLS anybody between could read the notes.",
            "Give --certfile and --keyfile (PEM, from the hospital's certificate authority), or leave --host out.",
        )
    folder = paths.user_data() / ("demo" if demo else "cases")
    if demo:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        url = url or f"sqlite:///{folder / 'demo.sqlite'}"
    store = Store(url)
    accounts, desk = Accounts(store), Desk(store, folder, grammar.load(), profile=profile)
    desk.second = run.second_opinion(second, desk.rules)
    jobs = Jobs(desk, engine=engine, model=model)
    sending = Sending(desk, send_to, token_file=token_file, ca_file=ca_file)
    address = f"{'https' if certfile else 'http'}://{'[' + host + ']' if ':' in host else host}:{port}/"
    if demo:
        _prepare_demo(desk, accounts, address)
    elif not accounts.users():
        _first_administrator(accounts)
    known = {user.name: user for user in accounts.users()}
    jobs.go_on(lambda name: known.get(name, User(name, name, ())))
    click.echo(f"Vox Operandi is at {address}   (end with Ctrl+C)")
    uvicorn.run(
        create(desk, accounts, jobs, demo=demo, pcs_tables=pcs_tables, sending=sending), host=host, port=port,
        log_level="warning", access_log=False, ssl_certfile=certfile, ssl_keyfile=keyfile, server_header=False,
    )  # fmt: skip


def _loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _first_administrator(accounts: Accounts) -> None:
    """Asks for the administrator on the terminal. Raises SetupError where there is none."""
    if not sys.stdin.isatty():
        raise SetupError("There are no users yet.", "Make the administrator: voxop users add NAME --role administrator")
    click.echo("There are no users yet. The administrator comes first; surgeons and coders are added after that.")
    name = click.prompt("User name of the administrator", default="admin")
    accounts.add(name, _ask_password(), ("administrator",), click.prompt("Full name", default=name), by=TERMINAL)


def _ask_password() -> str:
    password: str = click.prompt("Password (15 characters or more)", hide_input=True, confirmation_prompt=True)
    return password


def _prepare_demo(desk: object, accounts: Accounts, address: str) -> None:
    from pipeline import jobs
    from pipeline.desk import Desk

    assert isinstance(desk, Desk)
    password = "-".join(secrets.token_hex(2) for _ in range(4))
    known = {user.name for user in accounts.users()}
    for name, role, full in (("surgeon", "surgeon", "Dr Harper"), ("coder", "coder", "C. Ozturk"),
                             ("admin", "administrator", "Administrator")):  # fmt: skip
        if name in known:
            accounts.change(name, by=TERMINAL, password=password)
        else:
            accounts.add(name, password, (role,), full, by=TERMINAL)
    if not desk.cases():
        recording, words = jobs.bundled()
        if words is None:
            raise SourceNotFound("The demonstration case is not in this installation.", "Run it in a checkout.")
        surgeon = next(user for user in accounts.users() if user.name == "surgeon")
        jobs.demo(desk, surgeon, recording, words)
        if not recording.exists():
            click.echo("The recording is not in this installation; the case opens without sound.")
    click.echo(f"Demonstration, nothing of a real patient. Sign in at {address} as surgeon, coder or admin.")
    click.echo(f"Password of all three, until the next start: {password}")


@click.group()
def users() -> None:
    """Add, list and change the users of the web application."""


@users.command(name="list")
@_store
def users_list(url: str) -> None:
    """List the users with their roles."""
    for user in Accounts(Store(url)).users():
        click.echo(f"{user.name:20} {', '.join(user.roles):30} {'' if user.active else 'closed'}  {user.full_name}")


_role = click.option("--role", "roles", multiple=True, type=click.Choice(ROLES), help="May be given several times.")
_password = click.option("--password-stdin", is_flag=True, help="Read the password from standard input.")


@users.command(name="add")
@click.argument("name")
@click.option("--full-name", default="", help="As it stands under a signed note.")
@_role
@_password
@_store
def users_add(name: str, full_name: str, roles: tuple[str, ...], password_stdin: bool, url: str) -> None:
    """Add a user; the password is asked for."""
    accounts = Accounts(Store(url))
    accounts.add(name, _password_of(password_stdin), roles, full_name, by=TERMINAL)
    click.echo(f"{name} may sign in now.")


@users.command(name="change")
@click.argument("name")
@_role
@click.option("--new-password", is_flag=True, help="Ask for a new password.")
@click.option("--close/--open", "closed", default=None, help="Close or open the account.")
@_password
@_store
def users_change(
    name: str, roles: tuple[str, ...], new_password: bool, closed: bool | None, password_stdin: bool, url: str
) -> None:  # fmt: skip
    """Change a user's roles or password, or close the account. Ends the user's sessions."""
    password = _password_of(password_stdin) if new_password or password_stdin else None
    active = None if closed is None else not closed
    Accounts(Store(url)).change(name, by=TERMINAL, password=password, roles=roles or None, active=active)
    click.echo(f"{name} is changed.")


def _password_of(from_stdin: bool) -> str:
    return sys.stdin.readline().rstrip("\n") if from_stdin else _ask_password()


@click.group(name="history")
def history_() -> None:
    """Read and verify the append-only history."""


@history_.command(name="show")
@click.argument("case", required=False, default="")
@click.option("--json", "as_json", is_flag=True, help="Machine-readable output on standard output.")
@_store
def history_show(case: str, as_json: bool, url: str) -> None:
    """Print what happened, of one CASE or of all."""
    for one in Store(url).entries(case):
        if as_json:
            click.echo(json.dumps({name: getattr(one, name) for name in one.__slots__}, ensure_ascii=False))
        else:
            click.echo(f"{one.seq:6} {one.at}  {one.by:16} {one.action:18} {one.case} {one.digest[:12]}")


@history_.command()
@click.option("--expect", metavar="DIGEST", default="", help="A digest kept elsewhere that must still be there.")
@_store
def verify(expect: str, url: str) -> None:
    """Prove the history whole; exits 2 when something was changed, left out or put in."""
    store = Store(url)
    faults, entries = store.verify(), store.entries()
    if expect and expect not in {one.digest for one in entries}:
        faults.append(f"the entry {expect} is gone: the history was cut off")
    for fault in faults:
        click.echo(f"NOT WHOLE: {fault}")
    if faults:
        sys.exit(2)
    last = entries[-1].digest if entries else "none"
    click.echo(f"Whole: {len(entries)} entries. Last digest (keep it elsewhere): {last}")


COMMANDS: tuple[click.Command, ...] = (serve, users, history_)
