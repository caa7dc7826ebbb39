"""Commands that take in and give out: the apiary, readings, inspections, quarantine."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from hivewatch.cli.words import (
    Config,
    Decimal,
    Form,
    Format,
    present_s,
    print_json,
    read_text,
    settings_of,
    span_s,
    store_of,
)
from hivewatch.clock import SHIFT_MOST_S
from hivewatch.errors import SeveralErrors, UsageError


class What(StrEnum):
    """What to export."""

    everything = "everything"
    yards = "yards"
    hives = "hives"
    devices = "devices"
    placements = "placements"
    readings = "readings"
    inspections = "inspections"
    findings = "findings"
    alerts = "alerts"
    quarantine = "quarantine"


class Written(StrEnum):
    """How a table is written."""

    csv = "csv"
    json = "json"
    parquet = "parquet"


app = typer.Typer()
apiary_app = typer.Typer(help="Yards, hives and devices.", no_args_is_help=True)
inspections_app = typer.Typer(help="What people saw at the hives.", no_args_is_help=True)
quarantine_app = typer.Typer(help="What devices sent and could not be used.", no_args_is_help=True)
app.add_typer(apiary_app, name="apiary")
app.add_typer(inspections_app, name="inspections")
app.add_typer(quarantine_app, name="quarantine")


@apiary_app.command("load", short_help="Read yards, hives and devices from a file.")
def apiary_load(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Apiary file (TOML); - is standard input.")
    ],
    config: Config = None,
) -> None:
    """Read yards, hives and devices from a file; the same file twice changes nothing."""
    from hivewatch.apiary import read_apiary
    from hivewatch.store import apiary

    given = read_apiary(*read_text(file))
    if not (given.yards or given.hives or given.placements):
        raise UsageError(
            str(file), "", "nothing in it", "describe a [[yard]], [[hive]] or [[device]]"
        )
    store = store_of(config, may_make=True)
    with store.write() as connection:
        said = apiary.load(connection, given)
    for line in said or ["nothing changed"]:
        typer.echo(line)


@apiary_app.command("show", short_help="Print them in the form of that file.")
def apiary_show(config: Config = None, form: Form = Format.text) -> None:
    """Print yards, hives and devices as the store has them, in the form of the apiary file."""
    from hivewatch.apiary import write_apiary
    from hivewatch.store import apiary

    with store_of(config).read() as connection:
        known = apiary.read(connection)
        devices = apiary.devices(connection, unplaced=True)
    if form is Format.json:
        import tomllib

        print_json(tomllib.loads(write_apiary(known)) | {"unplaced": [one.id for one in devices]})
        return
    typer.echo(write_apiary(known).rstrip() or "# no yard yet: hivewatch apiary load FILE")
    for one in devices:
        typer.echo(f"# device {one.id} sends and is not placed at any hive")


@app.command("import", short_help="Store readings from files, or whatever export wrote.")
def import_files(
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="FILE",
            help="CSV, JSON or Parquet; a folder that export wrote; - is standard input.",
        ),
    ],
    config: Config = None,
    late: Annotated[
        bool, typer.Option("--late", help="They arrived only now, not when they were measured.")
    ] = False,
    decimal: Annotated[
        Decimal, typer.Option(help="How numbers are written: 21.5 or 21,5.")
    ] = Decimal.point,
    form: Form = Format.text,
) -> None:
    """Store readings from files, or whatever export wrote.

    Columns: time,device,quantity,value; or time,device and a column for each quantity. A column
    `received` says when each reading arrived. What export wrote comes back as it was; nobody is
    called for an alert that had not been sent.
    """
    from hivewatch.cli.imported import import_all

    settings = settings_of(config)
    done = import_all(
        settings.store.path,
        files,
        present_s(),
        typer.echo if form is Format.text else lambda _line: None,
        late=late,
        decimal_comma=decimal is Decimal.comma,
        mirrored=settings.mirror is not None,
    )
    if form is Format.json:
        print_json(done)
    refused = sum(one.get("refused", 0) for one in done)
    if refused:
        wrong = f"{refused} record{'s' * (refused != 1)} not taken in, as told above; all else was"
        raise UsageError("import", "", wrong, "correct them, and import the file again")


@app.command("export", short_help="Write readings, or all there is, into files.")
def export_records(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="New file: .csv, .json, .parquet, or .gz; - is standard output.",
        ),
    ],
    config: Config = None,
    what: Annotated[
        What | None,
        typer.Option(
            metavar="KIND",
            help=f"One of {', '.join(What)}; everything goes into a folder.",
        ),
    ] = None,
    written: Annotated[
        Written | None,
        typer.Option("--format", help="Default: by the file's name; CSV for a folder or -."),
    ] = None,
    hive: Annotated[
        list[str] | None, typer.Option(metavar="HIVE", help="Only of this hive; may be repeated.")
    ] = None,
    yard: Annotated[
        list[str] | None, typer.Option(metavar="YARD", help="Only of this yard; may be repeated.")
    ] = None,
    quantity: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Only this quantity, such as weight; may be repeated."),
    ] = None,
    since: Annotated[
        str | None, typer.Option(metavar="TIME", help="From this time on: 2026-05-01T12:00:00Z.")
    ] = None,
    until: Annotated[str | None, typer.Option(metavar="TIME", help="Before this time.")] = None,
) -> None:
    """Write readings (time,device,quantity,value), or whatever is stored, into files.

    With --what, files have all that import needs to make the same store elsewhere.
    """
    from hivewatch.export import END_S, Choice, export_all, export_kind

    since_s, until_s = span_s(since, until, END_S)
    choice = Choice(
        hives=hive or (),
        yards=yard or (),
        quantities=quantity or (),
        since_s=since_s,
        until_s=until_s,
        received=what is not None,
    )
    path = None if str(file) == "-" else file
    if quantity and what not in {None, What.readings, What.everything}:
        raise UsageError("--quantity", quantity[0], f"{what} have none", "leave it out")
    if what is What.everything:
        if path is None:
            raise UsageError("export", "-", "everything is several files", "name a new folder")
        done = export_all(store_of(config), path, choice, form=written or Written.csv)
        said = [f"{n} {name.removesuffix('s') if n == 1 else name}" for name, n in done.items()]
        typer.echo(f"{file}: {', '.join(said)}")
        return
    kind = what or What.readings
    count = export_kind(store_of(config), kind, path, choice, form=written)
    word = "reading" if kind is What.readings else "record"
    if path is not None:
        typer.echo(f"{file}: {count} {word}{'s' * (count != 1)}")


@inspections_app.command("load")
def inspections_load(
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="JSON, an array of inspections; - is standard input."),
    ],
    config: Config = None,
    late: Annotated[
        bool, typer.Option("--late", help="They were written down only now, not at the visits.")
    ] = False,
) -> None:
    """Store inspections; the same file twice changes nothing.

    A time without an offset is local time at the hive. One with the id or the key of a stored one
    corrects it; with withdrawn = true it takes it back.
    """
    from collections import Counter

    from hivewatch.inspections import read_told
    from hivewatch.store import apiary, inspections

    text, name = read_text(file)
    store = store_of(config)
    with store.read() as connection:
        zones = apiary.read(connection).zones
    given = read_told(text, name, zones)
    became: Counter[str] = Counter()
    wrong: list[UsageError] = []
    with store.write() as connection:
        now_s = present_s()
        for n, one in enumerate(given, start=1):
            first_s = now_s if late else min(one.inspection.at_s, now_s)
            try:
                became[inspections.tell(connection, one, first_s, now_s)] += 1
            except UsageError as error:
                remedy = f"nothing of the file is stored yet; {error.remedy}"
                where = f"{name}: no. {n}: {error.where}"
                wrong.append(UsageError(where, error.said, error.wrong, remedy))
        if wrong:
            raise SeveralErrors(wrong)
    changed = [f"{became[how]} {how}" for how in ("corrected", "withdrawn") if became[how]]
    typer.echo(", ".join([f"{became['new']} new", *changed, f"{became['known']} known already"]))


@quarantine_app.command("list")
def quarantine_list(config: Config = None, form: Form = Format.text) -> None:
    """List what waits in quarantine, and why."""
    from hivewatch.show import held_json, held_text
    from hivewatch.store import quarantine

    with store_of(config).read() as connection:
        held = quarantine.read(connection, waiting=True)
    if form is Format.json:
        print_json([held_json(one) for one in held])
        return
    for one in held:
        typer.echo(held_text(one))
    typer.echo(f"{len(held)} in quarantine")


@quarantine_app.command("readmit")
def quarantine_readmit(
    ids: Annotated[
        list[int] | None,
        typer.Argument(metavar="NUMBER", help="Which to try; all when none is given."),
    ] = None,
    config: Config = None,
    shift: Annotated[
        int,
        typer.Option(
            metavar="SECONDS",
            min=-SHIFT_MOST_S,
            max=SHIFT_MOST_S,
            help="Add this to times refused for a wrong clock; such as -86400, a day back.",
        ),
    ] = 0,
) -> None:
    """Try what is in quarantine again, after a fix."""
    from hivewatch.ingest.intake import Intake
    from hivewatch.store import quarantine

    settings = settings_of(config)
    if shift and not ids:
        remedy = "give the numbers of one device's; hivewatch quarantine list shows them"
        raise UsageError("--shift", str(shift), "each clock is wrong in its own way", remedy)
    store = store_of(config)
    intake = Intake(store, mirrored=settings.mirror is not None)
    tried = intake.readmit(present_s(), ids, shift_s=shift)
    for wanted in set(ids or ()) - {held.id for held, _ in tried}:
        remedy = "hivewatch quarantine list gives the numbers"
        wrong = "nothing waits under this number" + " for its clock" * bool(shift)
        raise UsageError("quarantine", str(wanted), wrong, remedy)
    admitted = sum(done.stored for _, done in tried)
    left = sum(done.quarantined > 0 for _, done in tried)
    word = "reading" if admitted == 1 else "readings"
    with store.read() as connection:
        untried = 0 if ids else len(quarantine.read(connection, waiting=True)) - left
    more = f"; {untried} more cannot be tried: their device is not known" if untried else ""
    typer.echo(f"{len(tried)} tried, {admitted} {word} stored, {left} still in quarantine{more}")
