"""Everything out of one store and into another, by command, in every form."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pyarrow.parquet
import pytest
from commands import APIARY, Desk

from hivewatch.cli.records import What, Written
from hivewatch.export.forms import WRITE
from hivewatch.store.columns import KINDS

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
    for form in WRITE:
        made.ok("export", f"all-{form}", "--what", "everything", "--format", form)
    return made


def test_every_kind_and_form_can_be_named() -> None:
    assert [*What] == ["everything", *KINDS]
    assert [*Written] == [*WRITE]


@pytest.mark.parametrize("form", WRITE)
def test_a_folder_taken_in_is_the_same_store(desk: Desk, tmp_path: Path, form: str) -> None:
    other = Desk(tmp_path)
    there = desk.folder / f"all-{form}"
    done = other.ok("import", there).out.splitlines()
    assert done[0] == f"yards.{form}: 2 records, 2 new, 0 known already"
    assert f"inspections.{form}: 3 records, 3 new, 0 known already" in done
    assert f"quarantine.{form}: 1 record, 1 new, 0 known already" in done
    other.ok("export", "again", "--what", "everything", "--format", form)
    for file in there.iterdir():
        assert (tmp_path / "again" / file.name).read_bytes() == file.read_bytes(), file.name
    again = other.ok("import", there).out
    assert f"inspections.{form}: 3 records, 0 new, 3 known already" in again
    assert "2 lines, 0 readings stored, 2 known already" in again


def test_all_forms_say_the_same(desk: Desk) -> None:
    """Read by the standard library and by pyarrow, and not by us."""
    text = desk.ok("export", "-", "--what", "inspections").out.splitlines()
    assert text[0].startswith("id,version,recorded,withdrawn,changed_by,why,hive,at,by,brood,")
    said = desk.ok("export", "-", "--what", "inspections", "--format", "json").data
    rows = pyarrow.parquet.read_table(desk.folder / "all-parquet" / "inspections.parquet")
    assert [one["adults"] for one in said] == rows["adults"].to_pylist()
    assert [one["at"] for one in said] == [
        f"{one:%Y-%m-%dT%H:%M:%SZ}" for one in rows["at"].to_pylist()
    ]
    packed = (desk.folder / "all-json" / "readings.json.gz").read_bytes()
    assert json.loads(gzip.decompress(packed))[0] == {
        "time": "2026-05-02T00:00:00Z",
        "device": "scale-1",
        "quantity": "weight",
        "value": 40.5,
        "received": "2026-05-04T00:00:00Z",
    }


def test_each_kind_is_told_by_hive_yard_and_time(desk: Desk) -> None:
    as_json = ("--format", "json")
    of_hive = ("--what", "inspections", "--hive", "hazel-1")
    versions = desk.ok("export", "-", *of_hive, *as_json).data
    assert [(one["version"], one["adults"]) for one in versions] == [(1, 9000), (2, 9500)]
    assert versions[1]["why"] == "counted again"
    late = ("--since", "2026-05-03T00:00:00Z")
    (one,) = desk.ok("export", "-", "--what", "inspections", *late, *as_json).data
    assert one["hive"] == "meadow-1"
    of_yard = ("--yard", "hazel-end", *as_json)
    (hive,) = desk.ok("export", "-", "--what", "hives", *of_yard).data
    assert hive["id"] == "hazel-1"
    (device,) = desk.ok("export", "-", "--what", "devices", *of_yard).data
    assert device["device"] == "scale-1"
    lines = desk.ok("export", "-", "--what", "readings", "--hive", "hazel-1").out.splitlines()
    assert lines == READINGS.splitlines()[:2]


def test_a_form_goes_by_the_name_or_by_the_option(desk: Desk) -> None:
    desk.ok("export", "f.json", "--what", "yards")
    assert json.loads((desk.folder / "f.json").read_text())[0]["id"] == "hazel-end"
    desk.ok("export", "yards.txt", "--what", "yards", "--format", "csv")
    assert (desk.folder / "yards.txt").read_text().startswith("id,name,latitude,")
    desk.ok("export", "f.csv.gz", "--what", "findings")
    assert gzip.decompress((desk.folder / "f.csv.gz").read_bytes()).startswith(b"id,kind,subject,")


def test_a_misuse_is_told_in_a_line(desk: Desk) -> None:
    (desk.folder / "empty").mkdir(exist_ok=True)
    for words, fault in {
        ("export", "all-csv", "--what", "everything"): "all-csv: exists already; name a new",
        ("export", "-", "--what", "everything"): "everything is several files",
        ("export", "x.txt", "--what", "findings"): "x.txt: not a form we write; end it with .csv,",
        ("export", "x.csv", "--format", "json"): "x.csv: ends with .csv, and --format says json;",
        ("export", "y", "--what", "everything", "--hive", "z"): "--hive: z: no such hive",
        ("export", "-", "--what", "alerts", "--quantity", "nest"): "nest: alerts have none; leave",
        ("import", "empty"): "empty: holds no export",
        ("import", "hivewatch.toml"): "hivewatch.toml: not a table; hivewatch apiary load reads",
    }.items():
        desk.write("hivewatch.toml", '[store]\npath = "hivewatch.db"\n')
        assert fault in desk.run(*words).fault
    assert not (desk.folder / "y").exists()
    assert not (desk.folder / "y.part").exists()


HEADING = "id,name,latitude,longitude,timezone\n"
GOOD = 'mill,"Mill, the old",52.2,0.1,Europe/London\n'


@pytest.mark.parametrize(
    ("name", "text", "fault"),
    [
        (
            "a.csv",
            HEADING.replace("name", "nmae"),
            "line 1: nmae: no such column of yards; did you",
        ),
        (
            "a.csv",
            HEADING.replace("name,", ""),
            "line 1: no column 'name', which yards have; yards",
        ),
        ("a.csv", HEADING.replace("name", "id"), "line 1: id: stands there twice; keep one"),
        ("a.json", '[\n{"id": 1,\n', "a.json: line 2: no object by itself; write [, an object a"),
        ("a.json", "[\n[1]\n]\n", "a.json: line 2: no object by itself"),
        (
            "a.json",
            '[\n{"time": "x", "device": "y", "vaule": 1}\n]',
            "vaule: no such quantity; did",
        ),
        ("a.json", "[\n", "a.json: ends with line 1, before its array does; fetch it again"),
        ("a.parquet", "PAR1 and no end", "a.parquet: cannot be read as Parquet; fetch it again"),
        ("a.parquet", "", "a.parquet: cannot be read as Parquet; fetch it again"),
    ],
)
def test_a_file_that_is_none_is_told_in_a_line(
    tmp_path: Path, name: str, text: str, fault: str
) -> None:
    desk = Desk(tmp_path)
    desk.write(name, text)
    assert fault in desk.run("import", name).fault


def test_half_a_file_is_told_in_a_line(desk: Desk, tmp_path: Path) -> None:
    other = Desk(tmp_path)
    for form in ("parquet", "json.gz", "csv.gz"):
        raw = (
            desk.folder / f"all-{form[:7].removesuffix('.gz')}" / f"readings.{form}"
        ).read_bytes()
        (tmp_path / f"half.{form}").write_bytes(raw[: len(raw) // 2])
        assert other.run("import", f"half.{form}").fault.endswith("; fetch it again")
    text = (desk.folder / "all-json" / "yards.json").read_text()
    other.write("half.json", text[: text.rindex("]")])
    done = other.run("import", "half.json")
    assert done.err.endswith(
        "half.json: ends with line 3, before its array does;"
        " fetch it again; what is whole was taken in\n"
    )
    assert 'id = "hazel-end"' in other.ok("apiary", "show").out


def test_a_record_that_is_refused_is_named_and_the_others_are_taken_in(tmp_path: Path) -> None:
    desk = Desk(tmp_path)
    bad = GOOD.replace("mill", "weir").replace("52.2", "152.2")
    odd = GOOD.replace("mill", "croft").replace("0.1", "east")
    desk.write("yards.csv", HEADING + bad + GOOD + odd + "heath\n")
    done = desk.run("import", "yards.csv")
    assert done.status == 2
    assert done.out == "yards.csv: 4 records, 1 new, 0 known already, 3 not taken in\n"
    *named, last = done.err.splitlines()
    assert named == [
        "yards.csv: line 2: latitude: out of range; use degrees from -90 (south) to 90 (north)",
        'yards.csv: line 4: longitude = "east": not a number',
        "yards.csv: line 5: 1 cells where the heading has 5; correct it there",
    ]
    assert last.startswith("hivewatch: import: 3 records not taken in, as told above; all else was")
    desk.write("yards.csv", HEADING + GOOD.replace("52.2", "52.3"))
    assert desk.run("import", "yards.csv").err.splitlines()[0] == (
        "yards.csv: line 2: yard mill: latitude = 52.3: the store has another latitude, 52.2;"
        " hivewatch apiary load changes it; or import into a new store"
    )


@pytest.mark.parametrize("form", WRITE)
def test_a_record_of_a_hive_that_is_not_there_is_named(
    desk: Desk, tmp_path: Path, form: str
) -> None:
    other = Desk(tmp_path)
    done = other.run(
        "import", desk.folder / f"all-{form}" / f"inspections.{form}", "--format", "json"
    )
    assert done.status == 2
    (told,) = json.loads(done.out)
    assert (told["records"], told["new"], told["refused"]) == (3, 0, 3)
    said = done.err.splitlines()
    assert len(said) == 4
    assert said[0].startswith(f"inspections.{form}: line ")
    assert said[0].endswith(": no such hive; import the hives first, or hivewatch apiary load")


def test_what_is_not_utf8_and_what_is_no_export_is_named(desk: Desk, tmp_path: Path) -> None:
    other = Desk(tmp_path)
    (tmp_path / "in").mkdir()
    text = HEADING + GOOD + GOOD.replace("mill", "croft").replace("old", "bäche")
    (tmp_path / "in" / "yards.csv").write_bytes(text.encode("latin-1"))
    (tmp_path / "in" / "notes.txt").write_text("remember the smoker")
    said = other.run("import", "in").err.splitlines()
    assert said[:2] == [
        "notes.txt: left out: no file of an export",
        "yards.csv: line 3: not UTF-8 text; correct it there",
    ]
    piped = (desk.folder / "all-json" / "yards.json").read_bytes()
    assert other.ok("import", "-", stdin=piped).out == (
        "standard input: 2 records, 2 new, 0 known already\n"
    )
    parquet = (desk.folder / "all-parquet" / "yards.parquet").read_bytes()
    fault = "standard input: Parquet cannot be read from a pipe; name the file"
    assert fault in other.run("import", "-", stdin=parquet).fault
