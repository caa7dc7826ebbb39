"""What a phone hears, told as stories on a fake clock."""

from __future__ import annotations

import pytest
from alert_story import Phone
from sqlalchemy.exc import OperationalError

from hivewatch.alerts import answers, ledger
from hivewatch.errors import UsageError


def test_a_toppled_hive_rings_at_once(day):
    day.at("13:05").find("toppled")
    day.phone.heard("13:05", "Hive millrace-1 at Mill race: toppled", "defensive")
    day.at("23:00").phone.heard_nothing_more(1)


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


def test_a_night_is_quiet_but_for_emergencies(day):
    day.at("23:10").find("robbing")
    day.at("23:20").find("toppled", "millrace-2")
    day.phone.heard("23:20", "millrace-2")
    day.at("06:29").phone.heard_nothing_more(1)
    day.at("06:30").phone.heard("06:30", "robbed")


def test_a_gateway_down_rings_once_and_counts(day):
    found = []
    for n in range(12):
        day.wait(30)
        found += day.find("silent", f"scale-{n}", start=10800)
    day.is_(found[0], "held", "gathered")
    day.is_(found[1], "folded", "folded")
    day.at("12:00").phone.heard_nothing_more(1)
    assert len({day.story(one).alert.sent_s for one in found}) == 1
    assert all(day.story(one).decisions[-1].what == "sent" for one in found)
    title = day.phone.rang[0][1].title
    assert title == "12 devices silent at Mill race"
    assert "scale-0" in day.phone.rang[0][1].body
    assert "scale-11" in day.phone.rang[0][1].body


def test_more_of_a_kind_after_the_message_wait_and_are_counted(day):
    day.at("10:00").find("toppled", "millrace-1")
    day.at("10:02").find("toppled", "millrace-2")
    day.at("10:04").find("toppled", "millrace-3")
    day.at("12:00").phone.heard_nothing_more(2)
    day.phone.heard("10:10", "2 hives toppled at Mill race", "millrace-2", "millrace-3")


def test_a_silence_that_ends_before_it_is_sent_does_not_ring(day):
    (one,) = day.at("10:00").find("silent", "scale-1", start=10800)
    day.at("10:05").becomes(one, end_s=day.now_s(), status="ended")
    day.at("12:00").phone.heard_nothing_more(0)
    day.is_(one, "dropped", "ended")


def test_a_finding_withdrawn_in_the_night_does_not_ring_in_the_morning(day):
    (one,) = day.at("23:00").find("robbing")
    day.is_(one, "held", "quiet hours")
    day.at("02:00").becomes(one, status="withdrawn")
    day.at("08:00").phone.heard_nothing_more(0)
    day.is_(one, "dropped", "withdrawn")


def test_a_finding_that_comes_back_rings_after_all(day):
    (one,) = day.at("23:00").find("robbing")
    day.at("02:00").becomes(one, status="withdrawn")
    day.at("03:00").becomes(one, status="open")
    day.at("08:00").phone.heard_nothing_more(1)
    day.phone.heard("06:30", "robbed")


def test_an_explained_finding_does_not_ring(day):
    (one,) = day.at("10:00").find("silent", "scale-1", start=10800)
    day.becomes(one, status="explained", explained_by="i1")
    day.at("12:00").phone.heard_nothing_more(0)
    day.is_(one, "dropped", "explained")


def test_what_was_told_rings_no_second_time_however_it_changes(day):
    (one,) = day.at("10:00").find("toppled")
    day.at("11:00").becomes(one, confidence=0.99)
    day.at("12:00").becomes(one, status="withdrawn")
    day.at("13:00").becomes(one, status="open")
    day.at("14:00").becomes(one, end_s=day.now_s(), status="ended")
    day.at("20:00").phone.heard_nothing_more(1)
    assert "noted" in {decision.what for decision in day.story(one).decisions}


