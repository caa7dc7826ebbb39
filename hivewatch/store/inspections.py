"""Inspections as they were told, as they were corrected, and what was withdrawn."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import Any, Literal, NamedTuple

from sqlalchemy import Connection, Row, Select, and_, func, insert, or_, select, update

from hivewatch.errors import UsageError
from hivewatch.inspections import Change, Inspection, Told, to_json
from hivewatch.mistakes import did_you_mean
from hivewatch.moments import written
from hivewatch.store import stale
from hivewatch.store.schema import hive as hive_table
from hivewatch.store.schema import inspection, inspection_version

KEPT = 20_000  # inspections; own choice: two months of a thousand hives
Became = Literal["new", "corrected", "withdrawn", "known"]


class Stored(NamedTuple):
    """An inspection, its id, and when it was first written down."""

    id: str
    inspection: Inspection
    at_s: int
    recorded_s: int
    version: int = 1
    withdrawn: bool = False


class Version(NamedTuple):
    """What an inspection said once: from when on, by whom it was changed to that, and why."""

    version: int
    inspection: Inspection
    withdrawn: bool
    recorded_s: int
    by: str | None
    why: str | None


def add(connection: Connection, said: Inspection, recorded_s: int) -> tuple[str, bool]:
    """Write an inspection down; the same one again changes nothing.

    "The same" is what any version of it has said: whoever sends again what he sent once, for want
    of an answer, takes back no correction.

    Returns
    -------
    tuple of str and bool
        Its id, and whether it is new.

    Raises
    ------
    UsageError
        If there is no such hive, if it lies in the future or before the hive's beginning, or if its
        key names another one.
    """
    _check(connection, said, recorded_s)
    stored = _by_key(connection, said.known_by)
    if stored is None:
        number = hashlib.sha256(said.known_by.encode()).hexdigest()[:16]
        return _insert(connection, number, said, recorded_s), True
    if not _said_once(connection, stored, said):
        wrong = "the key names another inspection already"
        raise UsageError(_where(said), said.known_by, wrong, "give each visit a key of its own")
    return stored, False


def tell(connection: Connection, told: Told, first_s: int, now_s: int) -> Became:
    """Take an entry of a file: a new inspection, a correction, a withdrawal, or nothing new.

    Parameters
    ----------
    first_s : int
        When it was written down, if it is new. [s]
    now_s : int
        When a correction or a withdrawal was. [s]
    """
    said, change = told
    number = change.id or _by_key(connection, said.known_by)
    if change.id is None and number is None:
        number = hashlib.sha256(said.known_by.encode()).hexdigest()[:16]
    stored = None if number is None else by_id(connection, number)
    became: Became = "known"
    if stored is None:
        _check(connection, said, first_s)
        _insert(connection, str(number), said, first_s)
        became = "new"
    elif not _said_once(connection, stored.id, _with_key(said, stored)) and not change.withdrawn:
        correct(connection, stored, said, now_s, change)
        became = "corrected"
    if change.withdrawn and (stored is None or not stored.withdrawn):
        kept = stored or by_id(connection, str(number))
        if kept is not None:
            withdraw(connection, kept, now_s, change)
            became = "withdrawn"
    return became


def correct(
    connection: Connection, stored: Stored, said: Inspection, now_s: int, change: Change
) -> Stored:
    """Let an inspection say something else from now on; if it was withdrawn, it stands again."""
    _check(connection, said, now_s)
    said = _with_key(said, stored)
    if not stored.withdrawn and to_json(said) == to_json(stored.inspection):
        return stored
    return _change(connection, stored, said, now_s, change, withdrawn=False)


def withdraw(connection: Connection, stored: Stored, now_s: int, change: Change) -> Stored:
    """Let an inspection count for nothing from now on; what it said is kept."""
    if stored.withdrawn:
        return stored
    return _change(connection, stored, stored.inspection, now_s, change, withdrawn=True)


def read(
    connection: Connection,
    *,
    hive: str | None = None,
    recorded_by_s: int | None = None,
    withdrawn: bool = False,
    from_s: int | None = None,
    after: str | None = None,
    limit: int | None = None,
) -> list[Stored]:
    """Read inspections by the time of the visit; `after` is the last id of the page before.

    With `recorded_by_s` each is as it was known by then.
    """
    c = inspection.c
    query = select(c.id, c.hive, c.at_s, c.body, c.recorded_s, c.version, c.withdrawn)
    at_s, its_hive, gone = c.at_s, c.hive, c.withdrawn
    if recorded_by_s is not None:
        v = inspection_version.c
        later = inspection_version.alias()
        at_s, its_hive, gone = v.at_s, v.hive, v.withdrawn
        query = (
            select(c.id, v.hive, v.at_s, v.body, c.recorded_s, v.version, v.withdrawn)
            .join_from(inspection_version, inspection)
            .where(v.recorded_s <= recorded_by_s)
            .where(
                ~select(later.c.version)
                .where(later.c.inspection == v.inspection, later.c.version > v.version)
                .where(later.c.recorded_s <= recorded_by_s)
                .exists()
            )
        )
    query = query.order_by(at_s, c.id)
    if not withdrawn:
        query = query.where(gone == 0)
    if hive is not None:
        query = query.where(its_hive == hive)
    if from_s is not None:
        query = query.where(at_s >= from_s)
    if after is not None:
        query = _following(query, after)
    return [of_row(row) for row in connection.execute(query.limit(limit))]


def by_id(connection: Connection, wanted: str) -> Stored | None:
    """Read one inspection, a withdrawn one too."""
    row = connection.execute(select(inspection).where(inspection.c.id == wanted)).first()
    return None if row is None else of_row(row)


def versions(connection: Connection, wanted: str) -> list[Version]:
    """Read all that an inspection has said, the first version first."""
    c = inspection_version.c
    query = select(inspection_version).where(c.inspection == wanted).order_by(c.version)
    return [
        Version(
            row.version,
            parsed(row.body),
            bool(row.withdrawn),
            row.recorded_s,
            row.by,
            row.why,
        )
        for row in connection.execute(query)
    ]


def _check(connection: Connection, said: Inspection, now_s: int) -> None:
    """Refuse what cannot have been."""
    where = _where(said)
    if said.at_s > now_s:
        raise UsageError(where, "", "is still to come", "give the time of the visit")
    known = select(hive_table.c.since).where(hive_table.c.id == said.hive)
    row = connection.execute(known).first()
    if row is None:
        hives = connection.execute(select(hive_table.c.id)).scalars()
        remedy = did_you_mean(said.hive, hives, "see hivewatch apiary show")
        raise UsageError(where, said.hive, "no such hive", remedy)
    if row.since is not None and said.at_s < row.since:
        wrong = "lies before the hive began"
        raise UsageError(where, "", wrong, "correct its time, or the since of the hive")


def _where(said: Inspection) -> str:
    return f"inspection of {said.hive} at {written(said.at)}"


def _by_key(connection: Connection, key: str) -> str | None:
    query = select(inspection.c.id).where(inspection.c.key == key)
    return connection.execute(query).scalar()


def _said_once(connection: Connection, number: str, said: Inspection) -> bool:
    """Say whether any version of an inspection was this."""
    c = inspection_version.c
    query = select(c.version).where(c.inspection == number, c.body == to_json(said))
    return connection.execute(query.limit(1)).first() is not None


def _with_key(said: Inspection, stored: Stored) -> Inspection:
    """Leave an inspection the key that it has."""
    return said.model_copy(update={"key": stored.inspection.key})


def _insert(connection: Connection, number: str, said: Inspection, recorded_s: int) -> str:
    values: dict[str, Any] = {
        "hive": said.hive,
        "at_s": said.at_s,
        "body": to_json(said),
        "recorded_s": recorded_s,
    }
    row = {"id": number, "key": said.known_by, "by": said.by, **values}
    connection.execute(insert(inspection).values(row))
    first = {"inspection": number, "version": 1, "withdrawn": 0, **values}
    connection.execute(insert(inspection_version).values(first))
    stale.mark(connection, [(f"hive:{said.hive}", said.at_s * 1000)])
    return number


def _change(
    connection: Connection,
    stored: Stored,
    said: Inspection,
    now_s: int,
    change: Change,
    *,
    withdrawn: bool,
) -> Stored:
    """Add a version, and let it be the present one."""
    c = inspection_version.c
    last_s = connection.execute(
        select(func.max(c.recorded_s)).where(c.inspection == stored.id)
    ).scalar_one()
    values: dict[str, Any] = {
        "hive": said.hive,
        "at_s": said.at_s,
        "body": to_json(said),
        "withdrawn": int(withdrawn),
        "version": stored.version + 1,
    }
    connection.execute(
        insert(inspection_version).values(
            inspection=stored.id,
            recorded_s=max(now_s, int(last_s)),
            by=change.changed_by,
            why=change.why,
            **values,
        )
    )
    connection.execute(
        update(inspection).where(inspection.c.id == stored.id).values(by=said.by, **values)
    )
    hives = {stored.inspection.hive: stored.at_s}
    hives[said.hive] = min(said.at_s, hives.get(said.hive, said.at_s))
    stale.mark(connection, [(f"hive:{hive}", at_s * 1000) for hive, at_s in hives.items()])
    return Stored(stored.id, said, said.at_s, stored.recorded_s, stored.version + 1, withdrawn)


def _following(query: Select[Any], after: str) -> Select[Any]:
    """Leave out what stands up to one inspection in the order of the list."""
    at_s = select(inspection.c.at_s).where(inspection.c.id == after).scalar_subquery()
    return query.where(
        or_(
            inspection.c.at_s > at_s,
            and_(inspection.c.at_s == at_s, inspection.c.id > after),
        )
    )


def of_row(row: Row[Any]) -> Stored:
    """Turn a row of the table into an inspection."""
    said = parsed(row.body)
    return Stored(row.id, said, row.at_s, row.recorded_s, row.version, bool(row.withdrawn))


@lru_cache(maxsize=KEPT)
def parsed(body: str) -> Inspection:
    """Give what a row says; the same words are read once, whoever asks."""
    return Inspection.model_validate_json(body, strict=False)
