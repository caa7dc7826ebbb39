"""Whatever stands in the file or the environment: settings, or lines that a person can read."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hivewatch.errors import SeveralErrors
from hivewatch.settings import Settings, load, sources

FILE = Path("hivewatch.toml")
SECRET = "swordfish"
names = st.sampled_from(sorted(sources.KEYS)) | st.text(max_size=8)
keys = st.sampled_from(sorted({key for ks in sources.KEYS.values() for key in ks})) | st.text(
    max_size=8
)
texts = st.text(max_size=20) | st.sampled_from(
    [
        f"mqtt://u:{SECRET}@h",
        f"json://u:{SECRET}@h",
        "mqtt://[",
        "22:00-06:00",
        "~",
        "\x00",
        "a" * 300,
    ]
)
values = st.recursive(
    st.booleans()
    | st.integers()
    | st.floats()
    | texts
    | st.just(dt.date(2026, 5, 1))
    | st.just(dt.time(1, 2)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=6,
)
trees = st.dictionaries(names, st.dictionaries(keys, values, max_size=4) | values, max_size=4)
variables = st.sampled_from(sorted(sources.VARIABLES)) | st.text(max_size=12).map(
    lambda text: "HIVEWATCH_" + text
)


def load_or_say(tree: dict[str, Any], environ: dict[str, str]) -> Settings | list[str]:
    with (
        mock.patch.object(sources, "read_toml", return_value=tree),
        mock.patch.object(Path, "read_bytes", return_value=b""),
    ):
        try:
            return load(FILE, environ)
        except SeveralErrors as several:
            return [str(error) for error in several.errors]


@given(tree=trees, environ=st.dictionaries(variables, texts, max_size=3))
def test_any_input_gives_settings_or_one_readable_line_a_mistake(
    tree: dict[str, Any], environ: dict[str, str]
) -> None:
    said = load_or_say(tree, environ)
    if isinstance(said, Settings):
        return
    assert said
    for line in said:
        assert line.isprintable()
        assert line.startswith(("hivewatch.toml: ", "environment: ")) or ": line " in line
        assert len(line) < 500


@given(
    place=st.sampled_from(sorted(sources.SECRET | {("broker", "url"), ("mirror", "url")})),
    wrap=st.sampled_from(
        ["u:{}@h", "mqt://u:{}@h", "http://{}@h", "http://h/?t={}", "json://h?{}"]
    ),
    listed=st.booleans(),
)
def test_no_secret_bearing_key_ever_shows_its_value(
    place: tuple[str, str], wrap: str, *, listed: bool
) -> None:
    section, key = place
    text = wrap.replace("{}", SECRET)
    variable = f"HIVEWATCH_{section}__{key}".upper()
    for tree, environ in (
        ({section: {key: [text] if listed else text}}, {}),
        ({section: {key + "s": text}}, {}),
        ({section + "s": {key: text}}, {}),
        ({key: text}, {}),
        ({}, {variable: text}),
        ({}, {variable.replace("__", "_"): text}),
    ):
        said = load_or_say(tree, environ)
        if isinstance(said, list):
            assert SECRET not in "".join(said)
        else:
            assert SECRET not in repr(said)


@pytest.mark.parametrize("value", [5, True, [1], {"a": 1}, None])
def test_a_secret_of_another_type_is_refused_like_any(value: object) -> None:
    said = load_or_say({"broker": {"password": value}}, {})
    assert isinstance(said, list)
    assert json.dumps(value) not in said[0].split("; use")[0].removeprefix("hivewatch.toml")
