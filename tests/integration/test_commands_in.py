"""What a keeper brings in: the apiary, readings, inspections; and what is not taken."""

from __future__ import annotations

import gzip
import os
import pty
import subprocess
from pathlib import Path

import pytest
from commands import APIARY, Desk

GOOD = """\
time,device,quantity,value
2026-05-02T10:00:00Z,scale-1,weight,41.25
2026-05-02T10:05:00.250+01:00,scale-1,weight,41.5
2026-05-02T10:10:00Z,scale-2,nest,34.75
"""
BAD = """\
time,device,quantity,value
2026-05-02T10:00:00Z,scale-1,weight,41.25
2026-05-02T10:05:00Z,scale-1,weight,"21,5"
2026-05-02T10:10:00,scale-1,weight,41.3
2026-05-02T10:15:00Z,scale 1,weight,41.3
2026-05-02T10:20:00Z,scale-1,wieght,41.3
2026-05-02T10:25:00Z,scale-1,weight,4130
2099-05-02T10:25:00Z,scale-1,weight,41
2026-05-02T10:30:00Z,scale-1,weight
2026-05-02T10:00:00Z,scale-1,weight,99
"""
BAD_SAID = [
    "may.csv: line 3: weight = '21,5': not a number; use a point, or --decimal comma",
    "may.csv: line 4: time = '2026-05-02T10:10:00': write it as 2026-05-01T12:00:00Z",
    "may.csv: line 5: device = 'scale 1': use 1 to 64 of A-Z a-z 0-9 . _ -",
    "may.csv: line 6: quantity = 'wieght': use weight, nest, ambient, nest-humidity,",
    "may.csv: line 7: weight = '4130': not believable; -5 to 300 kg",
    "may.csv: line 8: time = '2099-05-02T10:25:00Z': over a day ahead, or before 2010",
    "may.csv: line 9: 3 cells where the heading has 4",
    "may.csv: line 10: weight = 99 kg at 2026-05-02T10:00:00Z, where another value is stored;",
]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def test_an_apiary_is_loaded_once_shown_and_shown_again_the_same(desk: Desk) -> None:
    fault = desk.run("apiary", "show").fault
    assert "hivewatch.db: no store there yet; hivewatch apiary load FILE makes it" in fault
    desk.write("empty.toml", "# nothing\n")
    assert desk.run("apiary", "load", "empty.toml").fault.startswith("empty.toml: nothing in it;")
    desk.write("apiary.toml", APIARY)
    assert desk.ok("apiary", "load", "apiary.toml").out.splitlines() == [
        "yard hazel-end: new",
        "yard long-meadow: new",
        "hive hazel-1: new",
        "hive meadow-1: new",
        "device scale-1: placed at hazel-1",
        "device scale-2: placed at meadow-1",
    ]
    assert desk.ok("apiary", "load", "apiary.toml").out == "nothing changed\n"
    shown = desk.ok("apiary", "show").out
    assert desk.ok("apiary", "load", "-", stdin=shown).out == "nothing changed\n"
    data = desk.ok("apiary", "show", "--format", "json").data
    assert [one["id"] for one in data["hive"]] == ["hazel-1", "meadow-1"]
    assert data["unplaced"] == []


def test_what_is_wrong_with_an_apiary_file_is_told_all_at_once(desk: Desk) -> None:
    desk.write("bad.toml", APIARY.replace("52.20", "152.0").replace("langstroth-deep", "deep"))
    done = desk.run("apiary", "load", "bad.toml")
    assert done.status == 2
    lines = done.err.splitlines()
    assert len(lines) == 3
    assert all(line.startswith("hivewatch: bad.toml: ") for line in lines)
    assert "latitude = 152.0: out of range" in done.err or "152.0" in done.err
    assert "no store there yet" in desk.run("apiary", "show").fault
    assert "no such file" in desk.run("apiary", "load", "none.toml").fault.lower()
    desk.write("not.toml", "yard: hazel-end\n")
    assert desk.run("apiary", "load", "not.toml").fault.startswith("not.toml: line 1, column")


def test_readings_are_imported_once_and_a_repeat_is_no_error(desk: Desk) -> None:
    desk.write("may.csv", GOOD)
    first = desk.ok("import", "may.csv")
    assert first == (0, "may.csv: 3 lines, 3 readings stored, 0 known already\n", "")
    assert desk.ok("import", "may.csv").out.endswith("0 readings stored, 3 known already\n")
    packed = gzip.compress(GOOD.encode())
    (desk.folder / "may.csv.gz").write_bytes(packed)
    assert "3 known already" in desk.ok("import", "may.csv.gz").out
    assert desk.ok("import", "-", stdin=packed).out.startswith("standard input: 3 lines, 0 ")
    both = desk.ok("import", "may.csv", "may.csv.gz", "--format", "json")
    assert both.err == ""
    assert [one["repeats"] for one in both.data] == [3, 3]
    assert both.data[0]["newest"] == "2026-05-02T10:10:00Z"
    out = desk.ok("export", "-").out
    assert out == (
        "time,device,quantity,value\n"
        "2026-05-02T09:05:00.250Z,scale-1,weight,41.5\n"
        "2026-05-02T10:00:00Z,scale-1,weight,41.25\n"
        "2026-05-02T10:10:00Z,scale-2,nest,34.75\n"
    )


