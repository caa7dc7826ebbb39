"""What was given, and where: the keys of the file and the variables of the environment."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import NoneType
from typing import Any, get_args

from pydantic import BaseModel, SecretStr

from hivewatch.errors import UsageError
from hivewatch.mistakes import (
    Mistakes,
    key_name,
    nearest,
    quoted,
    read_toml,
    read_utf8,
)
from hivewatch.settings.tree import Settings

PREFIX = "HIVEWATCH_"
PLACES = (Path("hivewatch.toml"), Path("/etc/hivewatch/hivewatch.toml"))
LIST_DEFAULTS = "`hivewatch check --defaults` lists them"


def _kinds(annotation: Any) -> set[Any]:  # noqa: ANN401 (an annotation is anything)
    """Give the plain types within an annotation."""
    inner = get_args(annotation)
    if not inner:
        return {annotation}
    return set().union(*(_kinds(part) for part in inner))


def _sections() -> dict[str, type[BaseModel]]:
    found: dict[str, type[BaseModel]] = {}
    for name, field in Settings.model_fields.items():
        for kind in _kinds(field.annotation) - {NoneType}:
            found[name] = kind
    return found


SECTIONS = _sections()
KEYS = {name: tuple(model.model_fields) for name, model in SECTIONS.items()}
KINDS = {
    (name, key): _kinds(field.annotation)
    for name, model in SECTIONS.items()
    for key, field in model.model_fields.items()
}
SECRET = {place for place, kinds in KINDS.items() if SecretStr in kinds}
CHANNELS = ("alerts", "channels")  # the one list; its items may hold secrets
VARIABLES = {
    f"{PREFIX}{name}__{key}".upper(): (name, key) for name, keys in KEYS.items() for key in keys
}


@dataclass(frozen=True)
class Given:
    """One key as somebody gave it."""

    value: Any
    where: str
    section: str
    key: str
    variable: str = ""

    @property
    def name(self) -> str:
        """The key alone, as it is written there."""
        return self.variable or f"[{self.section}] {self.key}"

    @property
    def said(self) -> str:
        """The key and its value; of a secret only the key."""
        if (self.section, self.key) in SECRET:
            return self.name
        value = self.value
        if self.key == "url" and isinstance(value, str | list | dict):
            value = without_secret(value) if isinstance(value, str) else {"…": "…"}
        return f"{self.name} = {quoted(value)}"


def without_secret(url: str) -> str:
    """Blank what may be a secret in an address: before the last @, after a question mark."""
    shown = re.sub(r"^([^:/@]*://)?.*@", r"\1***@", url, flags=re.DOTALL)
    return re.sub(r"\?.*$", "?***", shown, flags=re.DOTALL)


def find(path: Path | None) -> Path | None:
    """Name the settings file that `load` reads: the one asked for, or the first that exists."""
    if path is not None:
        return path
    for place in PLACES:
        try:
            place.stat()
        except (FileNotFoundError, NotADirectoryError):
            continue
        except OSError:
            return place
        return place
    return None


def file_keys(path: Path, mistakes: Mistakes) -> tuple[list[Given], list[str]]:
    """Read the settings file; unknown sections and keys are mistakes, the rest is given.

    With it come the names of all sections and keys, known or not, in the order they stand there.
    """
    where = str(path)
    try:
        tree = read_toml(read_utf8(path.read_bytes(), where), where)
    except UsageError as error:
        mistakes.found.append(error)
        return [], []
    except (OSError, ValueError) as error:
        missing = isinstance(error, FileNotFoundError)
        wrong = "no such file" if missing else f"cannot be read ({_reason(error)})"
        remedy = (
            "give --config the path of a settings file, or leave it out to use the defaults"
            if missing
            else "let the user who runs hivewatch read it"
        )
        mistakes.add(where, "", wrong, remedy)
        return [], []
    names: list[str] = []
    for section, content in tree.items():
        names += [key_name(section), f"[{key_name(section)}]"]
        if isinstance(content, dict):
            names += [f"[{key_name(section)}] {key_name(key)}" for key in content]
    return _known_keys(tree, where, mistakes), names


def _reason(error: OSError | ValueError) -> str:
    return (error.strerror if isinstance(error, OSError) else str(error)) or "unknown reason"


def _known_keys(tree: dict[str, Any], where: str, mistakes: Mistakes) -> list[Given]:
    given: list[Given] = []
    for section, content in tree.items():
        if section not in KEYS:
            _unknown_section(section, content, where, mistakes)
        elif not isinstance(content, dict):
            mistakes.add(
                where, section, "a section, not a value", f"write [{section}] above its keys"
            )
        else:
            for key, value in content.items():
                if key in KEYS[section]:
                    given.append(Given(value, where, section, key))
                else:
                    said = f"[{section}] {key_name(key)}"
                    mistakes.add(where, said, "no such key", _key_hint(section, key))
    return given


def _unknown_section(section: str, content: object, where: str, mistakes: Mistakes) -> None:
    if isinstance(content, dict) or (
        isinstance(content, list) and content and isinstance(content[0], dict)
    ):
        near = nearest(section, KEYS)
        all_of_them = "the sections are " + ", ".join(f"[{name}]" for name in KEYS)
        remedy = f"did you mean [{near}]?" if near else all_of_them
        mistakes.add(where, f"[{key_name(section)}]", "no such section", remedy)
        return
    homes = [name for name, keys in KEYS.items() if section in keys]
    remedy = "put it under " + " or ".join(f"[{name}]" for name in homes or KEYS)
    mistakes.add(where, key_name(section), "stands outside every section", remedy)


def _key_hint(section: str, key: str) -> str:
    near = nearest(key, KEYS[section])
    if near:
        return f"did you mean {near}?"
    elsewhere = [f"[{name}] {key}" for name, keys in KEYS.items() if key in keys]
    if elsewhere:
        return f"did you mean {' or '.join(elsewhere)}?"
    return "its keys are " + ", ".join(KEYS[section])


def environment_keys(environ: Mapping[str, str], mistakes: Mistakes) -> list[Given]:
    """Read every HIVEWATCH_ variable; one that matches no setting is a mistake."""
    given: list[Given] = []
    for variable in sorted(environ):
        if not variable.upper().startswith(PREFIX):
            continue
        place = VARIABLES.get(variable)
        if place is None:
            rest = variable.upper().removeprefix(PREFIX)
            known = {name.removeprefix(PREFIX).lower(): name for name in VARIABLES}
            near = nearest(rest, known)
            near_key = [name for name, (_, key) in VARIABLES.items() if key == rest.lower()]
            guess = known[near] if near else " or ".join(near_key)
            remedy = (
                f"did you mean {guess}?"
                if guess
                else f"the names are HIVEWATCH_SECTION__KEY; {LIST_DEFAULTS}"
            )
            mistakes.add("environment", key_name(variable), "no such setting", remedy)
            continue
        value = _from_text(place, environ[variable])
        given.append(Given(value, "environment", *place, variable=variable))
    return given


def _from_text(place: tuple[str, str], text: str) -> Any:  # noqa: ANN401 (as in TOML)
    """Turn a variable's text into what would stand in the file; what cannot be stays text."""
    try:
        if place == CHANNELS:
            return json.loads(text) if text.lstrip().startswith("[") else text.split()
        if int in KINDS[place]:
            return int(text)
        if float in KINDS[place]:
            return float(text)
    except (ValueError, RecursionError):
        pass
    return text
