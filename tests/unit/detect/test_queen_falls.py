"""Falls of a nest's warmth: late in summer, unwatched, and as a probe off the centre shows them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from nests import DAY_S, MadeUpNest

from hivewatch.detect import queen
from hivewatch.signals.window import Series

ALL = ("nest", "ambient", "weight", "bees-in", "bees-out")


def find(nest, limits, quantities=ALL):
    return queen.find(nest.window(quantities), (), limits)


def late_summer(stops=None, first="2026-07-10", days=100):
    """A nest that is warm for as long as there is brood: three weeks from the day laying stops."""
    nest = MadeUpNest(first=first, days=days, air_cel=13)
    if stops is not None:
        left = np.clip((21 - (np.arange(days) - stops)) / 3, 0, 1)
        nest.brood = np.where(np.arange(days) < stops, 1.0, left)
    return nest


def test_brood_that_goes_within_days_in_late_summer_had_no_queen(limits):
    nest = late_summer(stops=45, first="2026-07-10", days=100)  # on 24 August
    (one,) = find(nest, limits)
    assert 18 <= (one.detected_s - nest.at(45)) / DAY_S <= 24
    assert one.confidence < 0.85
    dip = late_summer(first="2026-07-10", days=100)
    dip.add(dip.at(60, 12), dip.at(63, 6), -4, hours=12)  # as in Montreal, for three days
    assert find(dip, limits) == []
    october = late_summer(stops=75, first="2026-07-10", days=120)  # its brood goes in mid-October
    assert find(october, limits) == []


def test_when_swarms_are_past_an_unwatched_hive_has_lost_its_queen(limits):
    nest = late_summer(stops=34, first="2026-07-01", days=70)  # on 4 August
    (one,) = find(nest, limits, quantities=["nest", "ambient"])
    assert (one.detected_s - nest.at(34)) / DAY_S <= 24


def test_a_nest_that_grows_to_the_probe_has_not_fallen(limits):
    nest = MadeUpNest(first="2026-03-20", days=60, air_cel=9, share=0.75)
    window = nest.window(ALL)
    assert queen.find(window, (), limits) == []
    nearer = MadeUpNest(first="2026-03-20", days=60, air_cel=9, share=0.94)
    at = np.searchsorted(window.of("nest").time_s, nest.at(40))
    value = np.append(window.of("nest").value[:at], nearer.window(ALL).of("nest").value[at:])
    grown = {**window.series, "nest": Series(window.of("nest").time_s, value)}
    assert queen.find(replace(window, series=grown), (), limits) == []
