"""What people answer to alerts, and what happens while a message is under way."""

from __future__ import annotations

import pytest
from alert_story import Phone

from hivewatch.alerts import answers
from hivewatch.errors import UsageError


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


def test_a_snoozed_first_leaves_the_others_their_message_and_speaks_for_itself_later(day):
    day.at("10:00").find("robbing", "millrace-1")
    second, third = day.at("10:01").find("robbing", "millrace-2", "millrace-3")
    day.is_(second, "held", "rang just now")
    day.is_(third, "folded", "folded")
    day.snooze(second, 10740)
    day.at("20:00").phone.heard_nothing_more(3)
    day.phone.heard("10:30", "Hive millrace-3 at Mill race: being robbed")
    day.phone.heard("13:00", "Hive millrace-2 at Mill race: being robbed")


def test_without_a_channel_for_days_an_alert_is_on_the_pages_only(day):
    day.kill()
    day.channels = []
    day.start()
    (one,) = day.at("10:00").find("toppled")
    day.wait(4 * 86400)
    day.is_(one, "failed", "no channel")


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
