"""What a colony eats a day: published figures of a bee, a larva, and a cell that is kept warm."""

from __future__ import annotations

from typing import TypeVar

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


def need_kg(bees: Some, young: Some, capped: Some, active: Some) -> Some:
    """Give what a colony needs a day, as scales show it. [kg].

    Parameters
    ----------
    bees, young, capped : float or Floats
        Adults, eggs and open brood, capped brood.
    active : float or Floats
        From 0, as in winter, to 1, as in summer.
    """
    resting_mg = WINTER_MG + (NEED_SHARE * RESTING_MG - WINTER_MG) * active
    larvae, cells = LARVAE_SHARE * young, young + capped
    return eaten_kg(bees, NEED_SHARE * larvae, NEED_SHARE * cells, resting_mg)
