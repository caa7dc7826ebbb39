"""Supers, what fills them, and stores, on made-up hives whose weight is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from hivewatch.comb.held import NOTHING_HELD, Held, held_of, supers_on
from hivewatch.frames import FRAMES
from hivewatch.inspections import Inspection
from hivewatch.signals.days import days_of

ZONE = ZoneInfo("Europe/London")
DEEP = FRAMES["langstroth-deep"]
GAIN_KG = 0.8


def seen(hive: Any, day: int, *what: str, **told: object) -> Inspection:
    at = np.datetime64(hive.at(day, 12), "s").item().isoformat() + "+00:00"
    done = [{"what": one} for one in what]
    told = {"hive": "hazel-1", "at": at, "actions": done, **told}
    return Inspection.model_validate(told, strict=False)


def hold(hive: Any, noted: Sequence[Inspection], *, weighed: bool = True) -> Held:
    window = hive.window() if weighed else hive.window(quantities=("nest",))
    return held_of(window, noted, DEEP, 10, ZONE, days_of(hive.window()).day[-1])


@pytest.fixture
def hive(made_up_hive: Callable[..., Any]) -> Any:
    return made_up_hive(days=20, flow_kg=GAIN_KG, empty_kg=21.5)


def test_what_came_in_since_a_super_went_on_is_in_it(hive: Any) -> None:
    hive.add(hive.at(8, 12), 6.2)
    held = hold(hive, [seen(hive, 8, "super added")])
    assert held.supers == 1
    assert held.gain_kg == pytest.approx(GAIN_KG, abs=0.1)
    assert held.filled_kg == pytest.approx(11 * GAIN_KG, abs=1.2)
    assert held.is_weighed
    assert held.stores_on is not None


def test_two_supers_share_what_came_and_a_full_one_goes(hive: Any) -> None:
    two = [seen(hive, 2, "super added"), seen(hive, 8, "super added")]
    held = hold(hive, two)
    assert held.supers == 2
    assert held.filled_kg == pytest.approx(17 * GAIN_KG, abs=1.2)
    one = hold(hive, [*two, seen(hive, 18, "super removed")])
    assert one.supers == 1
    assert one.filled_kg is not None
    assert one.filled_kg < 2.5
    none = hold(hive, [*two, seen(hive, 18, "harvested")])
    assert (none.supers, none.filled_kg) == (0, 0.0)


def test_a_super_from_before_the_first_weight_holds_nobody_knows_what(hive: Any) -> None:
    assert hold(hive, [seen(hive, -20, "super added")]).filled_kg is None
    unweighed = hold(hive, [seen(hive, 8, "super added")], weighed=False)
    assert (unweighed.supers, unweighed.filled_kg, unweighed.gain_kg) == (1, None, None)
    assert hold(hive, [], weighed=False) == Held()
    assert NOTHING_HELD.filled_kg is None


def test_last_years_supers_do_not_stand(hive: Any) -> None:
    assert hold(hive, [seen(hive, -300, "super added")]).supers == 0


def test_stores_are_weighed_or_judged_lately_or_not_known(hive: Any) -> None:
    judged = hold(hive, [seen(hive, 12, stores_kg=7.5)], weighed=False)
    assert (judged.stores_kg, judged.is_weighed) == (7.5, False)
    assert judged.stores_on == days_of(hive.window()).day[12]
    shares = [{"frame": 1, "side": "a", "honey": 1.0}, {"frame": 1, "side": "b", "honey": 0.5}]
    by_sides = hold(hive, [seen(hive, 12, frames=shares)], weighed=False)
    assert by_sides.stores_kg == pytest.approx(0.75 * DEEP.honey_kg, abs=0.01)
    old = hold(hive, [seen(hive, 1, stores_kg=7.5)], weighed=False)
    assert (old.stores_kg, old.stores_on) == (None, None)


def test_a_hive_that_lives_has_some_honey(made_up_hive: Callable[..., Any]) -> None:
    hive = made_up_hive(days=20, flow_kg=0.0, empty_kg=35.5)  # 38 kg, less bees and brood
    held = hold(hive, [])
    assert held.stores_kg is not None
    assert 0.1 < held.stores_kg < 1.5


def test_it_says_that_the_empty_hive_is_not_known(hive: Any) -> None:
    assert not hold(hive, []).lacks_empty
    hive.empty_kg = None
    held = hold(hive, [])
    assert (held.stores_kg, held.lacks_empty) == (None, True)
    assert not hold(hive, [seen(hive, 12, stores_kg=7.5)]).lacks_empty
    assert not hold(hive, [], weighed=False).lacks_empty


def test_a_scale_that_fell_silent_says_nothing_of_today(hive: Any) -> None:
    window = hive.window()
    later = days_of(window).day[-1] + timedelta(days=6)
    held = held_of(window, [], DEEP, 10, ZONE, later)
    assert (held.gain_kg, held.stores_kg) == (None, None)


def test_supers_are_counted_as_they_were_written_down(hive: Any) -> None:
    added, removed = seen(hive, 2, "super added"), seen(hive, 9, "super removed")
    assert supers_on([removed, added]) == 0
    assert supers_on([added, seen(hive, 3, "super added"), removed]) == 1
    assert supers_on([added, seen(hive, 3, "harvested")]) == 0
    assert supers_on([removed, seen(hive, 12, "super added")]) == 1
