"""A counter's days, on a made-up hive."""

from __future__ import annotations

import numpy as np

RATIO = 0.9  # published for one counter type: in / out of an ordinary day


def counted(made_up_hive, *, bees=40_000, ratio=RATIO, days=14, flow_kg=0.15, **more):
    """A hive whose counter sees so many bees a day go, and too few of them come home."""
    hive = made_up_hive(days=days, flow_kg=flow_kg, **more)
    rng = np.random.default_rng(hive.seed + 5)
    hour = (hive.time_s % 86_400) / 3600
    day = (hive.time_s - hive.time_s[0]) // 86_400
    flying = np.clip(np.minimum(hour - 6, 19 - hour), 0, 4) / 4
    weather = rng.uniform(0.7, 1.3, days)[day]
    each = flying * weather * bees * hive.step_s / (9 * 3600)
    hive.series["bees-out"] = rng.poisson(each).astype(float)
    late = np.roll(each, 900 // hive.step_s)
    hive.series["bees-in"] = rng.poisson(late * ratio).astype(float)
    return hive
