"""The calendar as a phone subscribes to it (RFC 5545; section numbers below are of it)."""

from __future__ import annotations

import stat
from datetime import date, timedelta
from threading import Event

import icalendar
import pytest
from served import DAY_S, NOW_S, served

from hivewatch.api.calendar import KEY_FILE
from hivewatch.detect.finding import Finding


@pytest.fixture
def here(tmp_path):
    with served(tmp_path) as one:
        one.load_apiary()
        one.write_down(hive="hazel-1", at="2026-05-10T09:00:00Z", queen="virgin", adults=9000)
        yield one


def link(here):
    return here.http.get("/api/v1/calendar").json()["path"]


def fetch(here, **headers):
    here.app.state.rooms.kept.clear()  # what was made a moment ago is shown again for a while
    answer = here.http.get(link(here), headers=headers)
    assert answer.status_code == 200
    return answer


def events(answer):
    parsed = icalendar.Calendar.from_ical(answer.content)
    return {str(one["uid"]): one for one in parsed.walk("VEVENT")}


def test_the_secret_link_is_needed(here, tmp_path):
    assert here.http.get("/api/v1/calendar.ics").status_code == 404  # before there is any key
    assert not (tmp_path / KEY_FILE).exists()
    path = link(here)
    assert here.http.get(path).status_code == 200
    for wrong in ("", "?key=", "?key=x", f"?key={path[-32:-1]}", "?key=%C3%A9"):
        answer = here.http.get(f"/api/v1/calendar.ics{wrong}")
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"


def test_the_key_is_long_and_only_its_owner_reads_it(here, tmp_path):
    key = link(here).partition("key=")[2]
    assert len(key) >= 32  # 24 random bytes
    assert (tmp_path / KEY_FILE).read_text() == key
    assert stat.S_IMODE((tmp_path / KEY_FILE).stat().st_mode) == 0o600
    assert link(here).endswith(key)


def test_a_key_taken_away_makes_the_link_void(here, tmp_path):
    old = link(here)
    (tmp_path / KEY_FILE).unlink()
    assert here.http.get(old).status_code == 404
    assert link(here) != old
    assert here.http.get(old).status_code == 404


def test_it_is_an_icalendar_object(here):
    answer = fetch(here)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    lines = answer.content.split(b"\r\n")
    assert lines[-1] == b""  # 3.1: every line ends with CRLF
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)  # 3.1: folded at 75 octets
    assert b"VERSION:2.0" in lines  # 3.7.4
    assert b"METHOD:PUBLISH" in lines  # 3.7.2
    assert any(line.startswith(b"PRODID:") for line in lines)  # 3.7.3, required
    for one in events(answer).values():
        for required in ("uid", "dtstamp", "dtstart"):  # 3.6.1
            assert one[required] is not None
        assert one.decoded("dtstamp").utcoffset() == timedelta(0)  # 3.8.7.2: in UTC
        assert one.decoded("dtend") > one.decoded("dtstart")  # 3.8.2.2
        assert one["dtstart"].params["value"] == "DATE"  # whole days, in no zone
        assert 0 <= int(one["sequence"]) < 2**31  # 3.8.7.4, 3.3.8
        assert str(one["transp"]) == "TRANSPARENT"  # 3.8.2.7: blocks no time


def test_a_virgin_queen_of_the_tenth_is_looked_for_in_time(here):
    """Queen calendar: no opening from ten days before to ten days after she was seen; then eggs."""
    told = {str(one["summary"]): one for one in events(fetch(here)).values()}
    closed = told["hazel-1: do not open"]
    assert closed.decoded("dtend") == date(2026, 5, 10) + timedelta(days=10 + 1)  # not included
    look = told["hazel-1: look for eggs"]
    assert look.decoded("dtstart") == date(2026, 5, 10) + timedelta(days=11)
    assert told["hazel-1: count brood and bees"].decoded("dtstart") == date(2026, 5, 24)
    assert str(look["location"]) == "Hazel End"


def test_eggs_cancel_what_was_still_to_come(here):
    before = events(fetch(here))
    here.clock.at_s = NOW_S + 8 * DAY_S
    here.write_down(hive="hazel-1", at="2026-05-18T09:00:00Z", queen="eggs seen", adults=9500)
    after = events(fetch(here))
    assert set(before) <= set(after)
    struck = {str(one["summary"]) for one in after.values() if one["status"] == "CANCELLED"}
    assert "Cancelled: hazel-1: look for eggs" in struck
    for uid, one in before.items():
        changed = one.to_ical() != after[uid].to_ical()
        assert changed == (int(after[uid]["sequence"]) > int(one["sequence"]))
        assert changed == (after[uid].decoded("last-modified") > one.decoded("last-modified"))
    moved = after["look-hazel-1@hivewatch"].decoded("dtstart")
    assert moved - before["look-hazel-1@hivewatch"].decoded("dtstart") == timedelta(days=8)


def test_what_has_not_changed_is_not_sent_again(here):
    first = fetch(here)
    here.clock.at_s += 3600
    again = fetch(here)
    assert again.content == first.content
    same = here.http.get(link(here), headers={"if-none-match": first.headers["etag"]})
    assert (same.status_code, same.content) == (304, b"")
    here.write_down(hive="hazel-2", at="2026-05-11T09:00:00Z", adults=9000)
    here.app.state.rooms.kept.clear()
    new = here.http.get(link(here), headers={"if-none-match": first.headers["etag"]})
    assert new.status_code == 200
    assert new.headers["etag"] != first.headers["etag"]


def test_text_that_means_something_to_a_calendar_is_written_as_text(here):
    """3.3.11: commas, semicolons and backslashes are escaped."""
    text = events(fetch(here))["do-not-open-" + uid_of(here)].to_ical()
    assert b"\\," in text or b"\\;" in text


