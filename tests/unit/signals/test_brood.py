"""The nest's turns between brood-nest warmth and none, on made-up nests."""

from __future__ import annotations

import numpy as np
import pytest
from nests import MadeUpNest, day_of

from hivewatch.signals.brood import _rising, turns_of
from hivewatch.signals.nest_bound import is_autumn, probe_share
from hivewatch.signals.warmth import warmth_of


def places(nest, window=None):
    turns = turns_of(nest.window() if window is None else window)
    return [("onset" if one.is_onset else "end", day_of(nest, one.start_s)) for one in turns]


def spring(**more):
    """A winter cluster that begins to raise brood on day 30 and has a full nest by day 45."""
    nest = MadeUpNest(first="2026-01-20", days=80, air_cel=4, **more)
    nest.has_brood(slice(None), np.clip((np.arange(80) - 30) / 15, 0, 1))
    return nest


def summer(pause, **more):
    """A summer's nest with a pause of some days in its brood."""
    nest = MadeUpNest(first="2026-05-20", days=60, air_cel=16, **more)
    nest.has_brood(slice(25, 25 + pause), 0.0)
    return nest


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("share", [1.0, 0.6, 0.35])
def test_spring_is_dated_to_half_way_from_a_nests_own_winter(seed, share):
    """A probe off the centre, or above the brood, rises by the same part of what it showed."""
    nest = spring(seed=seed, share=share)
    (turn,) = turns_of(nest.window())
    assert turn.is_onset
    # half way is on day 37.5; a quarter over the winter's warmth on day 35.5
    assert 33 <= day_of(nest, turn.start_s) <= 38.5
    assert day_of(nest, turn.told_s) <= 44


def test_a_probe_off_the_centre_tells_nothing_of_a_spring_whose_winter_is_not_known(monkeypatch):
    monkeypatch.setattr("hivewatch.signals.rest.REST_LEAST", 99)
    assert places(spring(share=0.35)) == []


@pytest.mark.parametrize("seed", range(5))
def test_brood_that_began_stays_where_the_probe_is_off_the_centre(seed):
    nest = MadeUpNest(first="2026-01-10", days=120, air_cel=3, share=0.6, seed=seed)
    nest.has_brood(slice(None), np.clip((np.arange(120) - 40) / 15, 0, 1))
    assert [what for what, _ in places(nest)] == ["onset"]


@pytest.mark.parametrize("seed", range(5))
def test_a_nest_of_few_cells_is_a_degree_or_two_cooler_and_sways_and_has_brood(seed):
    """Hungry bees whose queen lays little: own choice, as a second made-up world has it, too."""
    nest = MadeUpNest(first="2026-06-01", days=60, air_cel=20, seed=seed)
    nest.has_brood(slice(35, 45), 0.75)
    assert places(nest) == []


@pytest.mark.parametrize("seed", range(5))
def test_a_nest_that_is_held_steady_has_brood_though_it_is_a_degree_cooler(seed):
    nest = MadeUpNest(first="2026-06-01", days=60, air_cel=20, seed=seed)
    nest.extra_k[35 * 144 :] = -1.3
    assert places(nest) == []


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("warmer_k", [6, 12])
def test_a_mild_fortnight_in_winter_is_no_onset(seed, warmer_k):
    nest = MadeUpNest(first="2026-01-01", days=60, air_cel=0, seed=seed)
    nest.has_brood(slice(None), 0.0)
    nest.air_by_day[30:44] += warmer_k
    assert places(nest) == []


@pytest.mark.parametrize("seed", range(5))
def test_a_pause_of_ten_days_is_an_end_and_an_onset(seed):
    (first, end), (second, onset) = places(summer(10, seed=seed))
    assert (first, second) == ("end", "onset")
    assert abs(end - 25) <= 1.1
    assert abs(onset - 35) <= 1.1


