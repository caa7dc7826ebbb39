"""The detectors on a real recording: three hives, nest warmth and humidity, one season.

Source: Abdollahi M. et al. (2024), "UrBAN: Urban Beehive Acoustics and PheNotyping Dataset",
Federated Research Data Repository, doi:10.20383/103.0972 (CC BY 4.0; tests/data/montreal-2021).
"""

from __future__ import annotations

import csv
import gzip
from collections import defaultdict
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from hivewatch.apiary import Hive, Yard
from hivewatch.detect.run import detect
from hivewatch.signals.window import DeviceTrace, HiveWindow, Series

FOLDER = Path(__file__).parents[2] / "data" / "montreal-2021"
ZONE = ZoneInfo("America/Toronto")
YARD = Yard("montreal", "Montreal", 45.5, -73.6, "America/Toronto")
TAGS = ("3631", "3691", "3693")
HOUR = 3600
STRANGERS = [  # handlings that are in no list
    ("3631", "2021-09-02"),
    ("3691", "2021-09-13"),
    ("3693", "2021-09-13"),
]


@pytest.fixture(scope="module")
def windows():
    rows: dict[str, dict[str, dict[int, float]]] = defaultdict(lambda: defaultdict(dict))
    with gzip.open(FOLDER / "readings.csv.gz", "rt") as lines:
        for row in csv.DictReader(lines):
            time_s = int(datetime.fromisoformat(row["time"]).timestamp())
            for quantity in ("nest", "nest-humidity"):
                rows[row["device"]][quantity].setdefault(time_s, float(row[quantity]))
    made = {}
    for device, quantities in rows.items():
        series = {
            name: Series(
                np.array(sorted(values), np.int64), np.array([values[t] for t in sorted(values)])
            )
            for name, values in quantities.items()
        }
        heard_s = series["nest"].time_s
        tag = device.removeprefix("probe-")
        made[tag] = HiveWindow(
            Hive(f"hive-{tag}", "montreal", "langstroth-deep", 10, 1, None),
            YARD,
            int(heard_s[-1]) + 60,
            series,
            (DeviceTrace(device, int(heard_s[0]), None, heard_s),),
        )
    return made


@pytest.fixture(scope="module")
def inspections():
    """By tag: when each listed inspection began and ended; None where the list has no time."""
    listed = defaultdict(list)
    with (FOLDER / "inspections.csv").open() as lines:
        for row in csv.DictReader(lines):
            moments = [
                datetime.fromisoformat(f"{row['Date']}T{row[name]}")
                .replace(tzinfo=ZONE)
                .timestamp()
                if row[name]
                else None
                for name in ("Open", "Close")
            ]
            listed[row["Tag number"]].append((row["Date"], *moments))
    return listed


@pytest.fixture
def found(windows, limits):
    return {tag: detect(one, (), limits, one.as_of_s) for tag, one in windows.items()}


def day_of(moment_s):
    return datetime.fromtimestamp(moment_s, ZONE).date().isoformat()


def test_every_gap_is_a_silence_and_every_silence_a_gap(windows, found):
    for tag in TAGS:
        heard_s = windows[tag].devices[0].heard_s
        gaps = {
            (int(heard_s[i]), int(heard_s[i + 1]))
            for i in np.flatnonzero(np.diff(heard_s) > 3 * HOUR)
        }
        silences = {(one.start_s, one.end_s) for one in found[tag] if one.kind == "silent"}
        assert silences == gaps
    # "three gaps (213, 133, 17 h) cover all hives": the notes to the recording
    for hours in (213, 133):
        for tag in TAGS:
            longest = [one.measures.get("hours", 0.0) for one in found[tag] if one.kind == "silent"]
            assert any(hours <= h < hours + 8 for h in longest)


def test_nothing_but_handling_silence_and_autumn_is_named(found):
    kinds = {one.kind for tag in TAGS for one in found[tag]}
    assert kinds == {"handling", "silent", "brood_end"}


