"""Records of an export back into the store: what is there already stays as it is.

Findings come back as they were told, so that they keep their ids. Alerts: `store/closed.py`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, Literal

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Connection, Row, Table, select, update
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.exc import DataError, IntegrityError, InterfaceError, ProgrammingError

from hivewatch.apiary import DeviceId, Hive, Yard
from hivewatch.errors import UsageError
from hivewatch.inspections import Change, Inspection, to_json
from hivewatch.mistakes import told
from hivewatch.store import apiary, closed, stale
from hivewatch.store.columns import HIVES, INSPECTIONS, Kind, rfc3339
from hivewatch.store.schema import (
    device,
    finding,
    hive,
    inspection,
    inspection_version,
    placement,
    quarantine,
    yard,
)

# closed: new, an alert that was still to be sent; kept: the store says otherwise, and goes on so
Became = Literal["new", "closed", "known", "kept"]
Record = Mapping[str, Any]
_DAMAGED = (
    *(ValidationError, TypeError, ValueError, AttributeError, ArithmeticError, LookupError),
    *(DataError, IntegrityError, InterfaceError, ProgrammingError),
)
_YARD, _HIVE, _DEVICE = TypeAdapter(Yard), TypeAdapter(Hive), TypeAdapter(DeviceId)


def take(connection: Connection, kind: Kind, record: Record, now_s: int) -> Became:
    """Write a record, with all its columns; a record that is refused leaves nothing behind.

    Raises
    ------
    UsageError
        If it is damaged, rests on what is not there, or says other than the store of what never
        changes.
    """
    connection.exec_driver_sql("SAVEPOINT record")
    try:
        became = _TAKE[kind.name](connection, record, now_s)
    except (UsageError, *_DAMAGED) as error:
        connection.exec_driver_sql("ROLLBACK TO record")
        connection.exec_driver_sql("RELEASE record")
        if isinstance(error, UsageError):
            raise
        if isinstance(error, ValidationError):
            detail = error.errors()[0]
            place = ".".join(map(str, detail["loc"]))
            raise UsageError("", place, *told(detail)) from error
        said = getattr(error, "orig", error)
        raise UsageError("", "", f"damaged ({said})", "export it again") from error
    connection.exec_driver_sql("RELEASE record")
    return became


def _yard(connection: Connection, record: Record, _now_s: int) -> Became:
    said = _YARD.validate_python(dict(record))
    row = {name: getattr(said, name) for name in record}
    return _place(connection, yard, row)


def _hive(connection: Connection, record: Record, _now_s: int) -> Became:
    given = dict(record)
    if given["since"] is not None:
        given["since"] = rfc3339(given["since"] * 1000)
    said = _HIVE.validate_python(given)
    _want(connection, yard, said.yard, "yard")
    became = _place(connection, hive, {name: getattr(said, name) for name in HIVES.columns})
    if became == "new":
        stale.mark(connection, [(f"hive:{said.id}", 0)])
    return became


def _place(connection: Connection, table: Table, row: dict[str, Any]) -> Became:
    """Write a yard or hive; one that is told otherwise is the keeper's to change."""
    stored = connection.execute(select(table).where(table.c.id == row["id"])).first()
    if stored is None:
        connection.execute(insert(table).values(row))
        return "new"
    _same(stored, row, f"{table.name} {row['id']}")
    return "known"


def _same(stored: Row[Any], row: dict[str, Any], where: str) -> None:
    for name, value in row.items():
        if getattr(stored, name) != value:
            wrong = f"the store has another {name}, {getattr(stored, name)!r}"
            remedy = "hivewatch apiary load changes it; or import into a new store"
            raise UsageError(where, f"{name} = {value!r}", wrong, remedy)


def _want(connection: Connection, table: Table, name: str | None, what: str) -> None:
    """Refuse what names a yard or hive that is not there."""
    if name is not None:
        known = select(table.c.id).where(table.c.id == name)
        if connection.execute(known).first() is None:
            remedy = f"import the {what}s first, or hivewatch apiary load"
            raise UsageError("", name, f"no such {what}", remedy)


def _placement(connection: Connection, record: Record, _now_s: int) -> Became:
    name = _DEVICE.validate_python(record["device"])
    _want(connection, hive, record["hive"], "hive")
    number = apiary.number_of(connection, name)
    row = {"device": number, "since_s": record["since"], "hive": record["hive"]}
    mine = select(placement).where(placement.c.device == number)
    stored = connection.execute(mine.where(placement.c.since_s == row["since_s"])).first()
    if stored is not None:
        _same(stored, row, f"device {name} since {rfc3339(row['since_s'] * 1000)}")
        return "known"
    connection.execute(insert(placement).values(row))
    hives = {one.hive for one in connection.execute(mine) if one.hive is not None}
    stale.mark(connection, [(f"hive:{one}", 0) for one in sorted(hives)])
    return "new"