def test_late_news_of_the_night_waits_for_the_morning(day):
    (one,) = day.at("02:00").find("toppled", start=20 * 3600, end=15 * 3600)
    day.is_(one, "held", "quiet hours")
    day.at("08:00").phone.heard_nothing_more(1)
    day.phone.heard("06:30", "Late news:", "no fresh news")


def test_a_hive_that_still_lies_rings_however_late(day):
    day.at("02:00").find("toppled", start=20 * 3600, settled=20 * 3600)
    day.phone.heard("02:00", "Late news:", "toppled")


def test_news_of_last_month_does_not_ring(day):
    (one,) = day.find("swarm", start=30 * 86400, end=30 * 86400 - 900)
    day.at("20:00").phone.heard_nothing_more(0)
    day.is_(one, "dropped", "old news")
    assert "30 days" in day.story(one).decisions[0].why


def test_an_opened_hive_is_not_for_the_phone(day):
    (one,) = day.find("handling", end=0)
    day.at("20:00").phone.heard_nothing_more(0)
    day.is_(one, "dropped", "not for the phone")


def test_an_unsure_finding_does_not_ring_until_it_is_sure(day):
    (one,) = day.at("10:00").find("taken", confidence=0.4)
    day.is_(one, "dropped", "unsure")
    day.at("10:05").becomes(one, confidence=0.9)
    day.phone.heard("10:05", "gone", "Likely (90%)")


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


def test_an_acknowledged_alert_stays_in(day):
    (one,) = day.at("23:00").find("robbing")
    day.acknowledge(one)
    day.at("08:00").phone.heard_nothing_more(0)
    day.is_(one, "dropped", "acknowledged")
    day.becomes(one, confidence=0.99)
    day.at("20:00").phone.heard_nothing_more(0)


def test_a_snoozed_alert_rings_again_while_it_lasts(day):
    (one,) = day.at("10:00").find("toppled")
    day.snooze(one, 3600)
    day.at("20:00").phone.heard_nothing_more(2)
    day.phone.heard("11:00", "toppled")
    first, second = (letter.key for _, letter in day.phone.rang)
    assert first != second


def test_a_snoozed_alert_that_is_over_rings_no_more(day):
    (one,) = day.at("10:00").find("toppled")
    day.snooze(one, 3600)
    day.at("10:30").becomes(one, end_s=day.now_s(), status="withdrawn")
    day.at("20:00").phone.heard_nothing_more(1)
    day.is_(one, "sent", "withdrawn")


def test_when_a_message_loses_its_first_the_others_ring(day):
    (first,) = day.at("10:00").find("silent", "scale-1", start=10800)
    (second,) = day.at("10:01").find("silent", "scale-2", start=10800)
    day.at("10:02").becomes(first, status="withdrawn")
    day.at("12:00").phone.heard_nothing_more(1)
    day.phone.heard("10:10", "scale-2")
    assert "scale-1" not in day.phone.rang[0][1].body
    day.is_(second, "sent", "sent")


def test_a_snoozed_first_leaves_the_others_their_message_and_speaks_for_itself_later(day):
    day.at("10:00").find("robbing", "millrace-1")
    second, third = day.at("10:01").find("robbing", "millrace-2", "millrace-3")
    day.is_(second, "held", "rang just now")
    day.is_(third, "folded", "folded")
    day.snooze(second, 10740)
    day.at("20:00").phone.heard_nothing_more(3)
    day.phone.heard("10:30", "Hive millrace-3 at Mill race: being robbed")
    day.phone.heard("13:00", "Hive millrace-2 at Mill race: being robbed")


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


def test_without_a_channel_for_days_an_alert_is_on_the_pages_only(day):
    day.kill()
    day.channels = []
    day.start()
    (one,) = day.at("10:00").find("toppled")
    day.wait(4 * 86400)
    day.is_(one, "failed", "no channel")


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


