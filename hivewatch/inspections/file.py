"""A file of inspections: read with every mistake told at once."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, tzinfo
from types import MappingProxyType
from typing import Any, NoReturn

from pydantic import BaseModel, ValidationError

from hivewatch.errors import UsageError
from hivewatch.inspections.model import (
    Action,
    Brood,
    Change,
    Inspection,
    QueenCells,
    Side,
    Told,
)
from hivewatch.mistakes import (
    Mistakes,
    did_you_mean,
    key_name,
    printable,
    quoted,
    told,
)

_PARTS: dict[tuple[str, ...], type[BaseModel]] = {
    (): Inspection,
    ("brood",): Brood,
    ("frames",): Side,
    ("queen_cells",): QueenCells,
    ("actions",): Action,
}


def read_inspections(text: str, where: str) -> list[Inspection]:
    """Read inspections from JSON, as `read_told` does, without what became of them."""
    return [one.inspection for one in read_told(text, where)]


def read_told(
    text: str, where: str, zones: Mapping[str, tzinfo] = MappingProxyType({})
) -> list[Told]:
    """Read inspections from JSON, with corrections and withdrawals.

    Parameters
    ----------
    text : str
        An array of objects.
    where : str
        The file's name, for the messages.
    zones : Mapping
        Hive -> the time zone of its yard: a time without an offset is the hive's local time.

    Returns
    -------
    list[Told]
        In the file's order.

    Raises
    ------
    SeveralErrors
        With every mistake found.
    """
    mistakes = Mistakes()
    content: Any = []
    try:
        content = _read_json(text, where, mistakes)
    except UsageError as error:
        mistakes.found.append(error)
    if not isinstance(content, list):
        mistakes.add(where, "", "not an array", "put the inspections in [brackets]")
        content = []
    found: list[Told] = []
    keys: dict[str, Told] = {}
    for n, entry in enumerate(content, start=1):
        try:
            one = _read_told(_with_offset(entry, zones))
        except ValidationError as error:
            for detail in error.errors():
                _place(n, entry, detail, where, mistakes)
            continue
        found.append(one)
        name, said = one.inspection.known_by, f"no. {n} key = {quoted(one.inspection.key)}"
        if one.change.id is not None:
            name, said = f" {one.change.id}", f"no. {n} id = {quoted(one.change.id)}"
        if keys.setdefault(name, one) != one:
            word = said.split()[2]
            wrong = f"another inspection has this {word}"
            mistakes.add(where, said, wrong, "give each its own")
    mistakes.settle()
    return found


def read_comb_sides(text: str, where: str) -> Inspection:
    """Read the shares of frame sides of one comb, however much stands around them.

    Parameters
    ----------
    text : str
        The sides alone, an array; or an inspection with `frames`, with or without hive and time.
    where : str
        The file's name, for the messages.

    Raises
    ------
    SeveralErrors
        With every mistake found.
    """
    mistakes = Mistakes()
    content = _read_json(text, where, mistakes)
    if isinstance(content, list) and any(
        isinstance(one, dict) and "hive" in one for one in content
    ):
        if len(content) > 1:
            wrong = f"{len(content)} inspections"
            raise UsageError(where, "", wrong, "keep the one that is to be read")
        content = content[0]
    if not isinstance(content, dict | list):
        raise UsageError(where, "", "not an array", "put the sides in [brackets]")
    about = content if isinstance(content, dict) else {"frames": content}
    entry = {"hive": "comb", "at": "1970-01-01T00:00:00Z"} | about
    inspection = None
    try:
        inspection = _read_told(entry).inspection
    except ValidationError as error:
        for detail in error.errors():
            _place(1, entry, detail, where, mistakes)
    mistakes.settle()
    if inspection is None or not (inspection.frames or inspection.brood):
        raise UsageError(where, "", "no frames in it", 'give "frames", a side each')
    return inspection


def _with_offset(entry: object, zones: Mapping[str, tzinfo]) -> object:
    """Give an entry whose time has no offset that of its hive's local time.

    An hour that the clocks repeat in autumn is taken for the first of the two.
    """
    if not isinstance(entry, dict) or not isinstance(said := entry.get("at"), str):
        return entry
    zone = zones.get(str(entry.get("hive")))
    try:
        at = datetime.fromisoformat(said)
    except ValueError:
        return entry
    if zone is None or at.tzinfo is not None or len(said) <= len("2026-05-02"):
        return entry
    return entry | {"at": at.replace(tzinfo=zone).isoformat()}


def _read_told(entry: object) -> Told:
    """Tell what an entry says of the hive from what it says about itself."""
    if not isinstance(entry, dict):
        return Told(Inspection.model_validate(entry), Change())
    about = {name: value for name, value in entry.items() if name in Change.model_fields}
    seen = {name: value for name, value in entry.items() if name not in about}
    return Told(Inspection.model_validate(seen), Change.model_validate(about))


def _read_json(text: str, where: str, mistakes: Mistakes) -> Any:  # noqa: ANN401 (it is JSON)
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in pairs]
        for name in dict.fromkeys(name for name in names if names.count(name) > 1):
            mistakes.add(where, key_name(name), "given twice in one object", "keep one of them")
        return dict(pairs)

    def no_number(word: str) -> NoReturn:
        raise UsageError(where, word, "not a number that JSON knows", "leave the key out, or null")

    if not text.strip("\ufeff \t\r\n"):
        raise UsageError(where, "", "empty", "put the inspections in [brackets]")
    try:
        return json.loads(
            text.removeprefix("\ufeff"), object_pairs_hook=once, parse_constant=no_number
        )
    except json.JSONDecodeError as error:
        said = f"line {error.lineno}, column {error.colno}"
        wrong = f"not JSON ({printable(error.msg[:1].lower() + error.msg[1:])})"
        raise UsageError(where, said, wrong, "correct it there") from None
    except RecursionError:
        raise UsageError(where, "", "nested too deeply", "take the inner brackets away") from None
    except ValueError as error:
        raise UsageError(where, "", f"not JSON ({printable(str(error))})", "correct it") from None


def _place(
    n: int, entry: object, detail: Mapping[str, Any], where: str, mistakes: Mistakes
) -> None:
    """Put a fault beside the inspection and the key it is of."""
    loc: tuple[int | str, ...] = detail["loc"]
    path = "".join(
        f"[{part + 1}]" if isinstance(part, int) else f".{key_name(part)}" for part in loc
    ).removeprefix(".")
    said = f"no. {n} {path}".rstrip()
    if detail["type"] == "missing":
        mistakes.add(where, said, "missing", "it cannot do without it")
    elif detail["type"] == "extra_forbidden":
        part = _PARTS[tuple(step for step in loc[:-1] if isinstance(step, str))]
        known = [str(key) for key in part.model_fields]
        known += list(Change.model_fields) if part is Inspection else []
        hint = did_you_mean(str(loc[-1]), known, "its keys are " + ", ".join(known))
        mistakes.add(where, said, "no such key", hint)
    else:
        value = entry
        for step in loc:
            value = value[step]  # type: ignore[index]
        mistakes.add(where, said if value is entry else f"{said} = {quoted(value)}", *told(detail))
