"""The apiary file: what it says, what is wrong in it, and that it can be written again."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hivewatch.apiary import (
    Apiary,
    Hive,
    Placement,
    Yard,
    file,
    read_apiary,
    write_apiary,
)
from hivewatch.errors import SeveralErrors
from hivewatch.frames import FRAMES

BAD = sorted((Path(__file__).parents[2] / "data" / "apiary-bad").glob("*.toml"))

# The example of the apiary file's description, with one more placement: the device moved.
EXAMPLE = """
[[yard]]
id = "millrace"                  # 1-64 of a-z 0-9 -
name = "Mill race"
latitude = 52.20                 # degrees, north positive
longitude = 0.12                 # degrees, east positive
timezone = "Europe/London"       # IANA name

[[hive]]
id = "millrace-1"
yard = "millrace"
frame = "langstroth-deep"        # a key of the published frame table
frames = 10                      # in one brood box
boxes = 1                        # brood boxes
empty_kg = 21.5                  # optional: hive without bees, brood and stores

[[device]]
id = "scale-17"
hive = "millrace-1"
since = "2026-03-01T00:00:00Z"   # placements follow each other: a device can move between hives

[[device]]
id = "scale-17"
since = 2026-04-01T02:00:00+02:00
"""


def test_the_example_is_read() -> None:
    assert read_apiary(EXAMPLE, "apiary.toml") == Apiary(
        yards=(Yard("millrace", "Mill race", 52.20, 0.12, "Europe/London"),),
        hives=(Hive("millrace-1", "millrace", "langstroth-deep", 10, 1, 21.5),),
        placements=(
            Placement("scale-17", "millrace-1", 1772323200),  # date -u -d 2026-03-01 +%s
            Placement("scale-17", None, 1775001600),  # date -u -d 2026-04-01 +%s
        ),
    )


def test_a_whole_number_of_degrees_or_kg_will_do() -> None:
    text = EXAMPLE.replace("52.20", "52").replace("21.5", "21")
    apiary = read_apiary(text, "apiary.toml")
    assert (apiary.yards[0].latitude, apiary.hives[0].empty_kg) == (52.0, 21.0)


def test_an_empty_file_is_an_empty_apiary() -> None:
    assert read_apiary("", "apiary.toml") == Apiary()


def test_a_region_is_no_time_zone() -> None:
    with pytest.raises(SeveralErrors, match=r'timezone = "Europe": no such time zone'):
        read_apiary(EXAMPLE.replace("Europe/London", "Europe"), "apiary.toml")


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_mistake_is_told_in_full(path: Path) -> None:
    text = path.read_text()
    expected = [line[2:] for line in text.splitlines() if line.startswith("# apiary.toml: ")]
    assert expected
    with pytest.raises(SeveralErrors) as caught:
        read_apiary(text, "apiary.toml")
    assert [str(error) for error in caught.value.errors] == expected


ids = st.text("abcdefghijklmnopqrstuvwxyz0123456789-", min_size=1, max_size=64)
devices = st.from_regex(r"[A-Za-z0-9._-]{1,64}", fullmatch=True)
names = st.text(st.characters(categories=["L", "N", "P", "S"], codec="utf-8"), min_size=1).map(
    lambda text: text[:200]
)
zones = st.sampled_from(["Europe/London", "America/Toronto", "UTC", "Pacific/Auckland"])


@st.composite
def apiaries(draw: st.DrawFn) -> Apiary:
    yards = draw(
        st.lists(
            st.builds(Yard, ids, names, st.floats(-90, 90), st.floats(-180, 180), zones),
            unique_by=lambda yard: yard.id,
            max_size=3,
        )
    )
    hives = draw(
        st.lists(
            st.builds(
                Hive,
                ids,
                st.sampled_from([yard.id for yard in yards] or ["none"]),
                st.sampled_from(sorted(FRAMES)),
                st.integers(1, 40),
                st.integers(1, 10),
                st.none() | st.floats(0, 200),
            ),
            unique_by=lambda hive: hive.id,
            max_size=4 if yards else 0,
        )
    )
    where = st.sampled_from([None, *(hive.id for hive in hives)])
    placements = draw(
        st.lists(
            st.builds(Placement, devices, where, st.integers(0, 4_000_000_000)),
            unique_by=lambda p: (p.device, p.since_s),
            max_size=5,
        )
    )
    return Apiary(tuple(yards), tuple(hives), tuple(placements))


@given(apiaries())
def test_what_is_written_reads_back_the_same(apiary: Apiary) -> None:
    assert read_apiary(write_apiary(apiary), "apiary.toml") == apiary


keys = st.sampled_from(
    ["id", "name", "yard", "hive", "since", "frame", "frames", "boxes", "empty_kg"]
) | st.text(max_size=5)
values = st.recursive(
    st.booleans() | st.integers() | st.floats() | st.text(max_size=10) | st.datetimes(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(keys, inner, max_size=3),
    max_leaves=5,
)
tables = st.sampled_from(["yard", "hive", "device"]) | st.text(max_size=6)


@given(
    st.dictionaries(
        tables, st.lists(st.dictionaries(keys, values, max_size=5), max_size=3) | values, max_size=3
    )
)
def test_any_tables_give_an_apiary_or_one_readable_line_a_mistake(tree: dict[str, Any]) -> None:
    with mock.patch.object(file, "read_toml", return_value=tree):
        try:
            read_apiary("", "apiary.toml")
        except SeveralErrors as several:
            for error in several.errors:
                assert str(error).isprintable()
                assert str(error).startswith("apiary.toml: ")


@given(st.text())
def test_any_text_gives_an_apiary_or_mistakes(text: str) -> None:
    with contextlib.suppress(SeveralErrors):
        assert isinstance(read_apiary(text, "apiary.toml"), Apiary)