@pytest.mark.parametrize("seed", range(5))
def test_in_hot_air_a_nest_without_brood_is_told_by_its_swing(seed):
    """Bees without brood keep a nest at 31 to 32 Cel when the air is at 29, but not steady."""
    nest = MadeUpNest(first="2026-06-01", days=60, air_cel=29, swing_k=7, seed=seed)
    nest.has_brood(slice(35, 44), 0.0)
    (first, end), (second, onset) = places(nest)
    assert (first, second) == ("end", "onset")
    assert abs(end - 35) <= 1.1
    assert abs(onset - 44) <= 1.1


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("share", [0.0, 0.45])
def test_few_bees_begin_again_with_a_small_nest(seed, share):
    """It is held against the weeks without brood, for it is no full nest for long."""
    nest = MadeUpNest(first="2026-05-10", days=60, air_cel=14, seed=seed)
    nest.has_brood(slice(20, 60), 0.0)
    nest.add(nest.at(20), nest.at(60), -5, hours=48)  # half of the bees are gone
    nest.has_brood(slice(33, 60), share)
    turns = places(nest)
    assert [what for what, _ in turns] == ["end", "onset"][: 1 + bool(share)]
    assert all(abs(day - when) <= 3 for (_, day), when in zip(turns, (20, 33), strict=False))


@pytest.mark.parametrize("seed", range(5))
def test_half_a_degree_less_is_no_end(seed):
    nest = MadeUpNest(first="2026-06-01", days=60, air_cel=27, seed=seed)
    nest.extra_k[:] = np.where(np.arange(len(nest.time_s)) > 35 * 144, -0.5, 0.0)
    assert places(nest) == []


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("share", [0.55, 0.7])
@pytest.mark.parametrize("air_cel", [16, 23])
def test_a_probe_off_the_centre_tells_the_same(seed, share, air_cel):
    nest = summer(12, seed=seed, share=share)
    nest.air_by_day += air_cel - 16
    turns = places(nest)
    assert [what for what, _ in turns] == ["end", "onset"]
    assert abs(turns[0][1] - 25) <= 1.6
    assert abs(turns[1][1] - 37) <= 1.6


def test_a_probe_too_far_off_says_nothing():
    assert places(summer(12, share=0.3)) == []


def test_the_share_of_a_probe_is_learned_from_ten_days_of_brood():
    nest = summer(0, share=0.6)
    share = probe_share(nest.window())
    assert share[0] == 1.0
    assert share[20] == pytest.approx(0.6, abs=0.04)


def test_one_day_of_full_warmth_shows_a_probe_in_the_brood_nest_at_any_season():
    """Hold the empty weeks of a hive watched from autumn on against its own brood, not a share."""
    nest = MadeUpNest(first="2026-02-01", days=110, air_cel=8)
    nest.has_brood(slice(30, 110), 0.0)
    assert (probe_share(nest.window()) == 1).all()


@pytest.mark.parametrize("seed", range(10))
def test_a_nest_that_keeps_its_brood_or_never_had_any_turns_nowhere(seed):
    assert places(MadeUpNest(days=90, seed=seed, air_cel=10)) == []
    winter = MadeUpNest(first="2025-11-25", days=60, seed=seed, air_cel=1)
    winter.has_brood(slice(None), 0.0)
    assert places(winter) == []


def test_a_pause_of_two_days_and_an_open_lid_turn_nothing():
    assert places(summer(2)) == []
    nest = summer(0)
    nest.add(nest.at(20, 17), nest.at(22, 8), -13)
    assert places(nest) == []


@pytest.mark.parametrize("days", [4, 9, 15])
def test_a_hive_that_lies_open_for_days_falls_at_once_and_has_its_brood_again(days):
    nest = summer(0)
    nest.add(nest.at(25, 4), nest.at(25 + days, 15), -12)
    assert places(nest) == []


def test_a_nest_that_fell_at_once_and_stays_cold_has_no_brood_after_three_weeks():
    nest = summer(0)
    nest.add(nest.at(25, 4), nest.at(60), -12)
    (turn,) = turns_of(nest.window())
    assert not turn.is_onset
    assert abs(day_of(nest, turn.start_s) - 25) <= 1.1
    assert 45 <= day_of(nest, turn.told_s) <= 48.5


