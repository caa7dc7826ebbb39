"""Yards, hives and the stays of devices, edited one by one: the same records as the file's."""

from __future__ import annotations

import pytest

from hivewatch.apiary import write_apiary
from hivewatch.store import apiary, stale

YARD = {
    "name": "Long acre",
    "latitude": 52.3,
    "longitude": -0.1,
    "timezone": "Europe/London",
}
HIVE = {"yard": "hazel-end", "frame": "langstroth-deep", "frames": 10, "boxes": 2}


def put(here, path, body, tag=None):
    headers = {} if tag is None else {"if-match": tag}
    return here.http.put(f"/api/v1/{path}/record", json=body, headers=headers)


def get(here, path):
    return here.http.get(f"/api/v1/{path}/record")


def known(here):
    with here.store.read() as connection:
        return apiary.read(connection)


def marked(here):
    with here.store.write() as connection:
        marks = stale.read(connection)
        stale.clear(connection, marks)
    return {one.subject for one in marks}


def test_a_yard_a_hive_and_a_device_are_made_as_a_file_would_make_them(fresh):
    assert put(fresh, "yards/long-acre", YARD).status_code == 201
    hive = HIVE | {"yard": "long-acre", "empty_kg": 20.5, "since": "2026-04-01T02:00:00+02:00"}
    assert put(fresh, "hives/acre-1", hive).status_code == 201
    stays = {"stays": [{"hive": "acre-1", "since": "2026-04-02T00:00:00Z"}]}
    marked(fresh)
    assert put(fresh, "devices/scale-9", stays).status_code == 201
    assert marked(fresh) == {"hive:acre-1"}
    text = write_apiary(known(fresh))
    for line in (
        '[[yard]]\nid = "long-acre"\nname = "Long acre"\nlatitude = 52.3\n',
        '[[hive]]\nid = "acre-1"\nyard = "long-acre"\nframe = "langstroth-deep"\n',
        'empty_kg = 20.5\nsince = "2026-04-01T00:00:00Z"\n',
        '[[device]]\nid = "scale-9"\nhive = "acre-1"\nsince = "2026-04-02T00:00:00Z"\n',
    ):
        assert line in text
    assert get(fresh, "hives/acre-1").json() == hive | {"since": "2026-04-01T00:00:00Z"}


@pytest.mark.parametrize(
    ("path", "change"),
    [
        ("yards/hazel-end", {"name": "Hazel end, by the brook"}),
        ("hives/hazel-1", {"boxes": 2, "empty_kg": None}),
        ("devices/scale-1", {"stays": [{"since": "2026-05-02T00:00:00Z", "hive": "hazel-2"}]}),
    ],
)
def test_a_change_names_the_record_that_was_seen(fresh, path, change):
    seen = get(fresh, path)
    tag, body = seen.headers["etag"], seen.json() | change
    assert not tag.startswith("W/")
    assert put(fresh, path, body).status_code == 428
    assert put(fresh, path, body, '"other"').status_code == 412
    done = put(fresh, path, body, f'"other", {tag}')
    assert done.status_code == 200
    assert done.json() == get(fresh, path).json() == body
    assert done.headers["etag"] == get(fresh, path).headers["etag"] != tag
    assert "hive:hazel-1" in marked(fresh)
    assert put(fresh, path, body, tag).status_code == 200  # the answer to the first was lost
    assert marked(fresh) == set()
    assert put(fresh, path, seen.json(), tag).status_code == 412
    assert put(fresh, path, seen.json(), "*").status_code == 200


def test_a_tag_stays_while_the_hive_gains(fresh):
    before = get(fresh, "hives/hazel-1").headers["etag"]
    fresh.send(b'[{"n": "weight", "u": "kg", "v": 30}]')
    assert get(fresh, "hives/hazel-1").headers["etag"] == before
    again = fresh.http.get("/api/v1/hives/hazel-1/record", headers={"if-none-match": before})
    assert again.status_code == 304


def test_a_device_is_put_away_and_its_past_is_kept(fresh):
    tag = get(fresh, "devices/scale-1").headers["etag"]
    stays = [
        {"since": "2026-05-04T00:00:00Z", "hive": None},
        {"since": "2026-05-01T00:00:00Z", "hive": "hazel-1"},
    ]
    done = put(fresh, "devices/scale-1", {"stays": stays}, tag)
    assert done.json()["stays"] == stays[::-1]
    (unplaced,) = fresh.http.get("/api/v1/devices?unplaced=true").json()["items"]
    assert unplaced["id"] == "scale-1"


@pytest.mark.parametrize(
    ("path", "body", "where"),
    [
        ("yards/long-acre", YARD | {"timezone": "Europe/Londn"}, "did you mean Europe/London"),
        ("yards/long-acre", YARD | {"name": "\t"}, "body.name"),
        ("hives/acre-1", HIVE | {"yard": "nowhere"}, 'no yard "nowhere"'),
        ("hives/acre-1", HIVE | {"frame": "langstroth-dep"}, "did you mean langstroth-deep"),
        ("hives/acre-1", HIVE | {"since": "2300-01-01T00:00:00Z"}, "body.since: out of range"),
        (
            "devices/s",
            {"stays": [{"since": "2026-05-01T00:00:00Z", "hive": "none"}]},
            'body.stays.0.hive: no hive "none"',
        ),
        ("devices/s", {"stays": [{"since": "2026-05-01T00:00:00Z"}] * 2}, "at the same time"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(fresh, path, body, where):
    before = known(fresh)
    answer = put(fresh, path, body)
    assert answer.status_code == 409
    assert where in answer.json()["detail"]
    assert known(fresh) == before


def test_what_is_not_there_and_what_does_not_fit(fresh):
    for path in ("yards/none", "hives/none", "devices/none"):
        assert get(fresh, path).status_code == 404
    assert put(fresh, "yards/new", YARD, "*").status_code == 412
    assert put(fresh, "yards/new", YARD | {"latitude": 91}).status_code == 422
    assert put(fresh, "yards/new", YARD | {"colour": "red"}).status_code == 422
    assert put(fresh, "devices/s", {"stays": []}).status_code == 422
