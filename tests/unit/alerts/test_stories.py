"""What a phone hears, told as stories on a fake clock."""

from __future__ import annotations


def test_a_toppled_hive_rings_at_once(day):
    day.at("13:05").find("toppled")
    day.phone.heard("13:05", "Hive millrace-1 at Mill race: toppled", "defensive")
    day.at("23:00").phone.heard_nothing_more(1)


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
    day.phone.heard("06:30", "Late news:", "not fresh news")


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


def test_when_a_message_loses_its_first_the_others_ring(day):
    (first,) = day.at("10:00").find("silent", "scale-1", start=10800)
    (second,) = day.at("10:01").find("silent", "scale-2", start=10800)
    day.at("10:02").becomes(first, status="withdrawn")
    day.at("12:00").phone.heard_nothing_more(1)
    day.phone.heard("10:10", "scale-2")
    assert "scale-1" not in day.phone.rang[0][1].body
    day.is_(second, "sent", "sent")


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


def test_a_day_of_two_hundred_devices_is_a_few_messages(day):
    for n in range(200):
        day.find("silent", f"scale-{n}", start=10800)
        if n % 10 == 0:
            day.wait(60)
    day.at("20:00")
    assert len(day.phone.rang) <= 2
    assert sum(int(letter.title.split()[0]) for _, letter in day.phone.rang) == 200


def test_what_comes_back_long_after_it_was_dropped_is_old_news(day):
    (one,) = day.at("10:00").find("swarm", end=0)
    (two,) = day.find("swarm", "millrace-2", end=0, confidence=0.4)
    day.is_(two, "dropped", "unsure")
    day.wait(20 * 86400)
    day.becomes(two, confidence=0.9)
    day.is_(two, "dropped", "old news")
    day.is_(one, "sent", "sent")


def test_an_alert_knows_its_hive_whether_the_hive_or_its_yard_was_looked_at(day):
    (one,) = day.at("13:05").find("robbing", "millrace-2")  # as a look at the yard finds it
    assert day.story(one).alert.hive == "millrace-2"
