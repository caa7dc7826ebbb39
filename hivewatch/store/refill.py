"""Records of an export back into the store: what is there already stays as it is.

Findings come back as they were told, so that they keep their ids; alerts do not: nobody is to be
called twice for one thing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Connection, select, update
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.exc import IntegrityError, InterfaceError, ProgrammingError

from hivewatch.errors import UsageError
from hivewatch.inspections import Change, Inspection, to_json
from hivewatch.store import apiary, stale
from hivewatch.store.schema import (
    device,
    finding,
    hive,
    inspection,
    inspection_version,
    quarantine,
)
from hivewatch.store.whole import seconds, values_of

SIGNS = {  # the keys that only records of this kind have
    "devices": {"device", "heard", "status"},
    "quarantine": {"digest", "raw", "faults"},
    "alerts": {"urgency", "decisions"},
    "findings": {"kind", "subject", "measures", "evidence"},
    "inspections": {"id", "version", "recorded", "hive", "at"},
}
ABOUT = ("version", "recorded")


def kind_of(record: object) -> str | None:
    """Say what a record is of."""
    if not isinstance(record, dict):
        return None
    return next((kind for kind, signs in SIGNS.items() if signs <= record.keys()), None)


def take(connection: Connection, record: Mapping[str, Any]) -> bool:
    """Write a record; says whether it was new.

    Raises
    ------
    UsageError
        If it is none of ours, is damaged, or says other than the store.
    """
    kind = kind_of(record)
    if kind is None:
        remedy = "hivewatch export FOLDER --what everything writes what is read here"
        raise UsageError("", "", "not a record of an export", remedy)
    try:
        return _TAKE[kind](connection, record)
    except ValidationError as error:
        fault = error.errors()[0]
        place = ".".join(map(str, fault["loc"]))
        raise UsageError("", place, fault["msg"].lower(), "export it again") from error
    except KeyError as error:
        raise UsageError("", str(error), "missing", "export it again") from error
    except (TypeError, ValueError, AttributeError, ArithmeticError, LookupError) as error:
        raise UsageError("", "", f"damaged ({error})", "export it again") from error
    except (IntegrityError, InterfaceError, ProgrammingError) as error:
        raise UsageError("", "", f"damaged ({error.orig})", "export it again") from error


def _device(connection: Connection, record: Mapping[str, Any]) -> bool:
    number = apiary.number_of(connection, record["device"])
    before = connection.execute(select(device).where(device.c.number == number)).one()
    heard_s, status_s = seconds(record["heard"]), seconds(record["status_at"])
    values: dict[str, Any] = {}
    if heard_s is not None and heard_s > (before.heard_s or 0):
        values["heard_s"] = heard_s
    if status_s is not None and status_s > (before.status_s or 0):
        values |= {"status": record["status"], "status_s": status_s}
    if values:
        connection.execute(update(device).where(device.c.number == number).values(values))
    return bool(values)


def _quarantine(connection: Connection, record: Mapping[str, Any]) -> bool:
    faults = record["faults"]
    reasons = [one["reason"] for one in faults]
    values = values_of(quarantine, record)
    del values["id"]
    values["reason"] = "clock" if "clock" in reasons else reasons[0]
    done = connection.execute(insert(quarantine).values(values).on_conflict_do_nothing())
    if done.rowcount and values["device"] is not None and values["reason"] == "clock":
        stale.mark(connection, [(f"device:{values['device']}", values["received_s"] * 1000)])
    return bool(done.rowcount)


def _finding(connection: Connection, record: Mapping[str, Any]) -> bool:
    values = values_of(finding, record)
    return bool(
        connection.execute(insert(finding).values(values).on_conflict_do_nothing()).rowcount
    )


def _alert(_connection: Connection, _record: Mapping[str, Any]) -> bool:
    return False


def _inspection(connection: Connection, record: Mapping[str, Any]) -> bool:
    """Write one version of an inspection; the versions come in their order."""
    about = {name: record[name] for name in Change.model_fields if name in record}
    change = Change.model_validate(about)
    seen = {name: record[name] for name in record if name not in {*about, *ABOUT}}
    said = Inspection.model_validate(seen)
    number, version, recorded_s = (
        str(change.id),
        int(record["version"]),
        seconds(record["recorded"]),
    )
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
            return False
        wrong = "the store has another one of this id and version"
        raise UsageError("inspection", f"{number} version {version}", wrong, "import elsewhere")
    _check(connection, said, number, version)
    if version == 1:
        row = {"id": number, "key": said.known_by, "by": said.by, "recorded_s": recorded_s}
        connection.execute(insert(inspection).values(row | values))
    connection.execute(
        insert(inspection_version).values(
            inspection=number,
            version=version,
            recorded_s=recorded_s,
            by=change.changed_by,
            why=change.why,
            **values,
        )
    )
    if version > 1:
        now = {"version": version, "by": said.by}
        connection.execute(update(inspection).where(inspection.c.id == number).values(values | now))
    stale.mark(connection, [(f"hive:{said.hive}", said.at_s * 1000)])
    return True


def _check(connection: Connection, said: Inspection, number: str, version: int) -> None:
    """Refuse a version that the store has no place for."""
    where = f"inspection {number}"
    known = select(hive.c.id).where(hive.c.id == said.hive)
    if connection.execute(known).first() is None:
        remedy = "import or load the apiary first"
        raise UsageError(where, said.hive, "no such hive", remedy)
    of_id = select(inspection.c.version).where(inspection.c.id == number)
    before = connection.execute(of_id).scalar() or 0
    if version != before + 1:
        wrong = f"version {version} cannot follow version {before}"
        raise UsageError(where, "", wrong, "export it again")
    by_key = select(inspection.c.id).where(inspection.c.key == said.known_by)
    other = connection.execute(by_key).scalar()
    if version == 1 and other is not None:
        wrong = f"its key names inspection {other} already"
        raise UsageError(where, said.known_by, wrong, "import elsewhere")


_TAKE = {
    "devices": _device,
    "quarantine": _quarantine,
    "alerts": _alert,
    "findings": _finding,
    "inspections": _inspection,
}
