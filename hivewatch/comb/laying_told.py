"""What findings say of laying: that it ended, fell off for good, or began; member by member."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

import numpy as np

from hivewatch.comb.done import Change
from hivewatch.comb.queen import wait_for_eggs
from hivewatch.comb.stages import Floats
from hivewatch.comb.start import LAYING_MAX

AROUND_DAYS = 6  # own choice: so far from the day that a finding says
OFF_DAYS = 3.0  # [d] own choice: its spread; brood goes within days, and the warmth by degrees
HATCHED_DAYS = 6
"""How long before a nest was found without brood the first eggs of a new queen may lie, at the
most. Own choice: three days as eggs, and three of larvae that warm nothing yet."""

What = Literal["stopped", "failing", "begun"]


@dataclass(frozen=True)
class Told:
    """What a finding says of laying.

    Parameters
    ----------
    what : str
        Laying stopped, the queen fails, or laying has begun.
    day : date
        From about when.
    told : date
        When that was known.
    sure : float
        Part of the members that are to follow it.
    """

    what: What
    day: date
    told: date
    sure: float


def turn(
    told: Told,
    today: date,
    before: Change,
    level: Floats,
    generator: np.random.Generator,
    *,
    is_season: bool,
) -> Change:
    """Let the queens stop, or begin, of those members whose day it is.

    Parameters
    ----------
    told : Told
        A stop or a beginning, within `AROUND_DAYS` of today.
    before : Change
        One hive.
    level : Floats
        Eggs a day that queen, bees and season let expect, shape (members,).
    generator : np.random.Generator
        Of the day that the finding says, so that each member keeps its day.
    is_season : bool
        Whether bees raise a new queen at that time.
    """
    members = level.size
    follows = generator.uniform(size=members) < told.sure
    off = np.rint(OFF_DAYS * generator.standard_normal(members))
    off = np.clip(off, -AROUND_DAYS, AROUND_DAYS)
    mine = follows & (told.day.toordinal() + off == today.toordinal())
    if not mine.any():
        return before
    if told.what == "begun":
        return _begun(before, mine, today.toordinal(), level)
    earliest = told.told.toordinal() - HATCHED_DAYS
    wait = wait_for_eggs((told.told - told.day).days, generator, members)
    again = told.told.toordinal() + wait if is_season else np.full(members, np.inf)
    again = np.where((before.again > earliest) & (before.again < np.inf), before.again, again)
    usual = np.maximum(before.again_laying, np.minimum(level, LAYING_MAX))
    laying = np.where(mine, 0.0, before.traits.laying[0]).astype(np.float32)
    return Change(
        before.colony,
        replace(before.traits, laying=laying[None]),
        np.where(mine, again, before.again),
        np.where(mine, usual, before.again_laying),
    )


def _begun(before: Change, mine: np.ndarray, today: int, level: Floats) -> Change:
    """Let those begin who do not lay."""
    rests = mine & (before.traits.laying[0] < 1.0)
    usual = np.where(before.again_laying >= 1.0, before.again_laying, level)
    return replace(
        before,
        again=np.where(rests, today + 1, before.again),
        again_laying=np.where(rests, np.minimum(usual, LAYING_MAX), before.again_laying),
    )


def worth_of_failing(
    told: Told, worth: Floats, laying: Floats, level: Floats, generator: np.random.Generator
) -> Floats:
    """Give what a queen is worth who fails: no more than what she lays now.

    What visits counted has brought laying down already; it does not come back.
    """
    follows = generator.uniform(size=worth.size) < told.sure
    now = np.log(np.maximum(laying, 1.0)) - np.log(np.maximum(level, 1.0))
    return np.where(follows & (laying >= 1.0), worth + np.minimum(now, 0.0), worth)