def test_the_end_of_brood_is_dated_once_in_each_hive_in_autumn(found):
    # "brood temperature loosens from September"; on 5 October only 3691 has frames of brood listed
    ends = {tag: [one for one in found[tag] if one.kind == "brood_end"] for tag in TAGS}
    days = {tag: [day_of(one.start_s) for one in ends[tag]] for tag in TAGS}
    assert {tag: len(of_tag) for tag, of_tag in days.items()} == dict.fromkeys(TAGS, 1)
    assert "2021-09-01" <= days["3631"][0] <= "2021-10-05"
    assert "2021-09-01" <= days["3693"][0] <= "2021-10-05"
    assert "2021-10-05" < days["3691"][0] <= "2021-10-31"


def test_openings_that_show_are_found_and_nothing_else_is_named(windows, found, inspections):
    """Of 28 listed inspections with readings around, 10 are found, where chance finds one at most.

    Five left a dip, five only a break in the course of the warmth. The others were 3 to 17 minutes
    with the lid off and the probe between the combs: the nest moved no more than on any afternoon.
    What is in no list counts as false here, though on 13 September two hives broke within the
    hour, as when a keeper goes from one to the next; they are listed for the 14th.
    """
    in_view = hit = 0
    strangers = []
    for tag in TAGS:
        nest = windows[tag].of("nest")
        handlings = [one for one in found[tag] if one.kind == "handling"]
        for day, opened_s, closed_s in inspections[tag]:
            if opened_s is None:
                near = [one for one in handlings if day_of(one.start_s) == day]
            else:
                low, high = np.searchsorted(nest.time_s, [opened_s - HOUR, closed_s + HOUR])
                if high - low < 7:
                    continue
                near = [
                    one
                    for one in handlings
                    if one.start_s <= closed_s + HOUR / 2 and one.end_s >= opened_s - HOUR / 2
                ]
            in_view += 1
            hit += bool(near)
            handlings = [one for one in handlings if one not in near]
        strangers += [(tag, day_of(one.start_s)) for one in handlings]
    assert (hit, in_view) == (10, 28)
    assert sorted(strangers) == STRANGERS
    by_chance = []
    for later_d in (*range(-24, -3), *range(4, 25)):  # the same hours of other days
        later_s = later_d * 24 * HOUR
        by_chance.append(
            sum(
                any(
                    one.start_s <= closed_s + later_s + HOUR / 2
                    and one.end_s >= opened_s + later_s - HOUR / 2
                    for one in found[tag]
                    if one.kind == "handling"
                )
                for tag in TAGS
                for _, opened_s, closed_s in inspections[tag]
                if opened_s is not None
            )
        )
    assert np.mean(by_chance) < 1


def test_every_dip_of_two_degrees_at_an_inspection_is_found(windows, found, inspections):
    for tag in TAGS:
        nest = windows[tag].of("nest")
        for _, opened_s, closed_s in inspections[tag]:
            if opened_s is None:
                continue
            before, after = (
                nest.value[slice(*np.searchsorted(nest.time_s, span))]
                for span in (
                    (opened_s - HOUR, opened_s),
                    (opened_s, closed_s + HOUR / 2),
                )
            )
            if len(before) > 2 and len(after) and np.median(before) - after.min() >= 2.0:
                assert any(
                    one.kind == "handling" and one.start_s <= closed_s and one.end_s >= opened_s
                    for one in found[tag]
                )


def test_hot_afternoons_that_all_hives_share_are_left_alone(windows, found):
    # afternoons on which two or more nests rose over 35.5 Cel: weather, by the notes to it
    warm = defaultdict(set)
    for tag in TAGS:
        nest = windows[tag].of("nest")
        for moment_s in nest.time_s[nest.value > 35.5]:
            warm[day_of(moment_s)].add(tag)
    shared = {day for day, tags in warm.items() if len(tags) > 1}
    assert len(shared) > 10
    named = {
        day_of(one.start_s) for tag in TAGS for one in found[tag] if one.kind != "silent"
    } & shared
    assert named <= {"2021-06-22", "2021-08-10"}  # inspections were listed on those days


def test_autumn_is_not_handling(found):
    # "brood temperature loosens from September": of it, days that are listed, and the strangers
    late = [one for tag in TAGS for one in found[tag] if one.kind == "handling"]
    listed = {"2021-09-14", "2021-10-05", "2021-10-19"}
    days = {day_of(one.start_s) for one in late if day_of(one.start_s) > "2021-09-01"}
    assert days == listed | {day for _, day in STRANGERS}
