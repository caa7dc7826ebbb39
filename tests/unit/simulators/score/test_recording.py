"""Labelled days of a real recording: what was found of them, what else was said."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from simulators.plans import ScenarioError
from simulators.score.play import seconds
from simulators.score.recorded import Heard, hear, leave_out
from simulators.score.recording import Label, read_labels, score

APIARY = {
    "yard": [{"id": "mesa", "timezone": "America/Phoenix"}],  # UTC-7 all year
    "hive": [{"id": "hive-1", "yard": "mesa"}, {"id": "hive-21", "yard": "mesa"}],
    "device": [
        {"id": "s1", "hive": "hive-1", "since": "2024-05-01T00:00:00Z"},
        {"id": "s21", "hive": "hive-21", "since": "2024-05-01T00:00:00Z"},
    ],
}
BEGIN = int(seconds("2024-05-01T07:00:00Z"))
FEEDING = Label(date(2024, 5, 3), ("hive-1", "hive-21"), "Feeding")


def heard(days=20):
    times = np.arange(BEGIN, BEGIN + days * 86_400, 900, dtype=np.int64)
    both = {("hive-1", "weight"): times, ("hive-21", "weight"): times}
    return Heard({"s1": times, "s21": times}, both, float(times[-1]))


def said(kind, start, subject="hive:hive-1", n=[0], **measures):  # noqa: B006 - a counter
    n[0] += 1
    return {
        "id": str(n[0]), "kind": kind, "subject": subject, "start": start,
        "detected_at": start, "status": "ended", "measures": measures,
    }  # fmt: skip


def test_a_label_s_day_is_the_site_s_local_day():
    evening = said("handling", "2024-05-04T01:30:00Z", kg=3.0)  # half past six in the evening
    done = score([evening], [FEEDING], APIARY, heard())
    assert (done.labels[0].hive_days, done.labels[0].found, done.labels[0].kg) == (2, 1, [3.0])
    assert done.labels[0].missed == ["Feeding 2024-05-03 hive-21"]


def test_what_is_said_on_other_days_is_counted_by_the_hive_season():
    found = [said("handling", "2024-05-03T18:00:00Z"), said("swarm", "2024-05-09T18:00:00Z")]
    done = score(found, [FEEDING], APIARY, heard())
    assert done.said == {"handling": 1, "swarm": 1}
    assert done.on_labelled == {"handling": 1}
    assert done.hive_seasons == pytest.approx(42 / 180)  # 20 local days touch 21 of UTC, twice
    assert [row[0] for row in done.tables()[1][2]] == ["handling", "swarm"]


def test_a_yard_s_finding_counts_once():
    flow = said("nectar_flow", "2024-05-09T18:00:00Z", "yard:mesa")
    assert score([flow], [FEEDING], APIARY, heard()).said == {"nectar_flow": 1}


def test_rain_that_is_called_a_visit_is_wrong_and_rain_left_alone_is_not():
    rain = Label(date(2024, 5, 9), ("hive-1",), "Rain")
    quiet = score([], [rain], APIARY, heard()).labels[0]
    loud = score([said("handling", "2024-05-09T18:00:00Z")], [rain], APIARY, heard()).labels[0]
    assert (quiet.wrong, loud.wrong) == (0, 1)


def test_a_day_that_was_not_measured_is_left_out():
    done = score([], [Label(date(2024, 6, 20), ("hive-1",), "Feeding")], APIARY, heard())
    assert (done.labels[0].hive_days, done.labels[0].unmeasured) == (0, 1)


def test_what_was_withdrawn_or_told_after_the_end_is_left_out():
    found = [
        said("handling", "2024-05-03T18:00:00Z") | {"status": "withdrawn"},
        said("silent", "2024-05-21T06:00:00Z", "device:s1")
        | {"detected_at": "2024-05-21T09:00:00Z"},
    ]
    assert score(found, [FEEDING], APIARY, heard()).said == {}


def test_labels_name_hives_by_id_by_number_or_all_of_them(tmp_path):
    path = tmp_path / "labels.csv"
    path.write_text(
        "Date,Hives,Comment\n02/05/2024,all,Rain\n2024-05-04,hive21,Feeding\n"
        "05/05/2024,hive-1,Other\n06/05/2024,hive99,Other\n"
    )
    labels = read_labels(path, ["hive-1", "hive-21"])
    assert [label.hives for label in labels] == [
        ("hive-1", "hive-21"), ("hive-21",), ("hive-1",), (),
    ]  # fmt: skip
    assert labels[0].day + timedelta(days=2) == labels[1].day


def test_a_label_without_a_day_is_refused_with_its_line(tmp_path):
    path = tmp_path / "labels.csv"
    path.write_text("Date,Hives,Comment\n02/05/2024,all,Rain\nMay,all,Rain\n")
    with pytest.raises(ScenarioError, match=r"labels\.csv: line 3"):
        read_labels(path, ["hive-1"])


def test_long_and_wide_tables_are_heard_alike(tmp_path):
    long, wide = tmp_path / "long.csv", tmp_path / "wide.csv"
    long.write_text(
        "time,device,quantity,value\n2024-05-02T00:00:00Z,s1,weight,30\n"
        "2024-05-02T00:10:00Z,s1,weight,30\n2024-05-02T00:00:00Z,s1,nest,34\n"
    )
    wide.write_text(
        "time,device,weight,nest\n2024-05-02T00:00:00Z,s1,30,34\n2024-05-02T00:10:00Z,s1,30,\n"
    )
    for path in (long, wide):
        found = hear(path, APIARY)
        assert {key: times.size for key, times in found.hives.items()} == {
            ("hive-1", "weight"): 2, ("hive-1", "nest"): 1,
        }  # fmt: skip
        assert found.interval_s("hive-1") == 600
        assert found.last_s == seconds("2024-05-02T00:10:00Z")


def test_a_device_that_moves_is_heard_at_both_hives(tmp_path):
    moved = APIARY | {
        "device": [*APIARY["device"],
                   {"id": "s1", "hive": "hive-21", "since": "2024-05-03T00:00:00Z"}]
    }  # fmt: skip
    path = tmp_path / "long.csv"
    path.write_text(
        "time,device,quantity,value\n2024-05-02T00:00:00Z,s1,weight,30\n"
        "2024-05-04T00:00:00Z,s1,weight,30\n"
    )
    found = hear(path, moved).hives
    assert found["hive-1", "weight"].size == found["hive-21", "weight"].size == 1


def test_a_group_of_quantities_can_be_left_out(tmp_path):
    path = tmp_path / "readings.csv"
    path.write_text("time,device,quantity,value\nt,s1,weight,30\nt,s1,nest,34\nt,s1,bees-in,3\n")
    leave_out(path, ("nest", "traffic"))
    assert path.read_text() == "time,device,quantity,value\nt,s1,weight,30\n"
