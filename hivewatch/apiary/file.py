"""The apiary file: read with every mistake told at once, and written again."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any, ClassVar

from pydantic import ConfigDict, TypeAdapter, ValidationError

from hivewatch.apiary.places import (
    FORBID,
    Apiary,
    DeviceId,
    Hive,
    Id,
    Moment,
    Placement,
    Yard,
)
from hivewatch.errors import UsageError
from hivewatch.mistakes import (
    Mistakes,
    did_you_mean,
    key_name,
    nearest,
    quoted,
    read_toml,
    told,
)
from hivewatch.moments import written


@dataclass(frozen=True)
class _DeviceEntry:
    """A `[[device]]` of the file; several of one id say that it moved."""

    id: DeviceId
    since: Moment
    hive: Id | None = None

    __pydantic_config__: ClassVar[ConfigDict] = FORBID


_ID = re.compile(r"[a-z0-9-]{1,64}")
_TABLES: dict[str, TypeAdapter[Any]] = {
    "yard": TypeAdapter(Yard),
    "hive": TypeAdapter(Hive),
    "device": TypeAdapter(_DeviceEntry),
}
_KEYS = {
    "yard": tuple(field.name for field in fields(Yard)),
    "hive": tuple(field.name for field in fields(Hive)),
    "device": tuple(field.name for field in fields(_DeviceEntry)),
}


def read_apiary(text: str, where: str) -> Apiary:
    """Read an apiary file.

    Parameters
    ----------
    text : str
        The file's TOML.
    where : str
        Its name, for the messages.

    Returns
    -------
    Apiary
        As told, in the file's order.

    Raises
    ------
    SeveralErrors
        With every mistake found.
    """
    mistakes = Mistakes()
    try:
        tree = read_toml(text, where)
    except UsageError as error:
        mistakes.found.append(error)
        mistakes.settle()
    rows: dict[str, list[tuple[str, Any]]] = {name: [] for name in _TABLES}
    for name, content in tree.items():
        if name not in _TABLES:
            _unknown_table(name, where, mistakes)
        elif not isinstance(content, list) or not all(isinstance(row, dict) for row in content):
            mistakes.add(where, name, "not a list of tables", f"write [[{name}]] above each")
        else:
            rows[name] = _read_rows(name, content, where, mistakes)
    _check_together(tree, rows, where, mistakes)
    mistakes.settle()
    return Apiary(
        yards=tuple(yard for _, yard in rows["yard"]),
        hives=tuple(hive for _, hive in rows["hive"]),
        placements=tuple(Placement(e.id, e.hive, e.since) for _, e in rows["device"]),
    )


def _unknown_table(name: str, where: str, mistakes: Mistakes) -> None:
    near = nearest(name, _TABLES)
    tables = ", ".join(f"[[{table}]]" for table in _TABLES)
    remedy = f"did you mean [[{near}]]?" if near else f"the tables are {tables}"
    mistakes.add(where, f"[[{key_name(name)}]]", "no such table", remedy)


def _read_rows(
    table: str, content: list[dict[str, Any]], where: str, mistakes: Mistakes
) -> list[tuple[str, Any]]:
    """Check each entry by itself; the good ones come back with what to call them."""
    rows = []
    for n, entry in enumerate(content, start=1):
        name = _entry_name(table, n, entry)
        try:
            rows.append((name, _TABLES[table].validate_python(entry)))
        except ValidationError as error:
            for detail in error.errors():
                key = str(detail["loc"][0])
                said = f"{name} {key_name(key)}"
                if key not in _KEYS[table]:
                    hint = did_you_mean(key, _KEYS[table], f"its keys are {_joined(_KEYS[table])}")
                    mistakes.add(where, said, "no such key", hint)
                elif key not in entry:
                    mistakes.add(where, said, "missing", f"a {table} cannot do without it")
                else:
                    mistakes.add(where, f"{said} = {quoted(entry[key])}", *told(detail))
    return rows


def _entry_name(table: str, n: int, entry: dict[str, Any]) -> str:
    return f"[[{table}]] {quoted(entry['id'])}" if "id" in entry else f"[[{table}]] no. {n}"


def _joined(words: tuple[str, ...]) -> str:
    return ", ".join(words)


def _check_together(
    tree: dict[str, Any], rows: dict[str, list[tuple[str, Any]]], where: str, mistakes: Mistakes
) -> None:
    """Check what entries say of each other: ids are used once, and what they point at is there."""
    entries = {table: _entries(tree.get(table), table) for table in _TABLES}
    ids = {table: [entry.get("id") for _, entry in entries[table]] for table in _TABLES}
    for table in ("yard", "hive"):
        for name in _twice([(name, entry.get("id")) for name, entry in entries[table]]):
            mistakes.add(where, name, "this id is used twice", "give each its own")
    for table, points_at in (("hive", "yard"), ("device", "hive")):
        known = [str(one) for one in ids[points_at]]
        for name, entry in entries[table]:
            target = entry.get(points_at)
            if isinstance(target, str) and _ID.fullmatch(target) and target not in known:
                hint = did_you_mean(target, known, f"add a [[{points_at}]] of this id")
                said = f"{name} {points_at} = {quoted(target)}"
                mistakes.add(where, said, f"no such {points_at}", hint)
    for name in _twice([(name, (row.id, row.since)) for name, row in rows["device"]]):
        wrong = "placed twice at the same time"
        mistakes.add(where, name, wrong, "a device stands at one hive; change a since")


def _entries(content: object, table: str) -> list[tuple[str, dict[str, Any]]]:
    """Give all entries that were written, also those that have a mistake, with their names."""
    found = content if isinstance(content, list) else []
    return [
        (_entry_name(table, n, entry), entry)
        for n, entry in enumerate(found, start=1)
        if isinstance(entry, dict)
    ]


def _twice(rows: list[tuple[str, Any]]) -> list[str]:
    """Name the rows whose key an earlier row has already."""
    seen: list[object] = []
    names = []
    for name, key in rows:
        if key in seen and name not in names:
            names.append(name)
        if key is not None:
            seen.append(key)
    return names


def write_apiary(apiary: Apiary) -> str:
    """Give the apiary file that reads back as this apiary."""
    parts = [_written("yard", vars(yard)) for yard in apiary.yards]
    for hive in apiary.hives:
        began = {} if hive.since is None else {"since": _moment(hive.since)}
        parts.append(_written("hive", {**vars(hive), **began}))
    for placement in apiary.placements:
        since = _moment(placement.since_s)
        entry = {"id": placement.device, "hive": placement.hive, "since": since}
        parts.append(_written("device", entry))
    return "\n".join(parts)


def _moment(at_s: int) -> str:
    return written(datetime.fromtimestamp(at_s, UTC))


def _written(table: str, entry: dict[str, Any]) -> str:
    lines = [f"[[{table}]]"]
    for key, value in entry.items():
        if value is not None:
            text = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)
            lines.append(f"{key} = {text}")
    return "\n".join(lines) + "\n"