def uid_of(here):
    return next(
        uid.removeprefix("do-not-open-")
        for uid in events(fetch(here))
        if uid.startswith("do-not-open-")
    )


def edit(here, method, **body):
    """Correct or withdraw the one inspection there is, half a minute after it was written down."""
    here.clock.at_s += 30
    (one,) = here.http.get("/api/v1/inspections", params={"withdrawn": True}).json()["items"]
    given = {"json": {"hive": "hazel-1", "at": "2026-05-10T09:00:00Z", **body}}
    answer = here.http.request(
        method,
        f"/api/v1/inspections/{one['id']}",
        headers={"if-match": "*"},
        **(given if method == "PUT" else {}),
    )
    assert answer.status_code == 200, answer.text


def test_a_correction_moves_what_rests_on_it_and_a_phone_follows(here):
    """SEQUENCE rises with each change, RFC 5545 section 3.8.7.4; the UID stays."""
    first = events(fetch(here))
    edit(here, "PUT", at="2026-05-07T09:00:00Z", queen="virgin", adults=9000)
    second = events(fetch(here))
    edit(here, "PUT", at="2026-05-08T09:00:00Z", queen="virgin", adults=9000)
    third = events(fetch(here))
    assert set(first) == set(second) == set(third)
    for uid, one in first.items():
        assert second[uid].decoded("dtstart") - one.decoded("dtstart") == timedelta(days=-3)
        assert third[uid].decoded("dtstart") - one.decoded("dtstart") == timedelta(days=-2)
        numbers = [int(told[uid]["sequence"]) for told in (first, second, third)]
        assert numbers == sorted(set(numbers))
    assert events(fetch(here)) == third


def test_a_withdrawal_cancels_what_rested_on_it_until_it_stands_again(here):
    """STATUS:CANCELLED, RFC 5545 section 3.8.1.11."""
    before = events(fetch(here))
    edit(here, "DELETE")
    gone = events(fetch(here))
    assert set(gone) == set(before)
    assert {str(one["status"]) for one in gone.values()} == {"CANCELLED"}
    edit(here, "PUT", queen="virgin", adults=9000)
    back = events(fetch(here))
    for uid, one in before.items():
        assert str(back[uid]["status"]) == str(one["status"])
        numbers = [int(told[uid]["sequence"]) for told in (before, gone, back)]
        assert numbers[0] < numbers[1] < numbers[2]


def tell_swarm(here, status="ended"):
    swarm = Finding(
        "swarm", "hive:hazel-2", NOW_S - 7200, NOW_S - 6000, NOW_S - 6000, 0.97, status=status
    )
    here.tell(swarm, hive="hazel-2")


def of_swarm(answer):
    told = events(answer).values()
    return {str(one["uid"]): one for one in told if "hazel-2" in str(one["summary"])}


def test_a_swarm_that_was_none_is_struck_out_and_stays_so(here, tmp_path):
    tell_swarm(here)
    before = of_swarm(fetch(here))
    assert len(before) > 3
    here.clock.at_s += 3600
    tell_swarm(here, "withdrawn")
    after = of_swarm(fetch(here))
    assert before.keys() == after.keys()
    for uid, one in after.items():
        assert str(one["status"]) == "CANCELLED"
        assert int(one["sequence"]) > int(before[uid]["sequence"])
        assert one.decoded("dtstart") == before[uid].decoded("dtstart")
    here.clock.at_s += DAY_S
    assert of_swarm(fetch(here)) == after  # the same whenever it is asked for
    here.store.close()
    with served(tmp_path) as again:  # and after a restart
        again.clock.at_s = here.clock.at_s
        assert of_swarm(fetch(again)) == after
        again.clock.at_s += 120 * DAY_S
        assert of_swarm(fetch(again)) == {}


def test_a_super_stays_due_until_it_is_on_and_is_then_struck_out(here, monkeypatch):
    told = {"as_of": "2026-05-11T09:00:00Z", "hive": "hazel-1"}
    room = {"super_by": "2026-05-16", "crowded_on": "2026-05-19"}
    ahead = {"hazel-1": told | {"room": room}}
    monkeypatch.setattr(here.outlooks, "all", lambda: ahead)
    uid = "super-hazel-1@hivewatch"
    due = events(fetch(here))[uid]
    assert due.decoded("dtstart") == date(2026, 5, 16)
    ahead.clear()  # as after a restart
    assert events(fetch(here))[uid] == due
    here.clock.at_s += 3600
    ahead["hazel-1"] = told | {"room": room | {"super_by": "2026-05-18"}}
    moved = events(fetch(here))[uid]
    assert moved.decoded("dtstart") == date(2026, 5, 18)
    here.clock.at_s += 3600
    here.write_down(
        hive="hazel-1", at="2026-05-11T10:30:00Z", actions=[{"what": "super added", "kg": 6.0}]
    )
    struck = events(fetch(here))[uid]
    assert str(struck["status"]) == "CANCELLED"
    numbers = [int(one["sequence"]) for one in (due, moved, struck)]
    assert numbers == sorted(set(numbers))


def test_a_super_is_due_though_no_page_asked_for_an_outlook(here):
    here.write_down(
        hive="hazel-2",
        at="2026-05-10T09:00:00Z",
        brood={"eggs": 9000, "open": 18000, "capped": 36000},
        adults=60000,
    )
    assert "super-hazel-2@hivewatch" not in events(fetch(here))
    here.outlooks.look_round(Event(), lambda: None)
    due = events(fetch(here))["super-hazel-2@hivewatch"]
    ahead = here.http.get("/api/v1/hives/hazel-2/outlook").json()
    assert due.decoded("dtstart").isoformat() == ahead["room"]["super_by"]
