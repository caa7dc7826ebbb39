"""Published figures of brood and bees against the tables, the reading and what is supposed.

Fukuda H., Sakagami S. F. (1968) Worker brood survival in honeybees. Res. Popul. Ecol. 10:31-39:
    100 eggs give 94.2 larvae and 85.1 adults (nest centre).
Schmickl T., Crailsheim K. (2007) HoPoMo. Ecol. Modelling 204:219-245, p. 230: daily mortality of
    egg 0.03, larva 0.01, pupa 0.001; over 3, 6, 12 days that leaves 0.849.
Fukuda H., Ohtani T. (1977): drones, 100 eggs, 82 larvae, 60 prepupae, 56 adults.
Becher M. A. et al. (2014) J. Appl. Ecol. 51:470-482: worker 3 / 9 / 21 d, drone 3 / 10 / 24 d.
Queen 16 days, capped on day 8: common practice, no source.
Deaths of foragers: 0.154 a day, Khoury D. S., Barron A. B., Myerscough M. R. (2013) PLoS ONE 8(5):
    e59084, as published models of that kind have it; 10 to 21 days as a field bee: common practice,
    no source. Of house bees: 0.004 a day, Martin 2001; 0.01, HoPoMo. First flight on day 21, from
    7 to 50: Robinson 1992, Winston 1987. All but the common practice as quoted by later models.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from hivewatch.comb import CombCount, read_comb
from hivewatch.comb.priors import draw_noise, draw_traits
from hivewatch.comb.stages import DRONE, QUEEN, WORKER


def left_at(stages_losses: np.ndarray, day: int) -> float:
    return float(np.exp(-stages_losses[:day].sum()))


def test_days_of_the_three_castes() -> None:
    assert (WORKER.hatch_day, WORKER.cap_day, WORKER.emerge_day) == (3, 9, 21)
    assert (DRONE.hatch_day, DRONE.cap_day, DRONE.emerge_day) == (3, 10, 24)
    assert (QUEEN.hatch_day, QUEEN.cap_day, QUEEN.emerge_day) == (3, 8, 16)


def test_a_hundred_worker_eggs_give_94_larvae_and_85_bees() -> None:
    losses = WORKER.daily_loss()
    assert left_at(losses, 3) == pytest.approx(0.942, abs=0.0005)
    # 0.851; the published model's daily mortalities leave 0.849: two sources, one figure
    assert WORKER.to_adult(1.0) == pytest.approx(0.851, abs=0.001)
    assert WORKER.to_adult(1.0) == pytest.approx(0.97**3 * 0.99**6 * 0.999**12, abs=0.003)


def test_a_hundred_drone_eggs_give_82_60_and_56() -> None:
    losses = DRONE.daily_loss()
    assert 100 * left_at(losses, 3) == pytest.approx(82, abs=0.5)
    assert 100 * left_at(losses, 10) == pytest.approx(60, abs=0.5)
    assert 100 * left_at(losses, 24) == pytest.approx(56, abs=0.5)


def test_1500_eggs_a_day_and_what_emerges_after_laying_stops() -> None:
    """Common practice, no source: 3, 6, 12 days give 4,500, 9,000, 18,000 cells.

    What has emerged by day 1, 7, 12, 18, 21 once laying stops is 1,500, 10,500, 18,000, 27,000,
    31,500.
    """
    reading = read_comb(CombCount(4500, 9000, 18000, survival=1.0))
    emerged = np.cumsum(reading.emerging)
    assert emerged[[0, 6, 11, 17, 20]] == pytest.approx([1500, 10500, 18000, 27000, 31500])


def test_published_peak_laying_is_never_asked_about() -> None:
    """McLellan et al. 1978, as restated in a published model's code: 2,046.9 eggs at day 94.25."""
    day = 94.25
    peak = 4.34e-5 * day**4.98293 * np.exp(-0.05287 * day)
    assert peak == pytest.approx(2046.9, abs=0.1)
    assert read_comb(CombCount(3 * peak, 6 * peak, 12 * peak)).question is None


def test_what_is_supposed_of_colonies_reaches_what_is_published() -> None:
    """Of 4,000 supposed colonies so many lie beyond a published figure; tolerances: own choice.

    That death in the field is known to a factor of two or so follows from the published figures.
    Those of 0.25 to 0.36 a day of flight lie beyond all: no colony reaches 50,000 bees with them.
    """
    members = 4000
    traits = draw_traits(np.full((1, members), 1500.0), draw_noise([3], date(2026, 5, 1), members))
    death = np.sort(traits.forager_death[0])
    assert ((death > 1 / 21) & (death < 1 / 10)).mean() > 0.6
    assert 0.02 < (death > 0.154).mean() < 0.05
    assert death[int(0.975 * members)] / np.median(death) == pytest.approx(2.2, rel=0.1)
    house = traits.house_death[0]
    assert np.median(house) == pytest.approx(0.004, rel=0.03)
    assert (house > 0.01).mean() > 0.01
    onset_d = traits.onset_age[0]
    assert np.median(onset_d) == pytest.approx(21, abs=0.2)
    assert 7 <= onset_d.min() < onset_d.max() <= 50
    # of the published losses: all of them, and next to none
    assert (traits.brood_loss[0] > 1.0).mean() > 0.1