def test_bad_lines_are_named_counted_and_kept_in_quarantine(desk: Desk) -> None:
    desk.write("may.csv", BAD)
    done = desk.ok("import", "may.csv")
    said = done.err.splitlines()
    assert len(said) == len(BAD_SAID)
    for line, start in zip(said, BAD_SAID, strict=True):
        assert line.startswith(start)
    assert done.out == (
        "may.csv: 9 lines, 1 reading stored, 0 known already, 8 in quarantine (1 value, 1 time,"
        " 1 device name, 1 quantity, 1 out of range, 1 clock, 1 line, 1 conflict):"
        " hivewatch quarantine list\n"
    )
    listed = desk.ok("quarantine", "list").out.splitlines()
    assert listed[-1] == "8 in quarantine"
    assert "may.csv: line 7: out of range: weight = '4130'" in listed[4]
    data = desk.ok("quarantine", "list", "--format", "json").data
    assert [one["source"] for one in data] == [f"may.csv: line {n}" for n in range(3, 11)]
    assert data[0]["faults"][0]["reason"] == "value"
    again = desk.ok("import", "may.csv", "--format", "json")
    assert again.data[0]["stored"] == 0
    assert "(2 times)" in desk.ok("quarantine", "list").out


def test_only_the_first_bad_lines_are_named_and_the_rest_counted(desk: Desk) -> None:
    lines = "".join(
        f"2026-05-02T10:{n // 60:02}:{n % 60:02}Z,no name,weight,1\n" for n in range(90)
    )
    done = desk.ok("import", "-", stdin="time,device,quantity,value\n" + lines)
    assert len(done.err.splitlines()) == 21
    assert done.err.splitlines()[-1] == "… and 70 more"
    assert "90 in quarantine (90 device name)" in done.out


def test_what_waits_is_tried_again_and_an_unknown_number_is_told(desk: Desk) -> None:
    desk.write("may.csv", BAD)
    desk.ok("import", "may.csv")
    assert desk.ok("quarantine", "readmit", "1").out == (
        "1 tried, 0 readings stored, 1 still in quarantine\n"
    )
    assert desk.run("quarantine", "readmit", "4711").fault == (
        "quarantine: 4711: nothing waits under this number;"
        " hivewatch quarantine list gives the numbers"
    )
    assert "must be a whole number" in desk.run("quarantine", "readmit", "one").fault


def test_a_line_of_a_wrong_clock_is_admitted_with_its_time_moved(desk: Desk) -> None:
    desk.write("far.csv", "time,device,quantity,value\n2226-05-02T10:00:00Z,scale-1,weight,41.5\n")
    desk.ok("import", "far.csv")
    leap_days = 48  # Gregorian calendar: every fourth year, but not 2100 and 2200
    shift = str(-(200 * 365 + leap_days) * 86_400)
    assert desk.run("quarantine", "readmit", f"--shift={shift}").fault == (
        f"--shift: {shift}: each clock is wrong in its own way;"
        " give the numbers of one device's; hivewatch quarantine list shows them"
    )
    for far in (10**14, -(10**14)):
        assert "must be " in desk.run("quarantine", "readmit", "1", f"--shift={far}").fault
    assert desk.ok("quarantine", "readmit", "1", "--shift=5000000000").out == (
        "1 tried, 0 readings stored, 1 still in quarantine\n"
    )
    assert desk.ok("quarantine", "readmit", "1", f"--shift={shift}").out == (
        "1 tried, 1 reading stored, 0 still in quarantine\n"
    )
    assert desk.ok("export", "-").out.splitlines()[1:] == [
        "2026-05-02T10:00:00Z,scale-1,weight,41.5"
    ]


def test_a_wide_table_with_decimal_commas_is_read_as_it_is_written(desk: Desk) -> None:
    wide = "time;device;weight;nest\n2026-05-03T10:00:00Z;scale-1;41,25;34,5\n"
    wide += "2026-05-03T10:05:00Z;scale-1;;34,75\n"
    desk.write("wide.csv", wide)
    assert desk.ok("import", "wide.csv", "--decimal", "comma").out == (
        "wide.csv: 2 lines, 3 readings stored, 0 known already\n"
    )
    assert "2026-05-03T10:00:00Z,scale-1,weight,41.25\n" in desk.ok("export", "-").out
    assert "'dot' is not one of" in desk.run("import", "wide.csv", "--decimal", "dot").fault


