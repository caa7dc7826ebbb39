"""Every kind has a line; every no has a name."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product
from typing import get_args

import pytest

from hivewatch.alerts import rules
from hivewatch.alerts.phrases import PHRASES
from hivewatch.alerts.rules import RULES, Reason, Verdict, due, judge, span
from hivewatch.alerts.words import Case, write
from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.store.schema import alert, decision

# The kinds that the product tells of, as its documented list of findings has them.
KINDS = [
    "nectar_flow",
    "dearth",
    "brood_onset",
    "brood_end",
    "swarm",
    "swarm_risk",
    "robbing",
    "queen_trouble",
    "low_stores",
    "dead_out",
    "toppled",
    "taken",
    "handling",
    "orientation_flight",
    "forager_loss",
    "chilled_brood",
    "overheating",
    "silent",
    "stuck",
    "clock",
    "low_battery",
    "scale_drift",
]
YARD = Yard("millrace", "Mill race", 52.2, 0.12, "Europe/London")
NOW_S = 1_779_364_800  # 2026-05-21T12:00:00Z


def a_finding(kind: str = "toppled", **values: object) -> Finding:
    one = Finding(kind, "hive:millrace-1", NOW_S - 60, None, NOW_S, 0.97, id="f1")
    return replace(one, **values)


@pytest.mark.parametrize(
    ("kind", "told_after_h", "is_late"),
    [
        ("swarm", 2, False),
        ("swarm", 4, True),  # it hangs near for hours only
        ("robbing", 4, True),
        ("low_stores", 4, False),  # judged by days: told after breakfast what dawn weighed
        ("low_stores", 30, True),
        ("swarm_risk", 10, False),  # written down in the evening
    ],
)
def test_what_is_judged_by_days_is_no_late_news_after_hours(kind, told_after_h, is_late):
    assert judge(a_finding(kind), NOW_S + told_after_h * 3600).is_late is is_late


def test_every_kind_has_a_rule_and_words_and_no_other():
    assert set(RULES) == set(KINDS)
    assert set(PHRASES) == set(KINDS)


def test_a_kind_without_a_rule_is_told_rather_than_not():
    verdict = judge(a_finding("meteor_strike"), NOW_S)
    assert verdict.rings
    assert verdict.urgency == "today"
    assert "meteor strike" in write([Case(a_finding("meteor_strike"))], YARD).title


def test_every_urgency_and_reason_fits_its_column():
    assert max(map(len, get_args(rules.Urgency))) <= alert.c.urgency.type.length
    assert max(map(len, get_args(Reason))) <= decision.c.reason.type.length
    assert alert.c.reason.type.length == decision.c.reason.type.length


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_in_every_state_gets_a_verdict_and_a_message(kind):
    for status, end_s, confidence in product(
        ("open", "ended", "explained", "withdrawn"), (None, NOW_S - 5), (0.2, 0.97)
    ):
        one = a_finding(kind, status=status, end_s=end_s, confidence=confidence)
        verdict = judge(one, NOW_S)
        assert verdict.reason in get_args(Reason)
        assert verdict.why
        if status in {"explained", "withdrawn"} or confidence < 0.5:
            assert not verdict.rings
        text = write([Case(one, "millrace-1")], YARD)
        assert "millrace-1" in text.title
        assert "Mill race" in text.title
        assert "\n" not in text.title
        assert "{" not in text.body
        many = write([Case(one), Case(replace(one, subject="hive:millrace-2"))], YARD)
        assert many.title.startswith("2 ")
        assert "Mill race" in many.title


def test_only_what_cannot_wait_is_an_emergency():
    assert {kind for kind in KINDS if RULES[kind].urgency == "emergency"} == {"toppled", "taken"}


@pytest.mark.parametrize("kind", KINDS)
def test_work_at_a_hive_comes_with_its_cautions(kind):
    # The usual cautions are common practice, no source: stings wherever a hive is opened.
    words = PHRASES[kind]
    opens_a_hive = re.search(
        r"look for|open it|feed it|make the space|give room|split", words.do, re.IGNORECASE
    )
    if opens_a_hive:
        assert re.search(r"veil|suit|sting", words.mind + words.take, re.IGNORECASE), words


def test_the_message_says_what_where_when_how_sure_and_what_to_do():
    one = a_finding(start_s=NOW_S - 1800, evidence=("weight fell by 41 kg",))
    body = write([Case(one)], YARD).body
    # 12:00 UTC on 21 May is 13:00 in London (British Summer Time).
    for part in ("Thu 21 May 2026, 12:30 BST", "Almost certain (97%)", "weight fell by 41 kg"):
        assert part in body
    for part in ("Do: ", "Take: ", "Mind: "):
        assert f"\n{part}" in body


def test_a_device_nobody_has_placed_is_told_in_utc_without_a_yard():
    text = write([Case(a_finding("silent", subject="device:scale-9"))], None)
    assert text.title == "Device scale-9: silent"
    assert "UTC" in text.body


def test_a_yard_s_finding_has_the_yard_s_name():
    text = write([Case(a_finding("nectar_flow", subject="yard:millrace"))], YARD)
    assert text.title == "Mill race: nectar comes in"
    assert "at Mill race." in text.body


def test_a_long_list_is_cut_and_counted():
    cases = [Case(a_finding("silent", subject=f"device:scale-{n}")) for n in range(20)]
    text = write(cases, YARD, 500)
    assert text.title == "500 devices silent at Mill race"
    assert "and 480 more" in text.body


def test_nothing_is_due_before_now_and_an_emergency_at_once():
    for kind, urgency in product(KINDS, get_args(rules.Urgency)):
        when = due(
            kind, Verdict(urgency, "it matters", ""), NOW_S, quiet=None, timezone="Europe/London"
        )
        assert when.at_s >= NOW_S
        if urgency == "emergency":
            assert when.at_s == NOW_S


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(5, "moments"), (60, "1 minute"), (5400, "2 hours"), (86400, "1 day"), (900_000, "10 days")],
)
def test_spans_are_said_in_one_unit(seconds, said):
    assert span(seconds) == said