def test_a_gap_is_neither_and_is_counted_where_the_turn_fell_into_it():
    nest = summer(0)
    nest.silence(nest.at(20), nest.at(32))
    assert places(nest) == []
    nest.has_brood(slice(22, 60), 0.0)
    (turn,) = turns_of(nest.window())
    assert day_of(nest, turn.start_s) == pytest.approx(32, abs=1.1)
    assert turn.gap_days in (11, 12)


def test_without_air_the_level_alone_tells():
    nest = summer(14)
    nest.air_by_day[:] = 12.0  # a cluster at 25 Cel
    turns = places(nest, nest.window(["nest"]))
    assert [what for what, _ in turns] == ["end", "onset"]


def test_without_air_what_seems_to_begin_at_once_is_not_told():
    nest = MadeUpNest(first="2026-03-10", days=60, air_cel=10)
    nest.has_brood(slice(None), np.clip((np.arange(60) - 3) / 8, 0, 1))
    assert places(nest, nest.window(["nest"])) == []
    nest = MadeUpNest(first="2026-02-01", days=90, air_cel=10)
    nest.has_brood(slice(None), np.clip((np.arange(90) - 40) / 8, 0, 1))
    assert [what for what, _ in places(nest, nest.window(["nest"]))] == ["onset"]


def test_a_warm_spell_of_ten_days_in_autumn_is_no_onset():
    nest = MadeUpNest(first="2026-08-20", days=75, air_cel=12)
    nest.has_brood(slice(35, 75), 0.0)
    nest.has_brood(slice(50, 60), 0.95)
    assert [what for what, _ in places(nest)] == ["end"]


def test_autumn_is_when_days_are_short_and_shorten_on_either_half_of_the_earth():
    north = is_autumn(MadeUpNest(first="2026-01-01", days=364).window())
    south = is_autumn(MadeUpNest(first="2026-01-01", days=364, yard="south").window())
    months = np.arange(366) // 30.5
    assert set(months[: len(north)][north]) == {8, 9, 10, 11}
    assert set(months[: len(south)][south]) == {2, 3, 4, 5}


@pytest.mark.parametrize("hours", [0, 5, 30, 100])
def test_what_was_told_stands_when_the_season_goes_on(hours):
    nest = summer(12)
    whole = turns_of(nest.window())
    for turn in whole:
        until_s = turn.told_s + hours * 3600
        early = turns_of(nest.window(until_s=until_s))
        assert [one for one in whole if one.told_s <= until_s] == early


def test_a_day_counts_when_a_reading_came_after_it_or_none_for_a_day():
    nest = summer(0)
    nest.silence(nest.at(10), nest.at(12, 6))
    warmth = warmth_of(nest.window())
    day = int(np.searchsorted(warmth.start_s, nest.at(9, 23.5))) - 1
    assert warmth.told_s[day] == nest.at(11, 23)  # silent for a day, a probe is not waited for
    assert np.isnan(warmth.level_cel[-1])


def test_the_level_of_a_day_is_its_median_and_its_spread_one_deviation():
    nest = MadeUpNest(days=5, step_s=300)
    window = nest.window()
    warmth = warmth_of(window)
    low, high = np.searchsorted(window.of("nest").time_s, warmth.start_s[1:3])
    values = window.of("nest").value[low:high]
    assert warmth.level_cel[1] == pytest.approx(np.median(values), abs=0.02)
    assert warmth.spread_k[1] == pytest.approx(values.std(), abs=0.03)


def test_isotonic_regression_gives_what_its_definition_asks():
    # a worked example: pools (3, 1) and (5, 4, 3) become their means
    assert _rising(np.array([1.0, 3, 1, 5, 4, 3, 6])).tolist() == [1, 2, 2, 4, 4, 4, 6]
    rng = np.random.default_rng(0)
    value = rng.normal(0, 1, 30)
    fit = _rising(value)
    assert (np.diff(fit) >= 0).all()
    assert fit.mean() == pytest.approx(value.mean())
    # no other rising sequence is nearer: tried with many
    best = np.square(fit - value).sum()
    for _ in range(300):
        other = np.sort(fit + rng.normal(0, 0.2, 30))
        assert np.square(other - value).sum() >= best - 1e-9


def test_a_window_without_a_nest_has_no_turns():
    assert turns_of(MadeUpNest(days=5).window(["weight"])) == []
