"""What the commands print: findings, exports, a comb count; and what they say of a misuse."""

from __future__ import annotations

import csv
import gzip
import json
import subprocess
from datetime import UTC, datetime, timedelta
from importlib.metadata import version
from pathlib import Path

import pyarrow.parquet
import pytest
from commands import APIARY, Desk

from hivewatch.clock import WallClock

HEAD = "time,device,quantity,value\n"
KINDS = {"silent", "low_battery"}


def season(device: str, days: int, volts: float) -> str:
    """Write some days of a device at 5 min, its battery at a voltage, and then silence."""
    start_s = round(datetime(2026, 5, 1, tzinfo=UTC).timestamp())
    lines = []
    for step in range(days * 288):
        at = datetime.fromtimestamp(start_s + 300 * step, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        lines.append(f"{at},{device},weight,{40 + step / 8192}\n")
        lines.append(f"{at},{device},battery,{volts}\n")
    return "".join(lines)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    """Give a store with two hives: one whose device fell silent, one whose battery runs low."""
    made = Desk(tmp_path_factory.mktemp("desk"))
    made.write("apiary.toml", APIARY)
    made.ok("apiary", "load", "apiary.toml")
    made.ok("import", "-", stdin=HEAD + season("scale-1", 2, 3.9) + season("scale-2", 4, 3.2))
    made.ok("import", "-", stdin=HEAD + "2026-05-02T00:00:00Z,scale-9,nest,34.5\n")
    return made


def told(desk: Desk, *words: str) -> list[tuple[str, str]]:
    found = desk.ok("findings", *words, "--format", "json").data
    return [(one["kind"], one["subject"]) for one in found]


def test_each_filter_of_findings_leaves_what_it_says(desk: Desk) -> None:
    silent_1, silent_2 = ("silent", "device:scale-1"), ("silent", "device:scale-2")
    low_2 = ("low_battery", "device:scale-2")
    assert set(told(desk)) == {silent_1, silent_2, low_2}
    assert told(desk, "--hive", "hazel-1") == [silent_1]
    assert set(told(desk, "--yard", "long-meadow")) == {silent_2, low_2}
    assert told(desk, "--kind", "low_battery") == [low_2]
    assert told(desk, "--kind", "swarm") == []
    assert set(told(desk, "--until", "2026-05-03T12:00:00Z")) == {silent_1, low_2}
    assert silent_1 in told(desk, "--since", "2026-05-20T00:00:00+02:00")
    as_of = ("--as-of", "2026-05-03T12:00:00Z")
    assert set(told(desk, *as_of)) == {silent_1, low_2}
    assert told(desk, "--as-of", "2026-05-02T12:00:00Z", "--hive", "hazel-1") == []


def test_a_finding_is_told_in_the_form_of_the_contract_and_in_words(desk: Desk) -> None:
    words = ("findings", "--hive", "hazel-1", "--as-of", "2026-05-04T00:00:00Z")
    (one,) = desk.ok(*words, "--format", "json").data
    assert set(one) == {
        *("id", "kind", "subject", "start", "end", "detected_at", "confidence", "status"),
        *("measures", "evidence", "explained_by"),
    }
    assert (one["start"], one["end"], one["status"]) == ("2026-05-02T23:55:00Z", None, "open")
    lines = desk.ok(*words).out.splitlines()
    assert lines[0].startswith("2026-05-03 00:55  device scale-1: silent, open, ")
    assert lines[1].startswith("    ")
    assert desk.ok("findings", "--kind", "swarm").out == "nothing found\n"


def test_names_that_there_are_not_are_told_with_the_nearest(desk: Desk) -> None:
    for words, fault in {
        ("findings", "--hive", "hazle-1"): "--hive: hazle-1: no such hive; did you mean hazel-1?",
        ("findings", "--yard", "x"): "--yard: x: no such yard; use one of hazel-end, long-meadow",
        ("findings", "--kind", "swam"): "--kind: swam: no such kind; did you mean swarm?",
        ("export", "-", "--hive", "x"): "--hive: x: no such hive; use one of hazel-1, meadow-1",
        ("export", "-", "--quantity", "wieght"): (
            "--quantity: wieght: no such quantity; did you mean weight?"
        ),
        ("findings", "--since", "2026-05-01"): (
            '--since: 2026-05-01: a day without a time; write it as "2026-05-01T00:00:00Z"'
        ),
        ("export", "-", "--until", "now"): (
            "--until: now: not a date and time; write it as 2026-05-01T12:00:00Z, or with an offset"
        ),
        ("findings", "--since", "2026-05-02T00:00:00Z", "--until", "2026-05-01T00:00:00Z"): (
            "--until: 2026-05-01T00:00:00Z: not later than --since 2026-05-02T00:00:00Z; "
            "exchange the two"
        ),
        ("findings", "--as-of", "0001-01-01T00:00:00+10:00"): (
            "--as-of: 0001-01-01T00:00:00+10:00: out of range; use a year from 1970 to 2199"
        ),
    }.items():
        assert desk.run(*words).fault == fault


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (["frobnicate"], "No such command 'frobnicate'; see hivewatch --help"),
        (["findings", "--hvie", "x"], "No such option: --hvie"),
        (["findings", "--format", "yaml"], "'yaml' is not one of 'text', 'json'"),
        (["import"], "Missing argument"),
        (["comb", "--eggs", "-3"], "must be greater than or equal to 0"),
        (["comb", "--eggs", "many"], "must be a number; see hivewatch comb --help"),
        (["comb", "--eggs", "0.4"], "--eggs: 0.4: not a whole number of cells; for frame sides"),
        (
            ["comb", "--sides", "--eggs", "1"],
            "--sides: the kind of frame is not said; give --frame with",
        ),
        (["comb", "--sides", "--frame", "dadnt", "--eggs", "1"], "no such frame; did you mean dad"),
        (
            ["comb", "--sides", "--frame", "dadant", "--eggs", "3900"],
            "--eggs: 3900: more sides than brood can cover; for cells leave --sides out",
        ),
        (["comb", "--frame", "dadant", "--eggs", "3900"], "--frame: dadant: says nothing of cells"),
        (["comb", "may.json", "--eggs", "3900"], "--eggs: given beside a file; leave it out, or"),
        (["comb", "may.json", "--frame", "dadant"], "may.json: cannot be read"),
        (["comb"], "comb count: nothing was counted; give at least one of"),
        (["export", "may.txt"], "may.txt: not a form we write; end it with .csv, .csv.gz, .json"),
        (["findings", "--config", "none.toml"], "none.toml: no such file; give --config the"),
    ],
)
def test_a_misuse_is_one_line_and_status_2(desk: Desk, words: list[str], fault: str) -> None:
    assert fault in desk.run(*words).fault


