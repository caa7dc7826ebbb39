"""The commands: to files, to a broker, to pictures."""

from __future__ import annotations

import json
import threading
import tomllib
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from brokers import Mosquitto, wait_until
from paho.mqtt.enums import CallbackAPIVersion

from simulators import __main__ as commands
from simulators import publish, scenario

DAYS = 3


@pytest.fixture
def small(tmp_path: Path) -> Path:
    path = tmp_path / "croft.toml"
    path.write_text(
        """
title = "a croft"
seed = 3
start = "05-01"
days = 5
[keeper]
first_visit = "05-01"
visit_every_days = 3
late_notes = 0
notes = 1
[[yard]]
id = "croft"
name = "Croft"
latitude = 52
longitude = 0
timezone = "Europe/London"
hives = 2
[[yard.hive]]
id = "croft-1"
bees = 20000
[[yard.hive.happening]]
what = "toppled"
on = "05-05"
at = "03:00"
""",
        encoding="utf-8",
    )
    return path


def test_write_makes_all_four_files(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert commands.main(["write", str(small), "--out", str(tmp_path / "out")]) == 0
    said = json.loads(capsys.readouterr().out)
    lines = (tmp_path / "out/readings.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "time,device,quantity,value"
    assert len(lines) - 1 == said["readings"]
    apiary = tomllib.loads((tmp_path / "out/apiary.toml").read_text(encoding="utf-8"))
    devices = {device["id"] for device in apiary["device"]}
    assert {line.split(",")[1] for line in lines[1:]} == devices
    assert {hive["id"] for hive in apiary["hive"]} == {"croft-1", "croft-2"}
    inspections = json.loads((tmp_path / "out/inspections.json").read_text(encoding="utf-8"))
    assert len(inspections) == said["inspections"] >= 1
    assert {"hive", "at", "brood", "adults", "queen", "actions"} <= set(inspections[0])
    truth = json.loads((tmp_path / "out/truth.json").read_text(encoding="utf-8"))
    assert [e["subject"] for e in truth["events"] if e["kind"] == "toppled"] == ["hive:croft-1"]
    assert len(truth["hives"]["croft-2"]["daily"]["laid"]) == 5


def test_what_fell_lies_there_until_somebody_comes(small: Path, tmp_path: Path) -> None:
    text = small.read_text(encoding="utf-8").replace(
        "first_visit", "last_visit = '05-02'\nfirst_visit"
    )
    small.write_text(text, encoding="utf-8")
    assert commands.main(["write", str(small), "--out", str(tmp_path / "out")]) == 0
    lines = (tmp_path / "out/readings.csv").read_text(encoding="utf-8").splitlines()
    kg = [float(line.split(",")[3]) for line in lines if ",scale-croft-1,weight," in line]
    assert max(kg[-20:]) < 10 < min(kg[:20])


def test_senml_lines_hold_as_many_records(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    commands.main(["write", str(small), "--out", str(tmp_path), "--format", "senml"])
    said = json.loads(capsys.readouterr().out)
    lines = (tmp_path / "readings.senml.jsonl").read_text(encoding="utf-8").splitlines()
    assert sum(len(json.loads(line)["senml"]) for line in lines) == said["readings"]


def test_list_names_every_scenario(capsys: pytest.CaptureFixture[str]) -> None:
    assert commands.main(["list"]) == 0
    said = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in said] == scenario.names()


def test_draw_makes_a_picture(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["draw", str(small), "--out", str(tmp_path), "--hive", "croft-1", "--week", "05-01"]
    assert commands.main(words) == 0
    path = Path(capsys.readouterr().out.strip())
    assert path.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["play", "no-such-season"], "no such scenario"),
        (["play", "--broker", "http://127.0.0.1"], "mqtt://"),
        (["play", "--broker", "mqtt://127.0.0.1:1"], "127.0.0.1:1"),
        (["play", "--days-per-second", "0"], "above 0"),
    ],
)
def test_a_mistake_is_one_line_and_exit_2(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert commands.main(words) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert said in shown.err
    assert shown.err.count("\n") == 1


def test_packs_grow_so_that_the_pace_stays_under_five_hundred_messages_a_second() -> None:
    assert publish.span_s(39, 1 / 86_400) == publish.span_s(36, 0.5) == 3_600
    for pace in (0.1, 0.5, 1.0, 10.0):
        assert 39 * 86_400 * pace / publish.span_s(39, pace) <= 500


def test_what_is_played_arrives(
    small: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A real mosquitto: every pack once, statuses retained, one line a day."""
    broker = Mosquitto(tmp_path)
    got: list[mqtt.MQTTMessage] = []
    ready = threading.Event()
    ear = mqtt.Client(CallbackAPIVersion.VERSION2)
    ear.on_message = lambda _c, _u, message: got.append(message)
    ear.on_subscribe = lambda *_: ready.set()
    try:
        ear.connect("127.0.0.1", broker.port)
        ear.subscribe("own/#", 1)
        ear.loop_start()
        assert ready.wait(10)
        words = ["play", str(small), "--broker", broker.url, "--root", "own"]
        assert commands.main([*words, "--days-per-second", "20"]) == 0
        *days, end = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
        wait_until(lambda: sum(m.topic.endswith("/senml") for m in got) >= end["packs"])
    finally:
        ear.disconnect()
        ear.loop_stop()
        broker.stop()
    played = [m for m in got if m.topic.endswith("/senml")]
    records = sum(len(json.loads(m.payload)) for m in played)
    assert (len(played), records) == (end["packs"], end["records"])
    assert sum(day["published"] for day in days if "day" in day) == records
    assert len([day for day in days if "day" in day]) == 5
    statuses = [m for m in got if m.topic.endswith("/status")]
    assert sum(m.payload == b"online" for m in statuses) == end["devices"]
    assert sum(m.payload == b"offline" for m in statuses) == end["devices"]