def test_late_readings_count_as_received_now(desk: Desk) -> None:
    desk.write("apiary.toml", APIARY)
    desk.ok("apiary", "load", "apiary.toml")
    as_of = ("--as-of", "2026-05-02T12:00:00Z", "--hive", "hazel-1", "--format", "json")
    line = "2026-05-02T10:00:00Z,scale-{},weight,41\n"
    head = "time,device,quantity,value\n"
    desk.ok("import", "-", "--late", stdin=head + line.format(1))
    (before,) = desk.ok("findings", *as_of).data
    assert (before["kind"], before["end"]) == ("silent", None)
    desk.ok("import", "-", stdin=head + line.format(2))
    as_of = ("--as-of", "2026-05-02T12:00:00Z", "--hive", "meadow-1", "--format", "json")
    (after,) = desk.ok("findings", *as_of).data
    assert (after["kind"], after["end"]) == ("silent", "2026-05-02T10:00:00Z")


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("", "standard input: line 1: has no heading; begin it with time,device,quantity,value"),
        ("\x1b[2J\r", "line 1: \\u001b[2J: no column 'time'"),
        ("hello\n", "standard input: line 1: hello: no column 'time'"),
        ("time,device,wieght\n", "line 1: wieght: no such quantity; did you mean weight?"),
        ("time,device,nest,nest\n", "line 1: nest: stands there twice; keep one"),
        (gzip.compress(GOOD.encode(), mtime=0)[:40], "standard input: cannot be unpacked"),
    ],
)
def test_a_table_that_is_none_is_refused_in_a_line(desk: Desk, text, fault: str) -> None:
    assert fault in desk.run("import", "-", stdin=text).fault


def test_nothing_is_imported_when_one_of_the_files_is_not_there(desk: Desk) -> None:
    desk.write("may.csv", GOOD)
    assert desk.run("import", "may.csv", "june.csv").fault == (
        "june.csv: no such file; check the name; nothing was imported"
    )
    assert not (desk.folder / "hivewatch.db").exists()  # nor is a store made of a wrong name
    assert desk.run("import", ".").fault == (
        ".: holds no export; hivewatch export FOLDER --what everything writes one"
    )


def test_a_bar_is_shown_on_a_terminal_alone(desk: Desk) -> None:
    lines = "".join(
        f"2026-05-{2 + n // 1440:02}T{n // 60 % 24:02}:{n % 60:02}:00Z,scale-1,weight,{n}e-4\n"
        for n in range(9000)
    )
    desk.write("may.csv", "time,device,quantity,value\n" + lines)
    assert desk.ok("import", "may.csv").err == ""
    ours, theirs = pty.openpty()
    child = desk.start("import", "may.csv", stdout=subprocess.PIPE, stderr=theirs)
    os.close(theirs)
    shown = b""
    while True:
        try:
            piece = os.read(ours, 65536)
        except OSError:
            break
        if not piece:
            break
        shown += piece
    out, _ = child.communicate()
    os.close(ours)
    assert child.returncode == 0
    assert b"%" in shown
    assert out == b"may.csv: 9000 lines, 0 readings stored, 9000 known already\n"


def test_inspections_are_loaded_once_and_faults_are_told(desk: Desk) -> None:
    desk.write("apiary.toml", APIARY)
    desk.ok("apiary", "load", "apiary.toml")
    seen = '[{"hive": "hazel-1", "at": "2026-05-02T14:10:00+01:00", "by": "keeper"}]'
    desk.write("seen.json", seen)
    assert desk.ok("inspections", "load", "seen.json").out == "1 new, 0 known already\n"
    assert desk.ok("inspections", "load", "-", stdin=seen).out == "0 new, 1 known already\n"
    desk.write("wrong.json", f"[{seen[1:-1]}, {seen.replace('hazel-1', 'hazel-9')[1:-1]}]")
    assert desk.run("inspections", "load", "wrong.json").fault == (
        "wrong.json: no. 2: inspection of hazel-9 at 2026-05-02T13:10:00Z: hazel-9: no such hive;"
        " nothing of the file is stored yet; did you mean hazel-1?"
    )
    fault = desk.run("import", "seen.json").fault
    assert fault == "seen.json: looks like inspections; hivewatch inspections load takes them"
    desk.write("note.json", seen.replace("}", ', "key": "a", "note": "calm"}'))
    told = desk.run("import", "note.json").err
    assert "line 1: id: missing; hivewatch inspections load takes those without" in told
    fault = desk.run("inspections", "load", "-", stdin="[{").fault
    assert fault.startswith("standard input: line 1, column 3: not JSON")
    assert "not UTF-8" in desk.run("inspections", "load", "-", stdin=b"[\xff]").fault
    assert "cannot be read" in desk.run("inspections", "load", "none.json").fault
