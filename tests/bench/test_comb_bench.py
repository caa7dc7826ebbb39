"""How long a thousand hives take, and how much room one takes."""

from __future__ import annotations

import time
from datetime import date, timedelta

import numpy as np
import pytest

from hivewatch.comb.colony import Colony, empty_colony
from hivewatch.comb.priors import DRIFTING, draw_noise, draw_traits
from hivewatch.comb.rates import advance_one_day, plain_day

HIVES, MEMBERS = 1000, 200
DAY = date(2026, 5, 1)


@pytest.mark.bench
def test_a_thousand_hives_move_on_by_a_day_in_two_seconds() -> None:
    empty = empty_colony(HIVES, MEMBERS)
    colony = Colony(*(part + 500 for part in vars(empty).values()))
    traits = draw_traits(
        np.full((HIVES, MEMBERS), 1500, np.float32), draw_noise(range(HIVES), DAY, MEMBERS)
    )
    took = []
    for day in (1, 2):
        began = time.process_time()  # of this process alone: other work on the machine is not ours
        noise = draw_noise(range(HIVES), DAY + timedelta(days=day), MEMBERS)
        colony, traits, _ = advance_one_day(colony, traits, plain_day(), noise)
        took.append(time.process_time() - began)
    a_hive = colony.nbytes + sum(getattr(traits, name).nbytes for name in DRIFTING)
    print(f"{min(took):.3f} s a day for {HIVES} hives, {a_hive / HIVES:,.0f} bytes a hive")
    assert min(took) < 2.0
    assert a_hive / HIVES < 100_000