def test_an_emergency_that_is_over_before_it_was_sent_waits_for_the_morning(day):
    day.phone.is_away = True
    (one,) = day.at("23:00").find("toppled")
    day.at("23:30").becomes(one, end_s=day.now_s(), status="ended")
    day.phone.is_away = False
    day.is_(one, "held", "quiet hours")
    day.at("08:00").phone.heard_nothing_more(1)
    day.phone.heard("06:30", "to 23:30 BST")


def test_a_changed_text_is_sent_as_it_is_when_it_goes_out(day):
    (one,) = day.at("23:00").find("robbing", confidence=0.8)
    day.at("01:00").becomes(one, confidence=0.96, evidence=("it got worse",))
    day.at("06:30").phone.heard("06:30", "Almost certain (96%)", "it got worse")


def test_a_failing_channel_hears_a_new_emergency_at_once(day):
    day.phone.is_away = True
    day.at("10:00").find("robbing", "millrace-1")
    day.at("12:00")
    day.phone.is_away = False
    day.find("toppled", "millrace-2")
    day.phone.heard("12:00", "toppled")


def test_a_snooze_holds_the_next_of_the_same_kind_and_subject_only(day):
    (first,) = day.at("10:00").find("robbing", "millrace-1")
    day.becomes(first, end_s=day.now_s(), status="ended")
    day.snooze(first, 6 * 3600)
    (second,) = day.at("12:00").find("robbing", "millrace-1")
    day.is_(second, "held", "snoozed")
    day.find("robbing", "millrace-2")
    day.phone.heard("12:00", "millrace-2")
    day.at("20:00").phone.heard("16:00", "millrace-1")
    day.phone.heard_nothing_more(3)


def test_who_acknowledges_a_message_acknowledges_all_it_told(day):
    found = day.at("10:00").find("silent", "scale-1", "scale-2", start=10800)
    day.at("11:00").acknowledge(found[0])
    assert [day.story(one).alert.acknowledged_by for one in found] == ["keeper", "keeper"]


def test_a_past_snooze_and_an_unknown_alert_are_told(day):
    (one,) = day.at("10:00").find("toppled")
    with pytest.raises(UsageError, match="that time is past"):
        day.snooze(one, -1)
    with day.store.write() as connection:
        assert not answers.acknowledge(connection, 99, "keeper", day.now_s())
        assert not answers.snooze(connection, 99, day.now_s() + 60, "keeper", day.now_s())
    with day.store.read() as connection:
        assert answers.story(connection, 99) is None


def test_alerts_are_read_newest_first_by_pages(day):
    day.at("10:00").find("toppled", *(f"hive-{n}" for n in range(5)))
    day.find("handling")
    with day.store.read() as connection:
        first = answers.read(connection, limit=2)
        second = answers.read(connection, limit=9, after=first[-1].id)
        assert [one.id for one in first + second] == [5, 4, 3, 2, 1]
        assert len(answers.read(connection, for_the_phone=False)) == 6
        assert [one.hive for one in answers.read(connection, hive="hive-3")] == ["hive-3"]
        assert len(answers.read(connection, state="folded")) == 4
        assert len(answers.read(connection, yard="millrace")) == 5


def test_the_pause_doubles_up_to_a_cap_with_some_chance():
    assert [ledger.wait_s(n, 0.5) for n in (1, 2, 3, 6, 7, 50)] == [15, 30, 60, 480, 900, 900]
    assert ledger.wait_s(ledger.LONG_TRIES + 1, 0.5) == 3600
    assert (ledger.wait_s(3, 0.0), ledger.wait_s(3, 1.0)) == (48, 72)


def meanwhile(day, *, is_away):
    """Prepare a toppled hive whose message is under way when something happens."""
    day.phone.is_away = is_away
    day.at("10:00")
    return lambda happens: setattr(day.phone, "meanwhile", lambda: happens(*day.told.values()))


