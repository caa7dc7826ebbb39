"""What water weighs on the lids of a yard: by its gauge, and by nights on which a scale gains.

A lid holds a film and lets the rest run off, each lid another one: from 0.2 kg to more than 1 kg.
A gauge says how much can be there at most and what usual lids hold of it; the scale says what the
night left too much, but not what the night would have taken. Where both are there, their mean is
taken: each is off by about as much, and neither by what the other is.

References
----------
What a wet surface holds of rain: R. A. Merriam, J. Geophys. Res. 65, 3850 (1960), there of leaves;
from memory.
"""

from __future__ import annotations

import numpy as np

from hivewatch.signals.bare import before_each
from hivewatch.signals.levels import known_or
from hivewatch.signals.window import Floats

# Own choices where no source is named; tests/unit/signals/test_lids.py and the scoreboard.
LID_KG = 1.0  # [kg] what a wet lid may hold; recordings of 2014 show 0.6 to 1.3 in downpours
HOLDS_KG = 0.4  # [kg] what a usual one holds: by a night's end some of it has dried again
LID_M2 = 0.24  # [m2] a lid of 0.44 m by 0.55 m: a millimetre of rain on it weighs 0.24 kg
NIGHTS = 5  # nights that tell how much the next one will take
RIPENING = 0.2  # share of a day's gain that the night takes at least; more where nights did
LEAST_KG = 0.2  # [kg] that a night must leave too much: twice the error of what it takes


def on_lid(rain_mm: Floats, most_kg: float) -> Floats:
    """Give what rain weighs on a lid that holds so much; nothing where nobody knows of rain."""
    return most_kg * -np.expm1(-LID_M2 * known_or(rain_mm) / most_kg)


def doubt(rain_mm: Floats, unseen_kg: Floats, left: float = 1.0) -> Floats:
    """Give by how much more a lid may hold than is allowed for; `unseen_kg` without a gauge.

    Of what a usual lid's `HOLDS_KG` leaves in doubt, `left` may still be there.
    """
    seen_kg = left * (on_lid(rain_mm, LID_KG) - on_lid(rain_mm, HOLDS_KG))
    return np.where(np.isnan(rain_mm), unseen_kg, seen_kg)


def night_takes(night_kg: Floats, day_kg: Floats) -> Floats:
    """Give what the night after each day will take, from what the last nights took.

    Parameters
    ----------
    night_kg : Floats
        Lost from dusk to the next dawn, NaN where it does not count. [kg]
    day_kg : Floats
        Gained from dawn to dusk. [kg]
    """
    usual_kg = known_or(before_each(night_kg, NIGHTS, 1))
    return np.maximum(usual_kg, RIPENING * np.maximum(day_kg, 0.0))


def seen_by_night(night_kg: Floats, day_kg: Floats) -> Floats:
    """Give the water on a hive's lid at each dawn, where no gauge says what fell.

    By night nothing comes in, so that what it leaves beyond what it should is water, and dries off
    by day.
    """
    left_kg = night_takes(night_kg, day_kg) - night_kg
    water_kg = np.where(left_kg >= LEAST_KG, np.minimum(left_kg, LID_KG), 0.0)
    return np.append(0.0, water_kg[:-1])


def weighed_by_night(dusk_mm: Floats, night_mm: Floats, night_kg: Floats, day_kg: Floats) -> Floats:
    """Give the water on a hive's lid at each dawn, where a gauge and the hive's scale tell of it.

    Parameters
    ----------
    dusk_mm, night_mm : Floats
        Rain before dusk, and before dawn, as in `Days`, shape (n,). [mm]
    night_kg : Floats
        Lost from dusk to the next dawn, with what fell. [kg]
    day_kg : Floats
        Gained from dawn to dusk. [kg]
    """
    by_gauge_kg = on_lid(night_mm, HOLDS_KG)
    was_dry = np.append(by_gauge_kg[1:], 0.0) == 0
    left_kg = night_takes(np.where(was_dry, night_kg, np.nan), day_kg) - night_kg
    by_scale_kg = np.append(np.nan, (on_lid(dusk_mm, HOLDS_KG) + left_kg)[:-1])
    most_kg = np.minimum(LID_M2 * known_or(night_mm), LID_KG)
    by_scale_kg = np.clip(by_scale_kg, 0.0, most_kg)
    return np.where(np.isnan(by_scale_kg), by_gauge_kg, (by_gauge_kg + by_scale_kg) / 2)
