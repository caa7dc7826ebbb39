"""The commands: parse, call, print. Whatever is wrong is one line, and exit status 2."""

from __future__ import annotations

import json
import os
import re
import sys
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer
from sqlalchemy.exc import OperationalError
from typer.exceptions import TyperException

from hivewatch import settings as settings_room
from hivewatch.clock import WallClock
from hivewatch.errors import HivewatchError, UsageError
from hivewatch.mistakes import read_utf8
from hivewatch.settings import Settings
from hivewatch.store.open import Store, explain

app = typer.Typer(
    help="Watch honey-bee colonies from weight, warmth and traffic, and tell a phone.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)
apiary_app = typer.Typer(help="Yards, hives and devices.", no_args_is_help=True)
inspections_app = typer.Typer(help="What people saw at the hives.", no_args_is_help=True)
quarantine_app = typer.Typer(help="What devices sent and could not be used.", no_args_is_help=True)
app.add_typer(apiary_app, name="apiary")
app.add_typer(inspections_app, name="inspections")
app.add_typer(quarantine_app, name="quarantine")


class Format(StrEnum):
    """How to print data."""

    text = "text"
    json = "json"


class Decimal(StrEnum):
    """What stands between whole and part in the numbers of a file."""

    point = "point"
    comma = "comma"


Config = Annotated[
    Path | None,
    typer.Option("--config", help="Settings file; else hivewatch.toml here, or in /etc/hivewatch."),
]
AsOf = Annotated[
    str | None,
    typer.Option(help="As it would have been told then, from what had come by then (RFC 3339)."),
]
Form = Annotated[Format, typer.Option("--format", help="How to print.")]


def main() -> None:
    """Run the command line; a known fault is one line and status 2."""
    try:
        sys.exit(app(standalone_mode=False))
    except TyperException as error:
        _say_misuse(error)
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except HivewatchError as error:
        for line in str(error).splitlines():
            typer.echo(f"hivewatch: {line}", err=True)
        sys.exit(2)
    except OperationalError as error:
        typer.echo(f"hivewatch: {explain('the store', error)}", err=True)
        sys.exit(2)


def _say_misuse(error: TyperException) -> None:
    """Say what is wrong with the words of the command line, in one line."""
    said = getattr(error, "format_message", lambda: str(error))() or "no command"
    said = said.replace("Input should be", "must be").replace("Value error, ", "").rstrip(".")
    said = re.sub(r"a valid integer.*", "a whole number", said)
    said = re.sub(r"a valid number.*", "a number", said)
    words = getattr(getattr(error, "ctx", None), "command_path", "hivewatch")
    typer.echo(f"hivewatch: {said}; see {words} --help", err=True)


def _now_s() -> int:
    return WallClock().now_s()


def _settings(config: Path | None) -> Settings:
    return settings_room.load(config, os.environ)


def _store(config: Path | None) -> Store:
    return Store(_settings(config).store.path)


def _time_s(text: str | None, option: str, otherwise_s: int) -> int:
    """Read a time given on the command line."""
    if text is None:
        return otherwise_s
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        read = None
    if read is None or read.tzinfo is None:
        raise UsageError(option, text, "not a time", "use 2026-05-01T12:00:00Z or with an offset")
    return int(read.timestamp())


def _print_json(data: Any) -> None:  # noqa: ANN401 - whatever JSON can hold
    typer.echo(json.dumps(data, ensure_ascii=False, indent=2))


@app.command()
def demo(
    config: Config = None,  # noqa: ARG001 - every command takes it; the demo has settings of its own
    port: Annotated[
        int | None,
        typer.Option(min=0, max=65535, help="Of the pages; else 8080, or a free one if taken."),
    ] = None,
    days_per_second: Annotated[float, typer.Option(min=0.01, max=10.0, help="Pace.")] = 0.5,
    seed: Annotated[
        int | None, typer.Option(min=0, help="Another number is another season.")
    ] = None,
    until: Annotated[str | None, typer.Option(help="Last day to play, as 2026-06-30.")] = None,
    exit_when_done: Annotated[
        bool, typer.Option("--exit-when-done", help="End with a summary when the season is over.")
    ] = False,
) -> None:
    """Play a season of an invented apiary through the whole program, on this machine alone."""
    from hivewatch.demo import play

    play(port, days_per_second, seed, until, typer.echo, exit_when_done=exit_when_done)


@app.command()
def run(config: Config = None) -> None:
    """Watch: the daemon."""
    from hivewatch import logs
    from hivewatch.daemon import Daemon

    logs.set_up()
    Daemon(_settings(config), WallClock()).run()


@app.command()
def check(
    config: Config = None,
    defaults: Annotated[
        bool, typer.Option("--defaults", help="Print every setting with its default.")
    ] = False,
) -> None:
    """Try the settings, the store, the broker and the delivery channels, a line each."""
    from hivewatch.check import check_all

    if defaults:
        typer.echo(settings_room.defaults_text())
        return
    failed = False
    for part, is_well, line in check_all(config, os.environ):
        failed |= not is_well
        typer.echo(f"{'ok   ' if is_well else 'FAULT'} {part}: {line}")
    if failed:
        raise typer.Exit(2)


@apiary_app.command("load")
def apiary_load(
    file: Annotated[Path, typer.Argument(help="Apiary file (TOML).")], config: Config = None
) -> None:
    """Read yards, hives and devices from a file; the same file twice changes nothing."""
    from hivewatch.apiary import read_apiary
    from hivewatch.store import apiary

    given = read_apiary(*_read_text(file))
    store = _store(config)
    with store.write() as connection:
        said = apiary.load(connection, given)
    for line in said or ["nothing changed"]:
        typer.echo(line)


@apiary_app.command("show")
def apiary_show(config: Config = None, form: Form = Format.text) -> None:
    """Print yards, hives and devices as the store has them, in the form of the apiary file."""
    from hivewatch.apiary import write_apiary
    from hivewatch.store import apiary

    with _store(config).read() as connection:
        known = apiary.read(connection)
        devices = apiary.devices(connection, unplaced=True)
    if form is Format.json:
        import tomllib

        _print_json(tomllib.loads(write_apiary(known)) | {"unplaced": [one.id for one in devices]})
        return
    typer.echo(write_apiary(known).rstrip() or "# no yard yet: hivewatch apiary load FILE")
    for one in devices:
        typer.echo(f"# device {one.id} sends and is not placed at any hive")


@app.command("import")
def import_files(
    files: Annotated[list[Path], typer.Argument(help="CSV files; - reads standard input.")],
    config: Config = None,
    late: Annotated[
        bool, typer.Option("--late", help="They came only now, not when they were measured.")
    ] = False,
    decimal: Annotated[Decimal, typer.Option(help="As in 21.5 or in 21,5.")] = Decimal.point,
    form: Form = Format.text,
) -> None:
    """Store readings from CSV: time,device,quantity,value or time,device and one column each."""
    from hivewatch.show import import_all

    settings = _settings(config)
    done = import_all(
        Store(settings.store.path),
        files,
        _now_s(),
        typer.echo if form is Format.text else lambda _line: None,
        late=late,
        decimal_comma=decimal is Decimal.comma,
        mirrored=settings.mirror is not None,
    )
    if form is Format.json:
        _print_json(done)


@app.command("export")
def export_readings(
    file: Annotated[
        Path, typer.Argument(help="New file, .csv, .csv.gz or .parquet; - is standard output.")
    ],
    config: Config = None,
    hive: Annotated[list[str] | None, typer.Option(help="Only of this hive.")] = None,
    yard: Annotated[list[str] | None, typer.Option(help="Only of this yard.")] = None,
    quantity: Annotated[list[str] | None, typer.Option(help="Only these, as weight.")] = None,
    since: Annotated[str | None, typer.Option(help="Not before then (RFC 3339).")] = None,
    until: Annotated[str | None, typer.Option(help="Before then (RFC 3339).")] = None,
) -> None:
    """Write readings out: time,device,quantity,value, as import reads them."""
    from hivewatch.export import END_S, Choice, export

    choice = Choice(
        hives=hive or (),
        yards=yard or (),
        quantities=quantity or (),
        since_s=_time_s(since, "--since", 0),
        until_s=_time_s(until, "--until", END_S),
    )
    path = None if str(file) == "-" else file
    count = export(_store(config), path, choice, sys.stdout.buffer)
    if path is not None:
        typer.echo(f"{file}: {count} reading{'s' * (count != 1)}")


@inspections_app.command("load")
def inspections_load(
    file: Annotated[Path, typer.Argument(help="JSON, an array of inspections; - for stdin.")],
    config: Config = None,
    late: Annotated[
        bool, typer.Option("--late", help="They were written down only now, not at the visits.")
    ] = False,
) -> None:
    """Store inspections; the same file twice changes nothing."""
    from hivewatch.inspections import read_inspections
    from hivewatch.store import inspections

    given = read_inspections(*_read_text(file))
    with _store(config).write() as connection:
        now_s = _now_s()
        new = sum(
            inspections.add(connection, one, now_s if late else min(one.at_s, now_s))[1]
            for one in given
        )
    typer.echo(f"{new} new, {len(given) - new} known already")


@quarantine_app.command("list")
def quarantine_list(config: Config = None, form: Form = Format.text) -> None:
    """List what waits in quarantine, and why."""
    from hivewatch.show import held_json, held_text
    from hivewatch.store import quarantine

    with _store(config).read() as connection:
        held = quarantine.read(connection, waiting=True)
    if form is Format.json:
        _print_json([held_json(one) for one in held])
        return
    for one in held:
        typer.echo(held_text(one))
    typer.echo(f"{len(held)} in quarantine")


@quarantine_app.command("readmit")
def quarantine_readmit(
    ids: Annotated[list[int] | None, typer.Argument(help="Which; all when none is named.")] = None,
    config: Config = None,
) -> None:
    """Try what is in quarantine again, after a fix."""
    from hivewatch.ingest.intake import Intake

    settings = _settings(config)
    intake = Intake(Store(settings.store.path), mirrored=settings.mirror is not None)
    tried = intake.readmit(_now_s(), ids)
    for wanted in set(ids or ()) - {held.id for held, _ in tried}:
        remedy = "hivewatch quarantine list gives the numbers"
        raise UsageError("quarantine", str(wanted), "nothing waits under this number", remedy)
    admitted = sum(done.stored for _, done in tried)
    left = sum(done.quarantined > 0 for _, done in tried)
    typer.echo(f"{len(tried)} tried, {admitted} readings stored, {left} still in quarantine")


@app.command()
def findings(
    config: Config = None,
    hive: Annotated[str | None, typer.Option(help="Only of this hive.")] = None,
    yard: Annotated[str | None, typer.Option(help="Only of this yard.")] = None,
    kind: Annotated[str | None, typer.Option(help="Only of this kind.")] = None,
    since: Annotated[str | None, typer.Option(help="Not over before then (RFC 3339).")] = None,
    until: Annotated[str | None, typer.Option(help="Begun before then (RFC 3339).")] = None,
    as_of: AsOf = None,
    form: Form = Format.text,
) -> None:
    """Say what the detectors find in the stored history."""
    from hivewatch.replay import find
    from hivewatch.show import finding_json, finding_text

    now_s = _now_s()
    found = find(
        _store(config),
        _settings(config).alerts,
        as_of_s=_time_s(as_of, "--as-of", now_s),
        is_replay=as_of is not None,
        hive=hive,
        yard=yard,
        kind=kind,
        since_s=_time_s(since, "--since", 0),
        until_s=_time_s(until, "--until", now_s + 1),
    )
    if form is Format.json:
        _print_json([finding_json(one) for one in found])
        return
    for one in found:
        typer.echo(finding_text(one))
    if not found:
        typer.echo("nothing found")


@app.command()
def outlook(
    hive: Annotated[str, typer.Argument(help="Which hive.")],
    config: Config = None,
    as_of: AsOf = None,
    form: Form = Format.text,
) -> None:
    """Look three weeks back and three weeks ahead at one hive."""
    from hivewatch.comb.outlook_words import outlook_dict
    from hivewatch.replay import ahead
    from hivewatch.show import outlook_text, rfc3339

    as_of_s = _time_s(as_of, "--as-of", _now_s())
    seen = ahead(_store(config), hive, as_of_s, is_replay=as_of is not None)
    if form is Format.json:
        _print_json(outlook_dict(seen, rfc3339(as_of_s)))
    else:
        typer.echo(outlook_text(seen))


@app.command("round")
def round_(config: Config = None, as_of: AsOf = None, form: Form = Format.text) -> None:
    """Say which yards to visit and when, why, and what to take."""
    from hivewatch import replay, rounds
    from hivewatch.store import apiary
    from hivewatch.timeline.show import round_dict, round_text

    store, is_replay = _store(config), as_of is not None
    as_of_s = _time_s(as_of, "--as-of", _now_s())
    found = replay.find(store, _settings(config).alerts, as_of_s=as_of_s, is_replay=is_replay)
    by_s = as_of_s if is_replay else None
    with store.read() as connection:
        known = apiary.read(connection)
        ahead = rounds.outlooks(connection, known, as_of_s, by_s)
        plan = rounds.plan(connection, known, found, as_of_s, recorded_by_s=by_s, outlooks=ahead)
    if form is Format.json:
        _print_json(round_dict(plan))
    else:
        typer.echo(round_text(plan))


@app.command()
def comb(
    config: Config = None,  # noqa: ARG001 - every command takes it; a comb needs no settings
    eggs: Annotated[int | None, typer.Option(min=0, help="Cells with an egg.")] = None,
    open_: Annotated[int | None, typer.Option("--open", min=0, help="Open brood.")] = None,
    capped: Annotated[int | None, typer.Option(min=0, help="Capped worker brood.")] = None,
    form: Form = Format.text,
) -> None:
    """Read one comb count: how the queen has laid for three weeks, and what emerges."""
    from hivewatch.comb import CombCount, read_comb, to_dict, to_text

    reading = read_comb(CombCount(eggs=eggs, open=open_, capped=capped))
    if form is Format.json:
        _print_json(to_dict(reading))
    else:
        typer.echo(to_text(reading))


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(help="Where to; must not exist.")], config: Config = None
) -> None:
    """Copy the store, whole and consistent, while it runs."""
    from hivewatch.store.copy import copy_out

    size = copy_out(_store(config), file)
    typer.echo(f"{file}: {size / 1e6:.1f} MB, checked")


@app.command()
def restore(
    file: Annotated[Path, typer.Argument(help="A copy made by backup.")], config: Config = None
) -> None:
    """Bring a copy back; the store that is there must be stopped, and is kept beside it."""
    from hivewatch.store.copy import copy_in

    kept = copy_in(file, _settings(config).store.path)
    typer.echo("restored" + (f"; the store that was there is now {kept}" if kept else ""))


def _read_text(file: Path) -> tuple[str, str]:
    """Read a file whole, or standard input; also gives the name to call it by."""
    is_stdin = str(file) == "-"
    try:
        raw = sys.stdin.buffer.read() if is_stdin else file.read_bytes()
    except OSError as error:
        wrong = f"cannot be read ({error.strerror})"
        raise UsageError(str(file), "", wrong, "check the name") from error
    name = "standard input" if is_stdin else file.name
    return read_utf8(raw, name), name
