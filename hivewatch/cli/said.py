"""Commands that say something of the bees: findings, outlook, round, comb."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from hivewatch.cli.words import (
    AsOf,
    Config,
    Form,
    Format,
    present_s,
    print_json,
    settings_of,
    span_s,
    store_of,
    time_s,
)

app = typer.Typer()


def _number(option: str, says: str) -> Any:  # noqa: ANN401 - typer's own type is not public
    """Make an option that takes a number from 0 on."""
    return typer.Option(option, metavar="NUMBER", min=0, help=says)


@app.command()
def findings(
    config: Config = None,
    hive: Annotated[str | None, typer.Option(metavar="HIVE", help="Only of this hive.")] = None,
    yard: Annotated[str | None, typer.Option(metavar="YARD", help="Only of this yard.")] = None,
    kind: Annotated[
        str | None, typer.Option(metavar="KIND", help="Only of this kind, such as swarm.")
    ] = None,
    since: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="Leave out what was over by this time, such as 2026-05-01T12:00:00Z.",
        ),
    ] = None,
    until: Annotated[
        str | None, typer.Option(metavar="TIME", help="Leave out what began at this time or later.")
    ] = None,
    pictures: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Draw what each finding rests on, into this folder."),
    ] = None,
    as_of: AsOf = None,
    form: Form = Format.text,
) -> None:
    """Say what the detectors find in the stored history."""
    from hivewatch.replay import find
    from hivewatch.show import finding_text, zone_of
    from hivewatch.store import apiary

    now_s = present_s()
    as_of_s = time_s(as_of, "--as-of", now_s)
    since_s, until_s = span_s(since, until, now_s + 1)
    store = store_of(config)
    found = find(
        store,
        settings_of(config).alerts,
        as_of_s=as_of_s,
        is_replay=as_of is not None,
        hive=hive,
        yard=yard,
        kind=kind,
        since_s=since_s,
        until_s=until_s,
    )
    if pictures is not None:
        from hivewatch.pictures import draw

        draw(store, found, pictures, as_of_s=as_of_s, is_replay=as_of is not None)
    if form is Format.json:
        from hivewatch.api.models import Finding

        print_json([Finding.of(one).model_dump(mode="json") for one in found])
        return
    with store.read() as connection:
        known = apiary.read(connection)
    for one in found:
        typer.echo(finding_text(one, zone_of(one, known)))
    if not found:
        typer.echo("nothing found")


@app.command()
def outlook(
    hive: Annotated[str, typer.Argument(metavar="HIVE", help="Id of the hive.")],
    config: Config = None,
    as_of: AsOf = None,
    form: Form = Format.text,
) -> None:
    """Look three weeks back and three weeks ahead at one hive."""
    from hivewatch.comb.outlook_words import outlook_dict
    from hivewatch.moments import written_s
    from hivewatch.replay import ahead
    from hivewatch.show import outlook_text

    as_of_s = time_s(as_of, "--as-of", present_s())
    seen = ahead(store_of(config), hive, as_of_s, is_replay=as_of is not None)
    if form is Format.json:
        print_json(outlook_dict(seen, written_s(as_of_s)))
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
        typer.Argument(
            metavar="FILE",
            help="Shares of each frame side (JSON, as in an inspection); - is standard input.",
        ),
    ] = None,
    config: Config = None,  # noqa: ARG001 - every command takes it; a comb needs no settings
    eggs: Annotated[float | None, _number("--eggs", "Cells with an egg.")] = None,
    open_: Annotated[float | None, _number("--open", "Cells of open brood.")] = None,
    capped: Annotated[float | None, _number("--capped", "Cells of capped worker brood.")] = None,
    drone_open: Annotated[
        float | None, _number("--drone-open", "Cells of open drone brood.")
    ] = None,
    drone_capped: Annotated[
        float | None, _number("--drone-capped", "Cells of capped drone brood.")
    ] = None,
    sides: Annotated[
        bool, typer.Option("--sides", help="The numbers are frame sides covered, such as 1.5.")
    ] = False,
    frame: Annotated[
        str | None,
        typer.Option(
            metavar="KIND", help="Kind of frame, to turn sides into cells; such as dadant."
        ),
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
