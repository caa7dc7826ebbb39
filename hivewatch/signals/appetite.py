"""What a colony eats a day: published figures of a bee, a larva, and a cell that is kept warm."""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from hivewatch.signals.window import Floats

Some = TypeVar("Some", float, Floats)

# Honey a day, published, as gathered by Becher et al. 2014 (J. Appl. Ecol. 51:470-482).
RESTING_MG = 11.0  # [mg/bee] Rortais et al. 2005
LARVA_MG = 10.9  # [mg/cell] open brood; Schmickl & Crailsheim 2007
WARMTH_MG = 14.14  # [mg/cell] all brood; 53.42 mg of a bee that tends three cells, Rortais 2005

NEED_SHARE = 0.65  # own choice: of all that in summer; scales show less, tests/published
LARVAE_SHARE = 2 / 3  # of eggs and open brood: common practice, no source, 6 days of 9

WINTER_MG = 3.3
"""Honey of a bee in the winter cluster. [mg/d] Popular: two scale hives, 33 to 50 g a day
(quarrylifeaward.cz 2018), over 10,000 to 15,000 bees; at `RESTING_MG` it would be three times as
much."""

NEST_CEL = 34.5  # [Cel] published: Kronenberg & Heller 1982, brood nest
SUMMER_CEL = 15.0  # [Cel] own choice: outside, where those figures hold; a summer's mean
WARMTH_LEAST, WARMTH_MOST = (
    0.8,
    2.0,
)  # own choice: brood is tended, too; bees crowd together over it
CLUSTER_CEL, BUSY_CEL = 8.0, 20.0  # [Cel] common practice, no source: bees cluster; all are about


def eaten_kg(bees: Some, larvae: Some, cells: Some, resting_mg: Some) -> Some:
    """Give the honey that bees and brood take in a day. [kg].

    Parameters
    ----------
    bees : float or Floats
        Adults.
    larvae : float or Floats
        Cells of open brood.
    cells : float or Floats
        Cells of brood, eggs and capped ones among them.
    resting_mg : float or Floats
        Honey of a bee, `WINTER_MG` to `RESTING_MG`. [mg/d]
    """
    return (bees * resting_mg + larvae * LARVA_MG + cells * WARMTH_MG) / 1e6


def bee_mg(active: Some) -> Some:
    """Give the honey of a bee that is as `active` as in winter, 0, or as in summer, 1. [mg/d]."""
    return WINTER_MG + (RESTING_MG - WINTER_MG) * active


def need_kg(bees: Some, young: Some, capped: Some, active: Some, warmth: Some | float = 1) -> Some:
    """Give what a colony needs a day, as scales show it. [kg].

    Parameters
    ----------
    bees, young, capped : float or Floats
        Adults, eggs and open brood, capped brood.
    active : float or Floats
        From 0, as in winter, to 1, as in summer.
    warmth : float or Floats
        How much more a cell of brood takes for its warmth than in summer.
    """
    resting_mg = WINTER_MG + (NEED_SHARE * RESTING_MG - WINTER_MG) * active
    larvae, cells = NEED_SHARE * LARVAE_SHARE * young, NEED_SHARE * (young + capped) * warmth
    return eaten_kg(bees, larvae, cells, resting_mg)


def active_at(air_cel: Floats) -> Floats:
    """Say how active bees are when it is so warm outside, from 0, a cluster, to 1; shape (n,)."""
    return np.clip((air_cel - CLUSTER_CEL) / (BUSY_CEL - CLUSTER_CEL), 0.0, 1.0)


def warmth_at(air_cel: Floats) -> Floats:
    """Give how much more warmth brood takes than in summer, when it is so warm outside; shape (n,).

    What a nest loses goes with the difference between it and the air (Newton's law of cooling).
    """
    share = (NEST_CEL - air_cel) / (NEST_CEL - SUMMER_CEL)
    return np.clip(share, WARMTH_LEAST, WARMTH_MOST)
