"""Commands that say something of the bees: findings, outlook, round, comb."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from hivewatch.cli.words import (
    AsOf,
    Config,
    Form,
    Format,
    present_s,
    print_json,
    settings_of,
    store_of,
    time_s,
)

app = typer.Typer()


@app.command()
def findings(
    config: Config = None,
    hive: Annotated[str | None, typer.Option(metavar="HIVE", help="Only of this hive.")] = None,
    yard: Annotated[str | None, typer.Option(metavar="YARD", help="Only of this yard.")] = None,
    kind: Annotated[
        str | None, typer.Option(metavar="KIND", help="Only of this kind, as swarm.")
    ] = None,
    since: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="Not over before then, as 2026-05-01T12:00:00Z."),
    ] = None,
    until: Annotated[str | None, typer.Option(metavar="TIME", help="Begun before then.")] = None,
    pictures: Annotated[
        Path | None, typer.Option(help="Folder for a picture of what each finding rests on.")
    ] = None,
    as_of: AsOf = None,
    form: Form = Format.text,
) -> None:
    """Say what the detectors find in the stored history."""
    from hivewatch.pictures import draw
    from hivewatch.replay import find
    from hivewatch.show import finding_json, finding_text, zone_of
    from hivewatch.store import apiary

    now_s = present_s()
    as_of_s, store = time_s(as_of, "--as-of", now_s), store_of(config)
    found = find(
        store,
        settings_of(config).alerts,
        as_of_s=as_of_s,
        is_replay=as_of is not None,
        hive=hive,
        yard=yard,
        kind=kind,
        since_s=time_s(since, "--since", 0),
        until_s=time_s(until, "--until", now_s + 1),
    )
    if pictures is not None:
        draw(store, found, pictures, as_of_s=as_of_s, is_replay=as_of is not None)
    if form is Format.json:
        print_json([finding_json(one) for one in found])
        return
    with store.read() as connection:
        known = apiary.read(connection)
    for one in found:
        typer.echo(finding_text(one, zone_of(one, known)))
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

    as_of_s = time_s(as_of, "--as-of", present_s())
    seen = ahead(store_of(config), hive, as_of_s, is_replay=as_of is not None)
    if form is Format.json:
        print_json(outlook_dict(seen, rfc3339(as_of_s)))
    else:
        typer.echo(outlook_text(seen))


@app.command("round")
def round_(config: Config = None, as_of: AsOf = None, form: Form = Format.text) -> None:
    """Say which yards to visit and when, why, and what to take."""
    from hivewatch import replay, rounds
    from hivewatch.store import apiary
    from hivewatch.timeline.show import round_dict, round_text

    store, is_replay = store_of(config), as_of is not None
    as_of_s = time_s(as_of, "--as-of", present_s())
    found = replay.find(store, settings_of(config).alerts, as_of_s=as_of_s, is_replay=is_replay)
    by_s = as_of_s if is_replay else None
    with store.read() as connection:
        known = apiary.read(connection)
        ahead = rounds.outlooks(connection, known, as_of_s, by_s)
        plan = rounds.plan(connection, known, found, as_of_s, recorded_by_s=by_s, outlooks=ahead)
    if form is Format.json:
        print_json(round_dict(plan))
    else:
        typer.echo(round_text(plan))


@app.command(short_help="Read one comb count; needs no store.")
def comb(
    file: Annotated[
        Path | None,
        typer.Argument(help="JSON: the share of each frame side, as in an inspection; - reads it."),
    ] = None,
    config: Config = None,  # noqa: ARG001 - every command takes it; a comb needs no settings
    eggs: Annotated[float | None, typer.Option(min=0, help="Cells with an egg.")] = None,
    open_: Annotated[float | None, typer.Option("--open", min=0, help="Open brood.")] = None,
    capped: Annotated[float | None, typer.Option(min=0, help="Capped worker brood.")] = None,
    drone_open: Annotated[float | None, typer.Option(min=0, help="Open drone brood.")] = None,
    drone_capped: Annotated[float | None, typer.Option(min=0, help="Capped drone brood.")] = None,
    sides: Annotated[
        bool, typer.Option("--sides", help="The numbers are frame sides covered, as 1.5.")
    ] = False,
    frame: Annotated[
        str | None, typer.Option(metavar="KIND", help="Kind of frame, for sides, as dadant.")
    ] = None,
    form: Form = Format.text,
) -> None:
    """Read one comb count: how the queen has laid for three weeks, and what emerges."""
    from hivewatch.cli.counted import counted
    from hivewatch.comb import read_comb, to_dict, to_text

    told = {
        "--eggs": eggs,
        "--open": open_,
        "--capped": capped,
        "--drone-open": drone_open,
        "--drone-capped": drone_capped,
    }
    reading = read_comb(counted(told, file, frame, in_sides=sides))
    if form is Format.json:
        print_json(to_dict(reading))
    else:
        typer.echo(to_text(reading))
