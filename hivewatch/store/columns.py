"""The columns of everything that is exported, and how a value of each is written and read again.

Every kind of record is a table, the same in CSV, JSON and Parquet. In a cell of CSV a time is
RFC 3339 in UTC, what is nested is JSON, bytes are base64, nothing is an empty cell; a text that is
empty, begins with a quotation mark or holds a control character is a JSON string. JSON has texts,
numbers and what is nested as they are; Parquet has times and bytes, too.
"""

from __future__ import annotations

import json
import re
from base64 import b64decode, b64encode
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, NamedTuple

from hivewatch.errors import UsageError
from hivewatch.inspections import Inspection
from hivewatch.mistakes import WrongValueError, did_you_mean
from hivewatch.wire.quantities import QUANTITIES

_ODD = re.compile(r'^$|^"|[\x00-\x08\x0b-\x1f]')


class Form(NamedTuple):
    """How the values of a column look: in a cell, in JSON, in Parquet (`arrow` names its type)."""

    cell: Callable[[Any], str]
    read: Callable[[str], Any]
    wrong: str
    arrow: str
    plain: Callable[[Any], Any] = lambda value: value
    stored: Callable[[Any], Any] = lambda value: value


def text_cell(text: str) -> str:
    """Write a text as a cell that cannot be taken for nothing, nor break a line."""
    return json.dumps(text, ensure_ascii=False) if _ODD.search(text) else text


def _read_text(cell: str) -> str:
    return str(json.loads(cell)) if cell.startswith('"') else cell


def _whole(cell: str) -> int:
    return int(float(cell)) if cell.endswith(".0") else int(cell)


def _yes_no(cell: str) -> bool:
    return {"true": True, "false": False}[cell.lower()]