def test_a_comb_count_needs_no_store(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    count = ("comb", "--eggs", "3900", "--open", "7600", "--capped", "15100")
    data = desk.ok(*count, "--format", "json").data
    assert len(data["emerging"]) == 21
    assert "eggs a day" in desk.ok(*count).out
    assert list(tmp_path.iterdir()) == []


def test_sides_of_comb_are_read_as_cells(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    frame = ("--frame", "langstroth-deep", "--format", "json")
    sides = ("--eggs", "1", "--open", "2", "--capped", "4.5", "--drone-capped", "0.5")
    typed = desk.ok("comb", "--sides", *sides, *frame).data
    assert typed["counted"]["eggs"] == 3484
    assert typed["counted"]["drone_capped"] == 1102
    assert "pollination" in typed["counted"]["source"]
    (tmp_path / "may.json").write_text(
        '[{"frame": 3, "side": "a", "eggs": 0.5, "open": 0.5, "capped": 0},'
        ' {"frame": 3, "side": "b", "eggs": 0.5, "open": 0.4},'
        ' {"frame": 4, "side": "a", "open": 1, "bees": 1}, {"frame": 4, "side": "b"}]'
    )
    counted = desk.ok("comb", "may.json", *frame).data["counted"]
    assert (counted["eggs"], counted["open"], counted["capped"]) == (3484, 6620, 0)
    for text, fault in {
        '[{"frame": 3, "side": "a", "eggs": 1.5}]': "frames[1].eggs = 1.5: out of range; use a sh",
        '[{"frame": 3, "side": "c"}]': "frames[1].side",
        '{"frmes": []}': "frmes: no such key; did you mean frames?",
        "[]": "may.json: no frames in it",
        "7": "may.json: not an array; put the sides in [brackets]",
        "[": "may.json: line 1, column 2: not JSON",
    }.items():
        (tmp_path / "may.json").write_text(text)
        assert fault in desk.run("comb", "may.json", *frame).fault


def rows(text: str) -> list[list[str]]:
    return list(csv.reader(text.splitlines()))[1:]


def test_an_export_holds_what_was_asked_for(desk: Desk) -> None:
    everything = rows(desk.ok("export", "-").out)
    assert len(everything) == 6 * 288 * 2 + 1
    assert {row[1] for row in everything} == {"scale-1", "scale-2", "scale-9"}
    of_hive = rows(desk.ok("export", "-", "--hive", "hazel-1").out)
    assert {row[1] for row in of_hive} == {"scale-1"}
    assert len(of_hive) == 2 * 288 * 2
    words = ("--yard", "hazel-end", "--yard", "long-meadow", "--quantity", "weight")
    span = ("--since", "2026-05-02T00:00:00Z", "--until", "2026-05-02T01:00:00Z")
    some = rows(desk.ok("export", "-", *words, *span).out)
    assert len(some) == 2 * 12
    assert {row[2] for row in some} == {"weight"}
    assert min(row[0] for row in some) == "2026-05-02T00:00:00Z"
    assert max(row[0] for row in some) == "2026-05-02T00:55:00Z"


def test_what_is_exported_is_imported_again_the_same(desk: Desk, tmp_path: Path) -> None:
    there, other = desk.folder / "all.csv.gz", Desk(tmp_path)
    assert desk.ok("export", there).out == f"{there}: 3457 readings\n"
    done = other.ok("import", there)
    assert done.out == "all.csv.gz: 3457 lines, 3457 readings stored, 0 known already\n"
    assert other.ok("export", "-").out == gzip.decompress(there.read_bytes()).decode()
    assert desk.run("export", there).fault == f"{there}: exists already; name a new file"
    assert "cannot be written (No such file" in desk.run("export", "nowhere/x.csv").fault
    assert not list(desk.folder.glob("*.part"))


def test_parquet_holds_the_same_readings(desk: Desk) -> None:
    desk.ok("export", "all.parquet")
    table = pyarrow.parquet.read_table(desk.folder / "all.parquet")
    assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
    got = [
        [one["time"].strftime("%Y-%m-%dT%H:%M:%SZ"), one["device"], one["quantity"], one["value"]]
        for one in table.to_pylist()
    ]
    expected = [[*row[:3], float(row[3])] for row in rows(desk.ok("export", "-").out)]
    assert got == expected


def test_parquet_without_its_library_is_told_in_a_line(desk: Desk, tmp_path: Path) -> None:
    # A module of that name that cannot be loaded stands before the real one.
    (tmp_path / "pyarrow.py").write_text("raise ImportError\n")
    child = subprocess.run(
        [desk.program, "export", "none.parquet"],
        cwd=desk.folder,
        env=desk.environ | {"PYTHONPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert child.returncode == 2
    assert child.stderr == (
        "hivewatch: export: Parquet needs pyarrow, which is not installed;"
        " pip install 'hivewatch[parquet]', or write .csv.gz\n"
    )


def test_each_finding_can_be_had_as_a_picture_of_what_it_rests_on(desk: Desk) -> None:
    told = desk.ok("findings", "--pictures", "seen", "--format", "json").data
    pictures = sorted(path.name for path in (desk.folder / "seen").iterdir())
    assert len(pictures) == len(told) == 3
    for one in told:
        subject = one["subject"].replace(":", "-")
        assert any(f"-{one['kind']}-{subject}-{one['id']}.png" in name for name in pictures)
    assert (desk.folder / "seen" / pictures[0]).read_bytes().startswith(b"\x89PNG")
    desk.write("not-a-folder", "")
    fault = "--pictures: not-a-folder: cannot be written (File exists); name another folder"
    assert desk.run("findings", "--pictures", "not-a-folder").fault == fault


@pytest.mark.parametrize("words", [["export", "-"], ["findings", "--format", "json"]])
def test_a_reader_that_has_seen_enough_gets_no_complaint(desk: Desk, words: list[str]) -> None:
    child = desk.start(*words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    child.stdout.read(10)
    child.stdout.close()
    said = child.stderr.read()
    child.stderr.close()
    assert child.wait(60) in {0, 1}
    assert said == b""


def test_help_names_every_command(desk: Desk) -> None:
    text = desk.ok("--help").out
    for name in ("demo", "run", "check", "apiary", "import", "export", "inspections"):
        assert name in text
    for name in ("quarantine", "findings", "comb", "backup", "restore"):
        assert name in text


def test_the_round_sends_to_the_silent_device_and_the_outlook_asks_for_a_count(desk: Desk) -> None:
    as_of = ("--as-of", "2026-05-04T12:00:00Z")
    text = desk.ok("round", *as_of).out
    assert text.startswith("1. Hazel End (hazel-end): today\n")
    assert "scale-1: silent since Sunday 3 May, 00:55" in text
    assert "veil and gloves" in text
    assert isinstance(desk.ok("round", *as_of, "--format", "json").data, dict | list)
    assert desk.run("outlook", "hazle-1").fault == (
        "hive: hazle-1: no such hive; did you mean hazel-1?"
    )
    assert "write down an inspection" in desk.run("outlook", "hazel-1", *as_of).fault


def test_the_outlook_of_a_count_of_yesterday_reaches_three_weeks_ahead(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    desk.ok("apiary", "load", "-", stdin=APIARY)
    at = (datetime.fromtimestamp(WallClock().now_s(), UTC) - timedelta(days=1)).isoformat()
    brood = {"eggs": 3900, "open": 7600, "capped": 15100}
    seen = [{"hive": "meadow-1", "at": at, "brood": brood, "adults": 20000}]
    desk.ok("inspections", "load", "-", stdin=json.dumps(seen))
    data = desk.ok("outlook", "meadow-1", "--format", "json").data
    assert {"hive", "as_of", "laying", "brood", "adults", "foragers", "emerging"} <= set(data)
    assert data["adults"][-1]["day"] == 21
    assert all(one["low"] <= one["median"] <= one["high"] for one in data["adults"])
    assert desk.ok("outlook", "meadow-1").out


def test_the_version_is_said(desk: Desk) -> None:
    assert desk.ok("--version").out == f"hivewatch {version('hivewatch')}\n"
