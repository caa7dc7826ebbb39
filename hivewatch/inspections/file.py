"""A file of inspections: read with every mistake told at once."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, NoReturn

from pydantic import BaseModel, ValidationError

from hivewatch.errors import UsageError
from hivewatch.inspections.model import Action, Brood, Inspection, QueenCells, Side
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
    """Read inspections from JSON.

    Parameters
    ----------
    text : str
        An array of objects.
    where : str
        The file's name, for the messages.

    Returns
    -------
    list[Inspection]
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
    found: list[Inspection] = []
    keys: dict[str, Inspection] = {}
    for n, entry in enumerate(content, start=1):
        try:
            inspection = Inspection.model_validate(entry)
        except ValidationError as error:
            for detail in error.errors():
                _place(n, entry, detail, where, mistakes)
            continue
        found.append(inspection)
        if keys.setdefault(inspection.known_by, inspection) != inspection:
            said = f"no. {n} key = {quoted(inspection.key)}"
            mistakes.add(where, said, "another inspection has this key", "give each its own")
    mistakes.settle()
    return found


def _read_json(text: str, where: str, mistakes: Mistakes) -> Any:  # noqa: ANN401 (it is JSON)
    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in pairs]
        for name in dict.fromkeys(name for name in names if names.count(name) > 1):
            mistakes.add(where, key_name(name), "given twice in one object", "keep one of them")
        return dict(pairs)

    def no_number(word: str) -> NoReturn:
        raise UsageError(where, word, "not a number that JSON knows", "leave the key out, or null")

    try:
        return json.loads(
            text.removeprefix("\ufeff"), object_pairs_hook=once, parse_constant=no_number
        )
    except json.JSONDecodeError as error:
        said = f"line {error.lineno}, column {error.colno}"
        wrong = f"not JSON ({printable(error.msg[:1].lower() + error.msg[1:])})"
        raise UsageError(where, said, wrong, "mend it there") from None
    except RecursionError:
        raise UsageError(where, "", "nested too deeply", "take the inner brackets away") from None
    except ValueError as error:
        raise UsageError(where, "", f"not JSON ({printable(str(error))})", "mend it") from None


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
        hint = did_you_mean(str(loc[-1]), known, "its keys are " + ", ".join(known))
        mistakes.add(where, said, "no such key", hint)
    else:
        value = entry
        for step in loc:
            value = value[step]  # type: ignore[index]
        mistakes.add(where, said if value is entry else f"{said} = {quoted(value)}", *told(detail))
