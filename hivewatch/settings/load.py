"""Settings from file and environment, or every mistake in them at once."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import SecretStr, ValidationError

from hivewatch.errors import UsageError
from hivewatch.mistakes import Mistakes, WrongValueError, told
from hivewatch.settings.fields import read_path
from hivewatch.settings.secrets import check_channel, holds_secret, read_channels, read_secret
from hivewatch.settings.sources import (
    CHANNELS,
    KINDS,
    SECRET,
    Given,
    environment_keys,
    file_keys,
    find,
)
from hivewatch.settings.tree import Settings


def load(path: Path | None, environ: Mapping[str, str]) -> Settings:
    """Read the settings; the environment goes before the file, the file before the defaults.

    Reads the settings file and the secret files it names, and opens, binds or makes nothing.

    Parameters
    ----------
    path : Path | None
        The settings file; None looks for `hivewatch.toml` here, then in /etc/hivewatch.
    environ : Mapping[str, str]
        Variables; those named HIVEWATCH_SECTION__KEY set a key. A list is a JSON array, or its
        items with spaces between.

    Returns
    -------
    Settings
        With every relative path made absolute from the settings file's folder (without a file,
        from here), and the secrets read from their files.

    Raises
    ------
    SeveralErrors
        With every mistake found.
    """
    mistakes = Mistakes()
    file = find(path)
    base = (file.parent if file else Path()).absolute()
    keys: dict[tuple[str, str], Given] = {}
    from_file, names = file_keys(file, mistakes) if file else ([], [])
    for given in from_file:
        keys[given.section, given.key] = given
    for given in environment_keys(environ, mistakes):
        keys[given.section, given.key] = given
    settings = _build(keys, base, mistakes)
    mistakes.found.sort(key=lambda error: _rank(error, names))
    mistakes.settle()
    return settings


def _rank(error: UsageError, names: list[str]) -> int:
    """Tell mistakes as they stand in the file; then those of secret files, then of variables."""
    if error.where == "environment":
        return len(names) + 1
    name = error.said.partition(" = ")[0].partition(", address")[0]
    section = name.partition(" ")[0]
    return next((names.index(n) for n in (name, section) if n in names), len(names))


def _build(keys: dict[tuple[str, str], Given], base: Path, mistakes: Mistakes) -> Settings:
    """Check everything that was given; what is wrong goes to `mistakes`."""
    tree: dict[str, dict[str, Any]] = {}
    for (section, key), given in keys.items():
        value = given.value
        if (section, key) in SECRET and (section, key) != CHANNELS:
            if not _is_good_secret(given, mistakes):
                continue
            value = SecretStr(value)
        elif Path in KINDS[section, key]:
            value = _placed(value, base)
        tree.setdefault(section, {})[key] = value
    tree.setdefault("store", {}).setdefault("path", base / Settings().store.path)
    _take_secret("broker", "password", keys, tree, mistakes)
    _take_secret("mirror", "token", keys, tree, mistakes)
    _take_channels(keys, tree, mistakes)
    _check_together(keys, mistakes)
    try:
        return Settings.model_validate(tree)
    except ValidationError as error:
        for detail in error.errors():
            _place(detail["loc"], told(detail), keys, mistakes)
        return Settings()


def _is_good_secret(given: Given, mistakes: Mistakes) -> bool:
    if not given.variable:
        variable = f"HIVEWATCH_{given.section}__{given.key}".upper()
        mistakes.add(
            given.where,
            given.name,
            "a secret does not stand in the settings",
            f"use {given.key}_file or the variable {variable}",
        )
        return False
    if not given.value:
        mistakes.add(given.where, given.name, "empty", "unset it when there is none")
        return False
    return True


def _placed(value: object, base: Path) -> object:
    """Make a path absolute; what is no path stays, for the check of its field."""
    try:
        return base / read_path(value)
    except WrongValueError:
        return value


def _take_secret(
    section: str,
    key: str,
    keys: dict[tuple[str, str], Given],
    tree: dict[str, dict[str, Any]],
    mistakes: Mistakes,
) -> None:
    """Read the secret from its file."""
    given = keys.get((section, f"{key}_file"))
    path = tree.get(section, {}).get(f"{key}_file")
    if given is None or not isinstance(path, Path):
        return
    direct = keys.get((section, key))
    if direct is not None and direct.variable:
        wrong = f"{direct.name} gives the {key} already"
        mistakes.add(given.where, given.said, wrong, "keep one of the two")
        return
    try:
        tree[section][key] = SecretStr(read_secret(path))
    except WrongValueError as error:
        mistakes.add(given.where, given.said, error.wrong, error.remedy)


def _take_channels(
    keys: dict[tuple[str, str], Given], tree: dict[str, dict[str, Any]], mistakes: Mistakes
) -> None:
    """Join the addresses of the list and of the file, and check each."""
    channels: list[SecretStr] = []
    given = keys.get(CHANNELS)
    if given is not None and isinstance(given.value, list):
        for n, url in enumerate(given.value, start=1):
            said = f"{given.name}, address {n}"
            try:
                channels.append(_channel(url, may_hold_secret=bool(given.variable)))
            except WrongValueError as error:
                mistakes.add(given.where, said, error.wrong, error.remedy)
    elif given is not None:
        mistakes.add(given.where, given.name, "not a list", "write the addresses in [brackets]")
    file = keys.get(("alerts", "channels_file"))
    path = tree.get("alerts", {}).get("channels_file")
    if file is not None and isinstance(path, Path):
        try:
            for n, url in read_channels(path):
                try:
                    channels.append(_channel(url, may_hold_secret=True))
                except WrongValueError as error:
                    mistakes.add(str(file.value), f"line {n}", error.wrong, error.remedy)
        except WrongValueError as error:
            mistakes.add(file.where, file.said, error.wrong, error.remedy)
    if given is not None or channels:
        tree.setdefault("alerts", {})["channels"] = tuple(dict.fromkeys(channels))


def _channel(url: object, *, may_hold_secret: bool) -> SecretStr:
    checked = check_channel(url)
    if not may_hold_secret and holds_secret(checked):
        raise WrongValueError(
            "holds a password or token", "move the address to the file named by channels_file"
        )
    return SecretStr(checked)


def _check_together(keys: dict[tuple[str, str], Given], mistakes: Mistakes) -> None:
    """Check what only goes together."""
    url = keys.get(("broker", "url"))
    ca_file = keys.get(("broker", "ca_file"))
    scheme = str(url.value) if url else "mqtt://"
    if ca_file is not None and scheme.startswith("mqtt://"):
        mistakes.add(
            ca_file.where, ca_file.said, "[broker] url is not encrypted", "use mqtts:// in url"
        )
    for key in ("password", "password_file"):
        given = keys.get(("broker", key))
        if given is not None and ("broker", "username") not in keys:
            mistakes.add(
                given.where, given.said, "a password without a user", "add [broker] username"
            )


def _place(
    loc: tuple[int | str, ...],
    fault: tuple[str, str],
    keys: dict[tuple[str, str], Given],
    mistakes: Mistakes,
) -> None:
    """Put a fault beside the key it is of; a key that is missing, beside its section."""
    section, key = str(loc[0]), str(loc[1])
    given = keys.get((section, key))
    if given is not None:
        mistakes.add(given.where, given.said, *fault)
        return
    beside = next(other for (name, _), other in keys.items() if name == section)
    mistakes.add(beside.where, f"[{section}] {key}", fault[0], f"[{section}] cannot do without it")