def _device(connection: Connection, record: Record, _now_s: int) -> Became:
    """Note a device; of what was heard of it the newest counts."""
    name = _DEVICE.validate_python(record["device"])
    is_new = not apiary.numbers(connection, [name])
    number = apiary.number_of(connection, name)
    before = connection.execute(select(device).where(device.c.number == number)).one()
    values: dict[str, Any] = {}
    if (record["heard"] or 0) > (before.heard_s or 0):
        values["heard_s"] = record["heard"]
    if (record["status_at"] or 0) > (before.status_s or 0):
        values |= {"status": record["status"], "status_s": record["status_at"]}
    if values:
        connection.execute(update(device).where(device.c.number == number).values(values))
    return "new" if is_new or values else "known"


def _quarantine(connection: Connection, record: Record, _now_s: int) -> Became:
    row = _row(quarantine, record)
    reasons = [one["reason"] for one in record["faults"]]
    row["reason"] = "clock" if "clock" in reasons else reasons[0]
    row["raw"] = row["raw"] or b""
    row["times"] = 1 if row["times"] is None else row["times"]
    became = _add(connection, quarantine, quarantine.c.digest, row)
    if became == "new" and row["device"] is not None and row["reason"] == "clock":
        stale.mark(connection, [(f"device:{row['device']}", row["received_s"] * 1000)])
    return became


def _finding(connection: Connection, record: Record, _now_s: int) -> Became:
    _want(connection, hive, record["hive"], "hive")
    _want(connection, yard, record["yard"], "yard")
    return _add(connection, finding, finding.c.id, _row(finding, record))


def _row(table: Table, record: Record) -> dict[str, Any]:
    """Name values as the table does: times have their unit there, what is nested is text."""
    row = {}
    for name, value in record.items():
        text = json.dumps(value) if name in _UNFOLDED else value
        row[name if name in table.c else f"{name}_s"] = text
    return row


def _add(connection: Connection, table: Table, key: Any, row: dict[str, Any]) -> Became:  # noqa: ANN401 - a column
    """Write what lives on with time; what the store has of it is as new, or newer."""
    stored = connection.execute(select(table).where(key == row[key.name])).first()
    if stored is None:
        connection.execute(insert(table).values(row))
        return "new"
    return "known" if all(getattr(stored, name) == row[name] for name in row) else "kept"


def _inspection(connection: Connection, record: Record, _now_s: int) -> Became:
    """Write one version of an inspection; the versions come in their order."""
    given = {name: value for name, value in record.items() if value is not None}
    version, recorded_s = given.pop("version"), given.pop("recorded")
    change = Change.model_validate({name: given.pop(name) for name in _ABOUT if name in given})
    said = Inspection.model_validate(given)
    number = str(change.id)
    values: dict[str, Any] = {
        "hive": said.hive,
        "at_s": said.at_s,
        "body": to_json(said),
        "withdrawn": int(change.withdrawn),
    }
    c = inspection_version.c
    query = select(inspection_version).where(c.inspection == number, c.version == version)
    stored = connection.execute(query).first()
    if stored is not None:
        if all(getattr(stored, name) == value for name, value in values.items()):
            return "known"
        wrong = "the store has another one of this id and version"
        raise UsageError(f"inspection {number} version {version}", "", wrong, "import elsewhere")
    _check(connection, said, number, version)
    if version == 1:
        row = {"id": number, "key": said.known_by, "by": said.by, "recorded_s": recorded_s}
        connection.execute(insert(inspection).values(row | values))
    about = {"recorded_s": recorded_s, "by": change.changed_by, "why": change.why}
    row = {"inspection": number, "version": version} | about | values
    connection.execute(insert(inspection_version).values(row))
    if version > 1:
        now = {"version": version, "by": said.by}
        connection.execute(update(inspection).where(inspection.c.id == number).values(values | now))
    stale.mark(connection, [(f"hive:{said.hive}", said.at_s * 1000)])
    return "new"


def _check(connection: Connection, said: Inspection, number: str, version: int) -> None:
    """Refuse a version that the store has no place for."""
    _want(connection, hive, said.hive, "hive")
    of_id = select(inspection.c.version).where(inspection.c.id == number)
    before = connection.execute(of_id).scalar() or 0
    if version != before + 1:
        wrong = f"version {version} cannot follow version {before}"
        raise UsageError(f"inspection {number}", "", wrong, "import all its versions in order")
    by_key = select(inspection.c.id).where(inspection.c.key == said.known_by)
    other = connection.execute(by_key).scalar()
    if version == 1 and other is not None:
        wrong = f"its key names inspection {other} already"
        raise UsageError(f"inspection {number}", said.known_by, wrong, "import elsewhere")


def _alert(connection: Connection, record: Record, now_s: int) -> Became:
    _want(connection, hive, record["hive"], "hive")
    _want(connection, yard, record["yard"], "yard")
    return closed.take(connection, record, now_s)


_ABOUT = tuple(name for name in INSPECTIONS.columns if name in Change.model_fields)
_UNFOLDED = {"measures", "evidence", "faults"}
_TAKE: dict[str, Callable[[Connection, Record, int], Became]] = {
    "yards": _yard,
    "hives": _hive,
    "devices": _device,
    "placements": _placement,
    "inspections": _inspection,
    "findings": _finding,
    "alerts": _alert,
    "quarantine": _quarantine,
}
