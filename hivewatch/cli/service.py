"""Commands that run and keep the watch: demo, run, check, backup, restore."""

from __future__ import annotations

import os
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from hivewatch.cli.words import (
    Config,
    settings_of,
    store_of,
)
from hivewatch.clock import WallClock
from hivewatch.errors import UsageError

app = typer.Typer()


@app.command(short_help="Play a season of an invented apiary, here alone.")
def demo(
    config: Config = None,  # noqa: ARG001 - every command takes it; the demo has settings of its own
    port: Annotated[
        int | None,
        typer.Option(
            metavar="PORT",
            min=0,
            max=65535,
            help="Port of the pages. Default: 8080, or a free one if that is taken.",
        ),
    ] = None,
    days_per_second: Annotated[
        float,
        typer.Option(metavar="DAYS", min=0.01, max=10.0, help="Pace: days of the season a second."),
    ] = 0.5,
    seed: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", min=0, help="Another number plays another season."),
    ] = None,
    until: Annotated[
        str | None, typer.Option(metavar="DAY", help="Last day to play, such as 2026-06-30.")
    ] = None,
    exit_when_done: Annotated[
        bool, typer.Option("--exit-when-done", help="End with a summary when the season is over.")
    ] = False,
) -> None:
    """Play a season of an invented apiary through the whole program, on this machine alone."""
    from hivewatch.demo import play

    if until is not None and not _is_day(until):
        raise UsageError("--until", until, "not a day", "write it as 2026-06-30")
    play(port, days_per_second, seed, until, typer.echo, exit_when_done=exit_when_done)


def _is_day(said: str) -> bool:
    try:
        date.fromisoformat(said)
    except ValueError:
        return False
    return True


@app.command()
def run(config: Config = None) -> None:
    """Run the daemon: take readings, watch, alert, serve the pages."""
    from hivewatch import logs
    from hivewatch.daemon import Daemon

    logs.set_up()
    Daemon(settings_of(config), WallClock()).run()


@app.command(short_help="Try settings, store, broker, port and channels.")
def check(
    config: Config = None,
    defaults: Annotated[
        bool, typer.Option("--defaults", help="Print every setting with its default.")
    ] = False,
    ring: Annotated[
        bool, typer.Option("--ring", help="Send a test message to each channel, too.")
    ] = False,
) -> None:
    """Try settings, store, broker, the port of the pages and the channels, a line each."""
    from hivewatch.check import check_all
    from hivewatch.settings import defaults_text

    if defaults:
        typer.echo(defaults_text())
        return
    failed = False
    for part, is_well, line in check_all(config, os.environ, rings=ring):
        failed |= not is_well
        typer.echo(f"{'ok   ' if is_well else 'FAULT'} {part}: {line}")
    if failed:
        raise typer.Exit(2)


@app.command()
def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The copy; must not exist yet.")],
    config: Config = None,
) -> None:
    """Copy the store, whole and consistent, while it runs."""
    from hivewatch.store.copy import copy_out

    size = copy_out(store_of(config), file)
    typer.echo(f"{file}: {size / 1e6:.1f} MB, checked")


@app.command(short_help="Bring a copy back; the old store is kept.")
def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A copy made by backup.")],
    config: Config = None,
) -> None:
    """Bring a copy back; the store that is there must be stopped, and is kept beside it."""
    from hivewatch.store.copy import copy_in

    kept = copy_in(file, settings_of(config).store.path)
    typer.echo("restored" + (f"; the store that was there is now {kept}" if kept else ""))
