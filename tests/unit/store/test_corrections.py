"""Inspections corrected and withdrawn: nothing is lost, and a replay sees what was known then."""

from __future__ import annotations

import json

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import create_engine, text

from hivewatch.apiary import read_apiary
from hivewatch.errors import SeveralErrors, UsageError
from hivewatch.inspections import Change, read_inspections, read_told
from hivewatch.store import apiary, inspections, stale
from hivewatch.store.open import MIGRATIONS, Store

T0_S = 1_777_593_600  # 2026-05-01T00:00:00Z
DAY_S = 86_400
NOW_S = T0_S + 10 * DAY_S
APIARY = """
[[yard]]
id = "hazel-end"
name = "Hazel End"
latitude = 52.2
longitude = 0.12
timezone = "Europe/London"
"""
HIVE = """
[[hive]]
id = "hazel-{n}"
yard = "hazel-end"
frame = "langstroth-deep"
frames = 10
boxes = 1
since = "2026-04-20T00:00:00Z"
"""
VISIT = {"hive": "hazel-1", "at": "2026-05-05T14:00:00Z", "key": "k"}


@pytest.fixture
def connection(tmp_path):
    store = Store(tmp_path / "hivewatch.db")
    given = APIARY + "".join(HIVE.format(n=n) for n in (1, 2))
    with store.write() as one:
        apiary.load(one, read_apiary(given, "apiary.toml"))
        stale.clear(one, stale.read(one))
        yield one
    store.close()


def told(**fields):
    (one,) = read_told(json.dumps([VISIT | fields]), "visits.json")
    return one


def tell(connection, now_s=NOW_S, **fields):
    return inspections.tell(connection, told(**fields), T0_S + 5 * DAY_S, now_s)


def notes(connection, **asked):
    return [one.inspection.note for one in inspections.read(connection, **asked)]


def test_a_file_corrects_and_withdraws_and_twice_changes_nothing(connection):
    for entry, became in (
        ({"note": "calm"}, "new"),
        ({"note": "calm"}, "known"),
        ({"note": "calm, I think"}, "corrected"),
        ({"note": "calm, I think"}, "known"),
        ({"note": "calm"}, "known"),  # the first file once more takes no correction back
        ({"note": "calm, I think", "withdrawn": True}, "withdrawn"),
        ({"note": "calm, I think", "withdrawn": True}, "known"),
        ({"note": "calm"}, "known"),
    ):
        assert tell(connection, **entry) == became
    assert notes(connection) == []
    (kept,) = inspections.read(connection, withdrawn=True)
    assert (kept.version, kept.withdrawn) == (3, True)
    said = [
        (one.inspection.note, one.withdrawn) for one in inspections.versions(connection, kept.id)
    ]
    assert said == [("calm", False), ("calm, I think", False), ("calm, I think", True)]
    assert tell(connection, note="it was so after all") == "corrected"
    assert notes(connection) == ["it was so after all"]


def test_a_replay_sees_the_version_known_by_then(connection):
    tell(connection, note="first")
    tell(
        connection,
        T0_S + 6 * DAY_S,
        note="second",
        changed_by="Ada",
        why="the wrong hive",
        hive="hazel-2",
    )
    tell(connection, T0_S + 8 * DAY_S, note="second", withdrawn=True)
    for days, hive, seen in (
        (4, None, []),
        (5, None, ["first"]),
        (5, "hazel-2", []),
        (6, None, ["second"]),
        (6, "hazel-1", []),
        (6, "hazel-2", ["second"]),
        (7.9, None, ["second"]),
        (8, None, []),
    ):
        by_s = int(T0_S + days * DAY_S)
        assert notes(connection, hive=hive, recorded_by_s=by_s) == seen, (days, hive)
    second = inspections.versions(connection, inspections.read(connection, withdrawn=True)[0].id)[1]
    assert (second.by, second.why) == ("Ada", "the wrong hive")
    assert {one.subject for one in stale.read(connection)} == {"hive:hazel-1", "hive:hazel-2"}


def test_the_id_names_it_as_well_as_the_key(connection):
    tell(connection, key=None, note="no key")
    (kept,) = inspections.read(connection)
    assert tell(connection, key=None, id=kept.id, note="no key") == "known"
    assert tell(connection, key=None, id=kept.id, note="with id") == "corrected"
    assert notes(connection) == ["with id"]
    assert tell(connection, key="other", id="ab-1", note="from elsewhere") == "new"
    assert inspections.by_id(connection, "ab-1").inspection.note == "from elsewhere"


def test_a_correction_never_counts_as_older_than_what_it_corrects(connection):
    tell(connection, note="first")
    (kept,) = inspections.read(connection)
    told_again = read_inspections(json.dumps([VISIT | {"note": "second"}]), "v.json")[0]
    inspections.correct(connection, kept, told_again, kept.at_s + 60, Change())
    first, second = inspections.versions(connection, kept.id)
    assert second.recorded_s >= first.recorded_s


@pytest.mark.parametrize(
    ("fields", "reason"),
    [
        ({"at": "2026-05-11T00:00:01Z"}, "is still to come"),
        ({"at": "2026-04-19T23:59:59Z"}, "lies before the hive began"),
        ({"hive": "hazel-9"}, "no such hive"),
    ],
)
def test_what_cannot_have_been_is_refused_new_or_corrected(connection, fields, reason):
    with pytest.raises(UsageError, match=reason):
        inspections.tell(connection, told(**fields), NOW_S, NOW_S)
    tell(connection)
    (kept,) = inspections.read(connection)
    with pytest.raises(UsageError, match=reason):
        inspections.correct(connection, kept, told(**fields).inspection, NOW_S, Change())
    assert len(inspections.versions(connection, kept.id)) == 1


def test_one_file_says_one_thing_of_one_id():
    entries = [VISIT | {"id": "a", "key": "x"}, VISIT | {"id": "a", "key": "x", "note": "other"}]
    with pytest.raises(SeveralErrors, match="another inspection has this id"):
        read_told(json.dumps(entries), "visits.json")


def test_a_store_of_before_keeps_what_it_has(tmp_path):
    path = tmp_path / "old.db"
    engine = create_engine(f"sqlite:///{path}")
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    with engine.begin() as old:
        config.attributes["connection"] = old
        command.upgrade(config, "0001")
        old.execute(text("INSERT INTO yard VALUES ('y', 'Y', 50, 1, 'UTC')"))
        old.execute(text("INSERT INTO hive VALUES ('h', 'y', 'langstroth-deep', 10, 1, NULL)"))
        body = '{"at":"2026-05-05T14:00:00Z","hive":"h","note":"old"}'
        row = {"id": "a1", "key": "k", "hive": "h", "at_s": T0_S, "body": body, "when": T0_S + 9}
        old.execute(
            text("INSERT INTO inspection VALUES (:id, :key, :hive, :at_s, NULL, :body, :when)"), row
        )
    engine.dispose()
    store = Store(path)
    with store.read() as one:
        (kept,) = inspections.read(one)
        assert (kept.inspection.note, kept.version, kept.withdrawn) == ("old", 1, False)
        assert notes(one, recorded_by_s=T0_S + 9) == ["old"]
        assert notes(one, recorded_by_s=T0_S + 8) == []
        assert apiary.read(one).hives[0].since is None
    store.close()
