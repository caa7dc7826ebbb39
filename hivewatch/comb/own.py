"""What is a hive's own: what counter and scale miss, how foragers work, its queen, its season."""

from __future__ import annotations

import math

import numpy as np

from hivewatch.comb.queen import FALL, WORTH
from hivewatch.comb.stages import Floats

OWN = ("counter", "dawn", "work", "queen", "later", "fall")
"""Flights counted a forager and hour, the part of the foragers missed at dawn, how hard foragers
work at present, what the queen is worth, by how many days its season runs late, and how steeply
laying falls after midsummer."""

COUNTER = (math.log(0.7), 0.7)
"""Log of the flights that a counter counts for each forager and hour of flying weather, and its
spread. A strong colony makes more than 100,000 flights a day (insignia-bee.eu, read), with some
12,000 foragers and eight hours: about one. Four hours of foraging a day (see `start.FIELD_PART`) in
flights of some forty minutes (from memory), spread over twelve hours: half of one. The spread is
own choice: how much a counter misses is its own."""

DAWN = (math.log(0.2), 0.6)
"""Log of the part of the foragers that the scale misses at dawn, and its spread. Less than the
third that is in the field at any time (`start.FIELD_PART`), as early ones are back before late ones
leave. Own choice; the mass of a bee is in it too."""

OWN_DRIFT = (0.03, 0.03, 0.01)
"""How far counter, dawn and queen wander in a day, log scale. [1/d] Own choices: what a forager
makes of an hour changes with the season and with how far she flies, by a sixth within a month."""

WORK = (0.3, 14.0)
"""How the work of foragers varies beside the weather, log scale, and for how many days it keeps so:
in a flow they fly more, in a dearth they stay at home. Deaths follow: the risk is by the hour of
foraging (Visscher & Dukas 1997, Prado et al. 2020). Own choices: a third more or less, for two
weeks, as flows last."""

LATER = (0.0, 12.0)
"""By how many days the season of laying and of winter bees runs late at a hive, beside what its
latitude says, and the spread of that. [d] Own choice: springs and autumns of a place differ by two
to three weeks between years (common practice, no source), colonies differ beside that, and so do
the published curves of laying."""


def season_of(own: Floats) -> tuple[Floats, Floats]:
    """Give by how many days the season runs late, and the power with which laying falls."""
    return own[4], np.exp(own[5])


def draw_own(generator: np.random.Generator, members: int) -> Floats:
    """Draw what is a hive's own, on the log scale (`later` in days), a row for each of `OWN`."""
    middle, spread = np.array([COUNTER, DAWN, (0.0, WORK[0]), WORTH, LATER, FALL]).T
    return np.asarray(
        middle[:, None] + spread[:, None] * generator.standard_normal((len(OWN), members))
    )


def wander(own: Floats, generator: np.random.Generator) -> Floats:
    """Let what is the hive's own wander by a day; work is pulled back to the usual."""
    spread, lasts_days = WORK
    keep = math.exp(-1.0 / lasts_days)
    work = spread * math.sqrt(1.0 - keep**2)
    step = np.array([*OWN_DRIFT[:2], work, OWN_DRIFT[2], 0.0, 0.0])[:, None]
    return np.asarray(
        own * np.array([[1.0], [1.0], [keep], [1.0], [1.0], [1.0]])
        + step * generator.standard_normal(own.shape)
    )
