"""The colony by daily cohorts: many possible colonies of many hives, moved on by one day at a time.

Arrays stand age first: (age, hives, members). The first part only moves bees and loses none; the
biology that sets the rates is in `rates.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hivewatch.comb.stages import WORKER

Cohorts = NDArray[np.floating]

HOUSE_DAYS = 40
"""Ages of house bees kept apart, the last for all older ones. Own choice: hardly any bee of summer
is still in the house at 40 days (limits of first foraging 7 to 50 d, Becher et al. 2014)."""

FORAGER_DAYS = 24
"""Days of foraging kept apart, the last for all longer ones. Own choice."""


@dataclass(frozen=True)
class Colony:
    """Bees and brood of each hive and member at the end of a day.

    Parameters
    ----------
    brood : Cohorts
        Living brood laid j to j + 1 days ago, shape (21, hives, members).
    house : Cohorts
        House bees by days since emergence, shape (HOUSE_DAYS, hives, members).
    foragers : Cohorts
        Foragers by days of foraging, shape (FORAGER_DAYS, hives, members).
    winter : Cohorts
        Long-lived bees, shape (hives, members).
    """

    brood: Cohorts
    house: Cohorts
    foragers: Cohorts
    winter: Cohorts

    @property
    def adults(self) -> Cohorts:
        """All adult workers, shape (hives, members)."""
        adults: Cohorts = self.house.sum(axis=0) + self.foragers.sum(axis=0) + self.winter
        return adults

    def brood_class(self, place: int) -> Cohorts:
        """Eggs, open or capped brood (0, 1, 2), shape (hives, members)."""
        young, old = WORKER.windows[place]
        cells: Cohorts = self.brood[young:old].sum(axis=0)
        return cells

    @property
    def nbytes(self) -> int:
        """Bytes that the state takes."""
        return self.brood.nbytes + self.house.nbytes + self.foragers.nbytes + self.winter.nbytes


@dataclass(frozen=True)
class Rates:
    """What happens to whom within the day, as fractions; each broadcasts to its cohorts.

    Parameters
    ----------
    brood_loss : Cohorts
        Part of each brood cohort that dies.
    house_death, forager_death, winter_death : Cohorts
        Part of each cohort that dies.
    recruit : Cohorts
        Part of each house cohort that goes out foraging for the first time.
    revert : Cohorts
        Part of all foragers that go back to house work.
    winter_recruit : Cohorts
        Part of the winter bees that go out foraging.
    winter_share : Cohorts
        Part of the bees emerging that become winter bees.
    """

    brood_loss: Cohorts
    house_death: Cohorts
    forager_death: Cohorts
    winter_death: Cohorts
    recruit: Cohorts
    revert: Cohorts
    winter_recruit: Cohorts
    winter_share: Cohorts


@dataclass(frozen=True)
class Ledger:
    """The day's comings and goings, shape (hives, members) each; they balance the colony."""

    laid: Cohorts
    brood_lost: Cohorts
    emerged: Cohorts
    died: Cohorts
    recruited: Cohorts


def empty_colony(hives: int, members: int, dtype: type[np.floating] = np.float32) -> Colony:
    """Give hives without bees or brood."""
    shape = (hives, members)
    return Colony(
        np.zeros((WORKER.emerge_day, *shape), dtype),
        np.zeros((HOUSE_DAYS, *shape), dtype),
        np.zeros((FORAGER_DAYS, *shape), dtype),
        np.zeros(shape, dtype),
    )


def move_on(colony: Colony, laid: Cohorts, rates: Rates) -> tuple[Colony, Ledger]:
    """Move every cohort on by one day: die, change work, grow older; the oldest brood emerges.

    All fractions are taken of the bees at the start of the day, as in an explicit Euler step of
    one day, so that constant rates meet the equilibrium of the differential equations exactly.
    What would overdraw a cohort (death and a change of work together above one) goes to death
    first. No cohort turns negative and no bee is lost: the ledger balances.

    Parameters
    ----------
    colony : Colony
        At the end of yesterday.
    laid : Cohorts
        Eggs laid today, broadcasting to (hives, members).
    rates : Rates
        Today's fractions.

    Returns
    -------
    tuple[Colony, Ledger]
        At the end of today, and what came and went.
    """
    dtype = colony.winter.dtype
    lost = colony.brood * rates.brood_loss
    grown = colony.brood - lost
    eggs = np.asarray(laid, dtype)
    if eggs.shape != colony.winter.shape:
        eggs = np.broadcast_to(eggs, colony.winter.shape)
    brood = np.concatenate([eggs[None], grown[:-1]])
    emerged = grown[-1]

    house_died = colony.house * rates.house_death
    house_left = colony.house - house_died
    gone_out = np.minimum(colony.house * rates.recruit, house_left)
    house_left -= gone_out
    forager_died = colony.foragers * rates.forager_death
    forager_left = colony.foragers - forager_died
    gone_in = np.minimum(colony.foragers * rates.revert, forager_left)
    forager_left -= gone_in
    winter_died = colony.winter * rates.winter_death
    winter_left = colony.winter - winter_died
    winter_out = np.minimum(colony.winter * rates.winter_recruit, winter_left)

    to_winter = emerged * rates.winter_share
    recruits = gone_out.sum(axis=0) + winter_out
    house = _older(house_left, emerged - to_winter)
    house[-1] += gone_in.sum(axis=0)  # they have been field bees: the oldest of the house
    foragers = _older(forager_left, recruits)
    after = Colony(
        brood.astype(dtype, copy=False),
        house.astype(dtype, copy=False),
        foragers.astype(dtype, copy=False),
        (winter_left - winter_out + to_winter).astype(dtype, copy=False),
    )
    died = house_died.sum(axis=0) + forager_died.sum(axis=0) + winter_died
    return after, Ledger(eggs, lost.sum(axis=0), emerged, died, recruits)


def _older(cohorts: Cohorts, youngest: Cohorts) -> Cohorts:
    """Shift by one day; the last two join."""
    older = np.concatenate([youngest[None], cohorts[:-1]])
    older[-1] += cohorts[-1]
    return older


def take_hives(colony: Colony, hives: slice) -> Colony:
    """Give some of the hives, as views."""
    return replace(
        colony,
        brood=colony.brood[:, hives],
        house=colony.house[:, hives],
        foragers=colony.foragers[:, hives],
        winter=colony.winter[hives],
    )


def join_hives(colonies: list[Colony]) -> Colony:
    """Put hives side by side."""
    return Colony(
        np.concatenate([c.brood for c in colonies], axis=1),
        np.concatenate([c.house for c in colonies], axis=1),
        np.concatenate([c.foragers for c in colonies], axis=1),
        np.concatenate([c.winter for c in colonies], axis=0),
    )


def empty_days(colony: Colony) -> int:
    """Say for how many days no egg was laid in the first hive, by most members."""
    aged = np.flatnonzero(np.median(colony.brood[:, 0], axis=1) >= 1.0)
    return int(aged[0]) if aged.size else WORKER.emerge_day
