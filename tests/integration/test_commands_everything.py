"""Everything out of one store and into another, by command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from commands import APIARY, Desk

READINGS = """\
time,device,quantity,value,received
2026-05-02T00:00:00Z,scale-1,weight,40.5,2026-05-04T00:00:00Z
2026-05-02T00:00:00Z,scale-2,weight,41.5,2026-05-02T00:00:01Z
2026-05-03T00:00:00Z,scale-2,weight,4100,2026-05-03T00:00:01Z
"""
SEEN = [
    {"hive": "hazel-1", "at": "2026-05-02T10:00:00+01:00", "adults": 9000, "key": "a"},
    {"hive": "meadow-1", "at": "2026-05-03T10:00:00+01:00", "adults": 8000, "key": "b"},
]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    made = Desk(tmp_path_factory.mktemp("desk"))
    made.ok("apiary", "load", "-", stdin=APIARY)
    made.ok("import", "-", stdin=READINGS)
    made.ok("inspections", "load", "-", stdin=json.dumps(SEEN))
    corrected = [SEEN[0] | {"adults": 9500, "why": "counted again"}]
    made.ok("inspections", "load", "-", stdin=json.dumps(corrected))
    made.ok("export", "all", "--what", "everything")
    return made


def records(text: str) -> list[dict[str, object]]:
    return [json.loads(line) for line in text.splitlines()]


def test_a_folder_taken_in_is_the_same_store(desk: Desk, tmp_path: Path) -> None:
    other = Desk(tmp_path)
    done = other.ok("import", desk.folder / "all").out.splitlines()
    assert done[0] == "apiary.toml: 6 changes to the apiary"
    assert "inspections.jsonl: 3 records, 3 new" in done
    assert "quarantine.jsonl: 1 record, 1 new" in done
    other.ok("export", "again", "--what", "everything")
    for file in (desk.folder / "all").iterdir():
        assert (tmp_path / "again" / file.name).read_bytes() == file.read_bytes(), file.name
    assert "inspections.jsonl: 3 records, 0 new" in other.ok("import", desk.folder / "all").out


def test_each_kind_is_told_by_hive_yard_and_time(desk: Desk) -> None:
    versions = records(desk.ok("export", "-", "--what", "inspections", "--hive", "hazel-1").out)
    assert [(one["version"], one["adults"]) for one in versions] == [(1, 9000), (2, 9500)]
    assert versions[1]["why"] == "counted again"
    late = ("--since", "2026-05-03T00:00:00Z")
    (one,) = records(desk.ok("export", "-", "--what", "inspections", *late).out)
    assert one["hive"] == "meadow-1"
    places = desk.ok("export", "-", "--what", "apiary", "--yard", "hazel-end").out
    assert "hazel-1" in places
    assert "meadow" not in places
    (device,) = records(desk.ok("export", "-", "--what", "devices", "--yard", "hazel-end").out)
    assert device["device"] == "scale-1"
    lines = desk.ok("export", "-", "--what", "readings", "--hive", "hazel-1").out.splitlines()
    assert lines == READINGS.splitlines()[:2]


def test_a_misuse_is_told_in_a_line(desk: Desk, tmp_path: Path) -> None:
    desk.write("bad.jsonl", '{"id": "x"}\n')
    desk.write("torn.jsonl", "\n{\n")
    (desk.folder / "empty").mkdir(exist_ok=True)
    for words, fault in {
        ("export", "all", "--what", "everything"): "all: exists already; name a new folder",
        ("export", "-", "--what", "everything"): "everything is several files",
        ("export", "x.csv", "--what", "findings"): "x.csv: not a form we write findings in; end",
        ("export", "y", "--what", "everything", "--hive", "z"): "--hive: z: no such hive",
        ("import", "bad.jsonl"): "bad.jsonl: line 1: not a record of an export",
        ("import", "torn.jsonl"): "torn.jsonl: line 2: not JSON",
        ("import", "empty"): "empty: holds no export",
    }.items():
        assert fault in desk.run(*words).fault
    assert not (desk.folder / "y").exists()
    other = Desk(tmp_path)
    fault = other.run("import", desk.folder / "all" / "inspections.jsonl").fault
    assert fault.startswith("inspections.jsonl: line 1: inspection ")
    assert fault.endswith(": no such hive; import or load the apiary first")