@pytest.mark.parametrize("is_away", [True, False])
def test_withdrawn_while_under_way_is_not_tried_again(day, is_away):
    meanwhile(day, is_away=is_away)(lambda one: day.becomes(one, status="withdrawn"))
    (one,) = day.find("toppled")
    day.phone.is_away = False
    day.at("20:00").phone.heard_nothing_more(0 if is_away else 1)
    day.is_(one, "dropped", "withdrawn") if is_away else day.is_(one, "sent", "sent")


@pytest.mark.parametrize("is_away", [True, False])
def test_acknowledged_while_under_way_is_not_tried_again(day, is_away):
    meanwhile(day, is_away=is_away)(day.acknowledge)
    (one,) = day.find("toppled")
    day.phone.is_away = False
    day.at("20:00").phone.heard_nothing_more(0 if is_away else 1)
    assert day.story(one).alert.acknowledged_by == "keeper"
    day.is_(one, "dropped", "acknowledged") if is_away else day.is_(one, "sent", "sent")


def test_snoozed_while_under_way_waits_after_a_failed_try(day):
    meanwhile(day, is_away=True)(lambda one: day.snooze(one, 3600))
    (one,) = day.find("toppled")
    day.is_(one, "held", "snoozed")
    day.phone.is_away = False
    day.at("20:00").phone.heard_nothing_more(1)
    day.phone.heard("11:00", "toppled")


@pytest.mark.parametrize("is_away", [True, False])
def test_what_joins_a_kind_that_is_under_way_rings_by_itself(day, is_away):
    meanwhile(day, is_away=is_away)(lambda _: day.find("toppled", "millrace-2"))
    day.find("toppled")
    day.phone.is_away = False
    day.at("20:00").phone.heard_nothing_more(2)
    day.phone.heard("10:10", "millrace-2")


def test_withdrawn_while_the_second_channel_is_under_way_is_not_tried_there_again(day):
    other = Phone(day, "other")
    other.is_away = True
    other.meanwhile = lambda: day.becomes(*day.told.values(), status="withdrawn")
    day.channels.append(other)
    day.kill()
    day.start()
    day.at("10:00").find("toppled")
    other.is_away = False
    day.at("20:00").phone.heard_nothing_more(1)
    other.heard_nothing_more(0)


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


def test_a_day_of_two_hundred_devices_is_a_few_messages(day):
    for n in range(200):
        day.find("silent", f"scale-{n}", start=10800)
        if n % 10 == 0:
            day.wait(60)
    day.at("20:00")
    assert len(day.phone.rang) <= 2
    assert sum(int(letter.title.split()[0]) for _, letter in day.phone.rang) == 200


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


def test_what_comes_back_long_after_it_was_dropped_is_old_news(day):
    (one,) = day.at("10:00").find("swarm", end=0)
    (two,) = day.find("swarm", "millrace-2", end=0, confidence=0.4)
    day.is_(two, "dropped", "unsure")
    day.wait(20 * 86400)
    day.becomes(two, confidence=0.9)
    day.is_(two, "dropped", "old news")
    day.is_(one, "sent", "sent")


@pytest.mark.parametrize("which", [0, 1])
def test_one_of_many_that_is_snoozed_rings_again_alone(day, which):
    found = day.at("10:00").find("silent", "scale-1", "scale-2", "scale-3", start=10800)
    day.at("11:00").snooze(found[which], 3600)
    day.at("20:00").phone.heard_nothing_more(2)
    day.phone.heard("10:10", "3 devices silent")
    day.phone.heard("12:00", f"Device scale-{which + 1} (hive scale-{which + 1})")
    assert f"scale-{2 - which}" not in day.phone.rang[1][1].body


def test_a_second_snooze_moves_the_second_ring(day):
    (one,) = day.at("10:00").find("toppled")
    day.at("10:30").snooze(one, 3600)
    day.at("11:00").snooze(one, 3 * 3600)
    day.at("20:00").phone.heard_nothing_more(2)
    day.phone.heard("14:00", "toppled")
