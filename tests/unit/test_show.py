"""How the commands say a finding."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from hivewatch.detect.finding import Finding
from hivewatch.show import finding_text, measure

LONDON = ZoneInfo("Europe/London")
AT_S = 1_779_364_800  # 2026-05-21T12:00:00Z


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("kg_lost", 2.01, "2.01 kg lost"),
        ("kg_error", 0.05, "give or take 0.05 kg"),
        ("bees_left", 14800.0, "14,800 bees left"),
        ("bees_error", 2300.0, "give or take 2,300 bees"),
        ("kg_a_day", 0.48, "0.48 kg a day"),
        ("stores_kg", 3.1, "stores 3.1 kg"),
        ("days_left", 6.5, "6.5 days left"),
        ("told_after_hours", 3.0, "told after 3 h"),
        ("hours", 264.17, "264.17 h"),
        ("lowest_cel", -3.5, "lowest -3.5 °C"),
        ("eggs_by_day", "2026-06-03", "eggs by day 2026-06-03"),
        ("cells", 18, "18 cells"),
    ],
)
def test_a_measure_is_said_with_its_unit(name, value, words):
    assert measure(name, value) == words


def test_a_finding_is_said_in_the_time_of_its_yard():
    one = Finding(
        "swarm", "hive:hazel-1", AT_S, AT_S + 1200, AT_S + 1200, 0.97, {"kg_lost": 2.0}, ("seen",)
    )
    assert finding_text(one, LONDON).splitlines() == [
        "2026-05-21 13:00 to 13:20  hazel-1: swarm, open, 97% sure",
        "    2 kg lost",
        "    seen",
    ]
    lasts = Finding("silent", "device:scale-1", AT_S, None, AT_S, 1.0)
    assert finding_text(lasts, LONDON) == (
        "2026-05-21 13:00  device scale-1: silent, open, 100% sure"
    )
