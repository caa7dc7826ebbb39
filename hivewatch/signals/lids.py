"""What water weighs on the lids of a yard: by its gauge, and by nights on which a scale gains."""

from __future__ import annotations

import numpy as np

from hivewatch.signals.bare import before_each
from hivewatch.signals.window import Floats

# Own choices where no source is named; tests/unit/signals/test_lids.py and the scoreboard.
LID_KG = 1.0  # [kg] what a wet lid may hold; recordings of 2014 show 0.6 to 1.3 in downpours
HOLDS_KG = 0.5  # [kg] what it holds of a usual rain: half of that
LID_M2 = 0.24  # [m2] a lid of 0.44 m by 0.55 m: a millimetre of rain on it weighs 0.24 kg
NIGHTS = 5  # nights that tell how much the next one will take
RIPENING = 0.2  # share of a day's gain that the night takes at least; more where nights did
LEAST_KG = 0.2  # [kg] that a night must leave too much: twice the error of what it takes


def on_lid(rain_mm: Floats, most_kg: float) -> Floats:
    """Give what rain weighs on a lid that holds so much; nothing where nobody knows of rain."""
    return np.minimum(LID_M2 * np.nan_to_num(rain_mm), most_kg)


def doubt(rain_mm: Floats, unseen_kg: Floats) -> Floats:
    """Give by how much more a lid may hold than `HOLDS_KG` allows; `unseen_kg` without a gauge."""
    seen_kg = on_lid(rain_mm, LID_KG) - on_lid(rain_mm, HOLDS_KG)
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
    usual_kg = np.nan_to_num(before_each(night_kg, NIGHTS, 1))
    return np.maximum(usual_kg, RIPENING * np.maximum(day_kg, 0.0))


def seen_by_night(night_kg: Floats, day_kg: Floats) -> Floats:
    """Give the water on a hive's lid at each dawn, where no gauge says what fell.

    By night nothing comes in, so that what it leaves beyond what it should is water, and dries off
    by day.
    """
    left_kg = night_takes(night_kg, day_kg) - night_kg
    water_kg = np.where(left_kg >= LEAST_KG, np.minimum(left_kg, LID_KG), 0.0)
    return np.append(0.0, water_kg[:-1])