@lru_cache(maxsize=64)
def rfc3339(time_ms: int) -> str:
    """Write a time, with milliseconds where there are some."""
    whole = datetime.fromtimestamp(time_ms // 1000, UTC).isoformat()[:19]
    return f"{whole}.{time_ms % 1000:03}Z" if time_ms % 1000 else f"{whole}Z"


def _of_seconds(time_s: int) -> str:
    return rfc3339(time_s * 1000)


def _moment(cell: str) -> datetime:
    read = datetime.fromisoformat(cell)
    if read.tzinfo is None:
        raise ValueError(cell)
    return read


def _seconds(cell: str) -> int:
    return int(_moment(cell).timestamp() // 1)


def _json(value: Any) -> str:  # noqa: ANN401 - whatever JSON can hold
    return json.dumps(value, ensure_ascii=False)


def _base64(raw: bytes) -> str:
    return b64encode(raw).decode()


_TIME = "not a time; write it as 2026-05-01T12:00:00Z, or with an offset"
_MS, _US = "timestamp[ms]", "timestamp[us]"
TEXT = Form(text_cell, _read_text, "not a text", "string")
WHOLE = Form(str, _whole, "not a whole number", "int64")
NUMBER = Form(repr, float, "not a number", "double")
YES_NO = Form(lambda yes: str(yes).lower(), _yes_no, "not true or false", "bool")
MOMENT = Form(_of_seconds, _seconds, _TIME, _MS, _of_seconds, lambda time_s: time_s * 1000)
MOMENT_MS = Form(rfc3339, lambda cell: _seconds(cell) * 1000, _TIME, _MS, rfc3339)
MOMENT_TEXT = Form(str, lambda cell: _moment(cell).isoformat(), _TIME, _US, str, _moment)
NESTED = Form(_json, json.loads, "not JSON", "string", stored=_json)
BYTES = Form(_base64, lambda cell: b64decode(cell, validate=True), "not base64", "binary", _base64)


class Kind(NamedTuple):
    """One kind of record: its columns in their order, and those that no record is without."""

    name: str
    columns: dict[str, Form]
    needed: frozenset[str]


def _kind(name: str, optional: Sequence[str] = (), /, **columns: Form) -> Kind:
    return Kind(name, columns, frozenset(columns) - set(optional))


def _seen() -> dict[str, Form]:
    """Give a form to everything an inspection can say, after the model that checks it."""
    forms = {"string": TEXT, "integer": WHOLE, "number": NUMBER, "boolean": YES_NO}
    columns = {}
    for name, about in Inspection.model_json_schema()["properties"].items():
        one = about.get("anyOf", [about])[0]
        is_time = one.get("format") == "date-time"
        columns[name] = MOMENT_TEXT if is_time else forms.get(one.get("type"), NESTED)
    return columns


_SEEN = _seen()
READINGS = _kind(
    "readings",
    ("received",),
    time=MOMENT_MS,
    device=TEXT,
    quantity=TEXT,
    value=NUMBER,
    received=MOMENT,
)
YARDS = _kind("yards", id=TEXT, name=TEXT, latitude=NUMBER, longitude=NUMBER, timezone=TEXT)
HIVES = _kind(
    "hives",
    ("empty_kg", "since"),
    id=TEXT,
    yard=TEXT,
    frame=TEXT,
    frames=WHOLE,
    boxes=WHOLE,
    empty_kg=NUMBER,
    since=MOMENT,
)
DEVICES = _kind(
    "devices",
    ("heard", "status", "status_at"),
    device=TEXT,
    heard=MOMENT,
    status=TEXT,
    status_at=MOMENT,
)
PLACEMENTS = _kind("placements", ("hive",), device=TEXT, since=MOMENT, hive=TEXT)
INSPECTIONS = _kind(
    "inspections",
    ("withdrawn", "changed_by", "why", *(_SEEN.keys() - {"hive", "at"})),
    id=TEXT,
    version=WHOLE,
    recorded=MOMENT,
    withdrawn=YES_NO,
    changed_by=TEXT,
    why=TEXT,
    **_SEEN,
)
FINDINGS = _kind(
    "findings",
    ("hive", "yard", "end", "explained_by"),
    id=TEXT,
    kind=TEXT,
    subject=TEXT,
    hive=TEXT,
    yard=TEXT,
    start=MOMENT,
    end=MOMENT,
    detected=MOMENT,
    confidence=NUMBER,
    status=TEXT,
    measures=NESTED,
    evidence=NESTED,
    explained_by=TEXT,
    told=MOMENT,
    changed=MOMENT,
)
ALERTS = _kind(
    "alerts",
    (
        *("hive", "yard", "folded_into", "due", "sent"),
        *("acknowledged", "acknowledged_by", "snoozed_until"),
    ),
    id=WHOLE,
    finding=TEXT,
    kind=TEXT,
    subject=TEXT,
    hive=TEXT,
    yard=TEXT,
    urgency=TEXT,
    title=TEXT,
    body=TEXT,
    state=TEXT,
    reason=TEXT,
    ring=WHOLE,
    folded_into=TEXT,  # the finding of the alert within which it was told
    created=MOMENT,
    due=MOMENT,
    sent=MOMENT,
    acknowledged=MOMENT,
    acknowledged_by=TEXT,
    snoozed_until=MOMENT,
    decisions=NESTED,
    deliveries=NESTED,
)
QUARANTINE = _kind(
    "quarantine",
    ("device", "content_type", "raw", "times", "admitted"),
    digest=TEXT,
    source=TEXT,
    device=TEXT,
    content_type=TEXT,
    raw=BYTES,
    faults=NESTED,
    received=MOMENT,
    times=WHOLE,
    admitted=MOMENT,
)
# In the order in which they are taken in: what others rest on comes first.
KINDS = {
    one.name: one
    for one in (
        *(YARDS, HIVES, DEVICES, PLACEMENTS, READINGS),
        *(INSPECTIONS, FINDINGS, ALERTS, QUARANTINE),
    )
}


def kind_of(columns: Sequence[str]) -> Kind:
    """Say what a table with these columns holds: the kind that has most of them, or readings."""
    given = set(columns)
    wide = READINGS.columns.keys() | (given & QUANTITIES.keys()) - {"quantity", "value"}

    def alike(kind: Kind) -> float:
        sets = [kind.columns.keys(), wide] if kind is READINGS else [kind.columns.keys()]
        return max(len(given & one) / len(given | one) for one in sets)

    best = max(KINDS.values(), key=alike)
    return best if alike(best) > alike(READINGS) else READINGS


def check_columns(kind: Kind, columns: Sequence[str], where: str) -> None:
    """Refuse a table that is none of this kind.

    Raises
    ------
    UsageError
        If a column is not one of the kind, stands there twice, or one that is needed is not there.
    """
    names = ", ".join(kind.columns)
    for name in columns:
        if name not in kind.columns:
            remedy = did_you_mean(name, kind.columns, f"{kind.name} have {names}")
            raise UsageError(where, name[:80], f"no such column of {kind.name}", remedy)
        if columns.count(name) > 1:
            raise UsageError(where, name, "stands there twice", "keep one")
    for name in kind.columns:
        if name in kind.needed and name not in columns:
            wrong = f"no column {name!r}, which {kind.name} have"
            raise UsageError(where, "", wrong, f"{kind.name} have {names}")


def value_of(kind: Kind, name: str, cell: str) -> Any:  # noqa: ANN401 - as its form has it
    """Read a cell.

    Raises
    ------
    WrongValueError
        If it is not of its column's form, or empty where it may not be.
    """
    if cell == "":
        if name in kind.needed:
            raise WrongValueError("missing", "")
        return None
    form = kind.columns[name]
    try:
        return form.read(cell)
    except (ValueError, KeyError, OverflowError, RecursionError):
        raise WrongValueError(form.wrong) from None
