"""What there was of brood and bees on each of the days before, member by member.

A day is kept as it was believed at its end. What a later count says of it is found as for the
present (`assimilate.assimilate`): by how the figures of that day and those of the count went
together over the members. That is an ensemble smoother.

References
----------
G. Evensen, P. J. van Leeuwen, Monthly Weather Review 128, 1852 (2000): the ensemble Kalman
smoother (from memory).
"""

from __future__ import annotations

import numpy as np

from hivewatch.comb.colony import Colony
from hivewatch.comb.stages import Floats

FIGURES = ("eggs", "open", "capped", "emerging", "adults", "house_bees", "foragers")
"""What is kept of a day: cells of brood, bees that emerged, and bees."""


def figures(colony: Colony, emerged: Floats) -> Floats:
    """Give the figures of a day of one hive, shape (len(FIGURES), members)."""
    adults, foragers = colony.adults[0], colony.foragers.sum(axis=0)[0]
    brood = [colony.brood_class(place)[0] for place in range(3)]
    return np.array([*brood, emerged, adults, adults - foragers, foragers], np.float64)


def no_days(members: int) -> Floats:
    """Give a past without a day; a past is log(1 + n), shape (days, len(FIGURES), members)."""
    return np.empty((0, len(FIGURES), members))


def add_day(past: Floats, colony: Colony, emerged: Floats) -> Floats:
    """Give a past with one more day."""
    return np.concatenate([past, np.log1p(figures(colony, emerged))[None]])


def rows_of(past: Floats) -> Floats:
    """Give a past as rows of a state that a count can move, shape (days x figures, members)."""
    return past.reshape(-1, past.shape[2])


def days_of_rows(rows: Floats) -> Floats:
    """Give the past of such rows, none of them below nothing."""
    return np.maximum(rows, 0.0).reshape(-1, len(FIGURES), rows.shape[1])
