"""Channels that are away, refuse, are removed; deaths, poison and clocks that jump."""

from __future__ import annotations

from alert_story import Phone
from sqlalchemy.exc import OperationalError

from hivewatch.alerts import ledger


def test_a_swarm_found_before_a_death_rings_once_after_the_start(day):
    day.at("13:05").kill()
    day.start()
    day.phone.is_away = True
    day.find("swarm", end=0)
    day.at("13:06").kill()
    day.phone.is_away = False
    day.at("13:07").start()
    day.phone.heard("13:07", "millrace-1", "A swarm has left")
    day.at("20:00").phone.heard_nothing_more(1)


def test_a_death_before_the_send_rings_once(day):
    day.phone.dies = "before"
    day.at("13:05").find("toppled")
    day.at("13:07").start()
    day.phone.heard("13:07", "toppled")
    day.at("20:00").phone.heard_nothing_more(1)


def test_a_death_between_send_and_record_rings_twice_with_one_id(day):
    day.phone.dies = "after"
    (one,) = day.at("13:05").find("toppled")
    day.at("13:07").start()
    day.at("20:00").phone.heard_nothing_more(2)
    first, second = (letter for _, letter in day.phone.rang)
    assert (first.key, first.title, first.body) == (second.key, second.title, second.body)
    whats = [(one.what, one.reason) for one in day.story(one).decisions]
    assert whats == [("queued", "it matters"), ("queued", "interrupted"), ("sent", "sent")]


def test_a_phone_that_is_away_hears_once_when_it_is_back(day):
    day.phone.is_away = True
    (one,) = day.at("10:00").find("toppled")
    day.at("14:00")
    day.phone.is_away = False
    day.at("20:00").phone.heard_nothing_more(1)
    (delivery,) = day.story(one).deliveries
    assert delivery.state == "sent"
    assert 10 <= delivery.attempts <= 40


def test_a_phone_that_is_away_for_more_than_three_days_is_given_up(day):
    day.phone.is_away = True
    (one,) = day.at("10:00").find("toppled")
    day.wait(71 * 3600)
    day.is_(one, "waiting", "it matters")
    day.wait(2 * 3600)
    day.is_(one, "failed", "given up")
    day.phone.is_away = False
    day.at("20:00").phone.heard_nothing_more(0)


def test_a_message_that_breaks_the_sender_is_set_aside_and_holds_up_no_other(day):
    day.phone.answers = [ValueError("poison")] * 3
    (bad,) = day.at("10:00").find("toppled", "millrace-1")
    day.at("10:30").find("taken", "millrace-2")
    day.phone.heard("10:30", "millrace-2")
    day.at("20:00").phone.heard_nothing_more(1)
    day.is_(bad, "failed", "given up")
    assert "set aside" in {one.reason for one in day.story(bad).decisions}


def test_a_message_over_which_we_die_again_and_again_is_set_aside(day):
    (bad,) = day.at("10:00").find("robbing", "millrace-1", start=1)
    day.at("11:00").phone.heard_nothing_more(1)
    day.phone.dies = "before"
    (bad,) = day.at("12:00").find("toppled", "millrace-2")
    deaths = 1
    while deaths < 20:
        day.wait(60)
        day.phone.dies = "before"
        day.start()
        if not day.is_dead:
            break
        deaths += 1
    assert deaths == 5
    day.is_(bad, "failed", "given up")
    day.phone.dies = None
    day.at("13:00").find("taken", "millrace-3")
    day.phone.heard("13:00", "millrace-3")
    day.kill()
    day.start()
    day.at("20:00").phone.heard_nothing_more(2)


def test_what_waits_for_a_channel_that_was_removed_goes_to_the_others(day):
    day.phone.is_away = True
    (one,) = day.at("10:00").find("toppled")
    day.at("10:30").kill()
    other = Phone(day, "other")
    day.channels = [other]
    day.start()
    other.heard("10:30", "toppled")
    day.is_(one, "sent", "sent")
    assert {(item.channel, item.state) for item in day.story(one).deliveries} == {
        ("phone", "dropped"),
        ("other", "sent"),
    }


def test_without_a_channel_an_alert_waits_for_one(day):
    day.kill()
    day.channels = []
    day.start()
    (one,) = day.at("10:00").find("toppled")
    day.is_(one, "waiting", "no channel")
    day.at("15:00").kill()
    day.channels = [day.phone]
    day.start()
    day.phone.heard("15:00", "toppled")


def test_each_channel_rings_once_and_one_is_enough_to_be_told(day):
    other = Phone(day, "other")
    other.is_away = True
    day.channels.append(other)
    day.kill()
    day.start()
    (one,) = day.at("10:00").find("toppled")
    day.is_(one, "sent", "sent")
    day.at("11:00")
    other.is_away = False
    day.at("20:00").phone.heard_nothing_more(1)
    other.heard_nothing_more(1)


def test_what_one_channel_has_told_is_not_sent_late_by_the_other_once_it_is_withdrawn(day):
    other = Phone(day, "other")
    other.is_away = True
    day.channels.append(other)
    day.kill()
    day.start()
    (one,) = day.at("10:00").find("toppled")
    day.at("11:00").becomes(one, status="withdrawn")
    other.is_away = False
    day.at("20:00")
    other.heard_nothing_more(0)
    day.phone.heard_nothing_more(1)


def test_a_failing_channel_hears_a_new_emergency_at_once(day):
    day.phone.is_away = True
    day.at("10:00").find("robbing", "millrace-1")
    day.at("12:00")
    day.phone.is_away = False
    day.find("toppled", "millrace-2")
    day.phone.heard("12:00", "toppled")


def test_the_pause_doubles_up_to_a_cap_with_some_chance():
    assert [ledger.wait_s(n, 0.5) for n in (1, 2, 3, 6, 7, 50)] == [15, 30, 60, 480, 900, 900]
    assert ledger.wait_s(ledger.LONG_TRIES + 1, 0.5) == 3600
    assert (ledger.wait_s(3, 0.0), ledger.wait_s(3, 1.0)) == (48, 72)


def test_what_cannot_be_recorded_is_kept_and_not_sent_again(day, monkeypatch):
    record, faults = ledger.record, [1, 2, 3]

    def full(*args: object) -> None:
        if faults:
            faults.pop()
            raise OperationalError("UPDATE", {}, Exception("database or disk is full"))
        record(*args)

    monkeypatch.setattr(ledger, "record", full)
    (one,) = day.at("10:00").find("toppled")
    for _ in range(4):
        day.wait(60)
        day.look()
    assert not faults
    day.is_(one, "sent", "sent")
    day.at("20:00").phone.heard_nothing_more(1)


def test_a_clock_that_jumps_ahead_is_no_reason_to_give_up(day):
    day.phone.is_away = True
    (one,) = day.at("10:00").find("toppled")
    day.set_clock(400)
    day.is_(one, "waiting", "it matters")
    day.wait(1800)
    day.phone.is_away = False
    day.wait(3600)
    day.is_(one, "sent", "sent")


def test_a_clock_that_is_set_back_holds_nothing_up_for_years(day):
    day.set_clock(400)
    day.at("09:50").find("toppled", "millrace-9")
    day.phone.is_away = True
    (trying,) = day.at("10:00").find("toppled", "millrace-1")
    (held,) = day.find("silent", "scale-1", start=10800)
    day.set_clock(-400)
    day.phone.is_away = False
    day.wait(7200)
    day.is_(trying, "sent", "sent")
    day.is_(held, "sent", "sent")
    (fresh,) = day.find("toppled", "millrace-2")
    day.is_(fresh, "sent", "sent")
