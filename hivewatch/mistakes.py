"""How a mistake in a file is told: collected, quoted, placed and, where it can be, guessed."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, ValidationError
from pydantic_core import CoreSchema, core_schema

from hivewatch.errors import SeveralErrors, UsageError

QUOTE_CHARS_MAX = 80  # [characters] own choice: a line that still fits a terminal
ALIKE_MIN = 0.65  # [difflib ratio] own choice: "ulr" is url, "weight" is not what
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_TOML_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")

_WORDS = {
    "missing": "missing",
    "string_type": "not text",
    "string_too_short": "empty",
    "string_too_long": "too long",
    "string_pattern_mismatch": "not in the right form",
    "int_type": "not a whole number",
    "int_from_float": "not a whole number",
    "float_type": "not a number",
    "finite_number": "not a finite number",
    "bool_type": "not true or false",
    "list_type": "not a list",
    "tuple_type": "not a list",
    "too_long": "too many",
    "too_short": "too few",
    "greater_than": "out of range",
    "greater_than_equal": "out of range",
    "less_than": "out of range",
    "less_than_equal": "out of range",
    "literal_error": "not a known word",
    "model_type": "not an object",
    "dataclass_type": "not a table",
    "dict_type": "not a table",
}


class WrongValueError(ValueError):
    """Raised by the check of one value: what is wrong with it, and what to do."""

    def __init__(self, wrong: str, remedy: str = "") -> None:
        """Keep both halves; the reader of the file knows where it stood."""
        super().__init__(f"{wrong}; {remedy}" if remedy else wrong)
        self.wrong, self.remedy = wrong, remedy


@dataclass(frozen=True)
class Allowed:
    """Marks a field with the words that say what is allowed; they become the remedy."""

    words: str

    def __get_pydantic_core_schema__(
        self,
        source: Any,  # noqa: ANN401 (pydantic's own signature)
        handler: GetCoreSchemaHandler,
    ) -> CoreSchema:
        """Wrap the field's other checks, so that whichever of them fails, these words are told."""
        return core_schema.no_info_wrap_validator_function(self._tell, handler(source))

    def _tell(self, value: Any, check: Callable[[Any], Any]) -> Any:  # noqa: ANN401 (any field)
        try:
            return check(value)
        except ValidationError as error:
            wrong, remedy = told(error.errors()[0])
            raise WrongValueError(wrong, remedy or f"use {self.words}") from None


def told(detail: Mapping[str, Any]) -> tuple[str, str]:
    """Say one of pydantic's complaints in our words: what is wrong, and what to do if it knows."""
    inner = detail.get("ctx", {}).get("error")
    if isinstance(inner, WrongValueError):
        return inner.wrong, inner.remedy
    message = str(detail["msg"])
    return _WORDS.get(str(detail["type"]), message[:1].lower() + message[1:]), ""


class Mistakes:
    """Collects every mistake, so that a person mends a file once and not line by line."""

    def __init__(self) -> None:
        """Start with none."""
        self.found: list[UsageError] = []

    def add(self, where: str, said: str, wrong: str, remedy: str = "") -> None:
        """Note one."""
        self.found.append(UsageError(where, said, wrong, remedy))

    def settle(self) -> None:
        """Raise `SeveralErrors` if there was any."""
        if self.found:
            raise SeveralErrors(self.found)


def quoted(value: object) -> str:
    """Show a value as it stands in the file, on one line, cut when it is long."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, dict):
        text = "{…}" if value else "{}"
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(quoted(item) for item in value[:QUOTE_CHARS_MAX]) + "]"
    elif value is None:
        text = "null"
    elif isinstance(value, int) and abs(value) >= 10**QUOTE_CHARS_MAX:
        text = "a number of very many digits"
    else:
        text = str(value)
    if len(text) > QUOTE_CHARS_MAX:
        text = text[: QUOTE_CHARS_MAX - 1] + "…"
    return printable(text)


def printable(text: str) -> str:
    """Escape what would break the line or move the cursor of a terminal."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in text)


def key_name(key: object) -> str:
    """Show a key as it stands in the file: bare when it can be."""
    text = str(key)
    return text if _BARE_KEY.fullmatch(text) and len(text) <= QUOTE_CHARS_MAX else quoted(text)


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Find the known word that somebody who typed this one probably meant."""
    found = difflib.get_close_matches(word.lower(), list(known), n=1, cutoff=ALIKE_MIN)
    return found[0] if found else None


def did_you_mean(word: str, known: Iterable[str], otherwise: str) -> str:
    """Give the remedy for a misspelt word: the nearest known one, or else all of them."""
    near = nearest(word, known)
    return f"did you mean {near}?" if near else otherwise


def check_known(option: str, said: str, known: Iterable[str]) -> None:
    """Refuse a name given to an option, as `--hive`, that nothing here carries."""
    names = list(known)
    if said not in names:
        otherwise = (
            f"use one of {', '.join(names)}"
            if names
            else "there is none yet: hivewatch apiary load FILE"
        )
        remedy = did_you_mean(said, names, otherwise)
        raise UsageError(option, said, f"no such {option.lstrip('-')}", remedy)


def read_toml(text: str, where: str) -> dict[str, Any]:
    """Parse TOML; a fault of its form is a `UsageError` with line and column."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise UsageError(where, "", "nested too deeply", "take the inner brackets away") from None
    except ValueError as error:
        message = str(error)
        place = _TOML_PLACE.search(message)
        if place is None:
            raise UsageError(where, "", f"not TOML ({printable(message)})", "") from None
        line, column = place.groups()
        said = f"line {line}, column {column}" if line else f"line {len(text.splitlines())}, end"
        wrong = message[: place.start()]
        wrong = wrong[:1].lower() + wrong[1:]
        remedy = "text stands in quotes, a key once, a section in [brackets]"
        raise UsageError(where, said, f"not TOML ({printable(wrong)})", remedy) from None


def read_utf8(raw: bytes, where: str) -> str:
    """Decode a file's bytes; a byte order mark at the start is let pass."""
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise UsageError(where, f"line {line}", "not UTF-8 text", "save it as UTF-8") from None
