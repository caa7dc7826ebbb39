"""The laying curve against an independent solver, and its exact properties."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, minimize

from hivewatch.comb.curve import fit_curve
from hivewatch.comb.stages import WORKER

ALIVE = WORKER.survival(0.5)
COUNTS = [
    (4500, 6000, 6000),
    (300, 6000, 18000),
    (3000, 9000, 2000),
    (6000, 300, 15000),
    (2000, 4000, 40),
    (2500, None, 20000),
]


@pytest.mark.parametrize("cells", COUNTS)
def test_every_class_counted_is_met(cells: tuple[float | None, ...]) -> None:
    curve = fit_curve(cells, WORKER, ALIVE)
    assert curve.min() >= 0
    for count, (young, old) in zip(cells, WORKER.windows, strict=True):
        if count is not None:
            assert (curve * ALIVE)[young:old].sum() == pytest.approx(count, rel=1e-9)


@pytest.mark.parametrize("cells", COUNTS)
def test_no_curve_is_smoother_says_an_independent_solver(cells: tuple[float | None, ...]) -> None:
    curve = fit_curve(cells, WORKER, ALIVE) / 1000
    rows = []
    for count, (young, old) in zip(cells, WORKER.windows, strict=True):
        if count is not None:
            row = np.zeros(21)
            row[young:old] = ALIVE[young:old]
            rows.append(row)
    seen = [count / 1000 for count in cells if count is not None]
    other = minimize(
        lambda f: float((np.diff(f) ** 2).sum()),
        np.full(21, 0.5),
        jac=lambda f: np.concatenate([[0], 2 * np.diff(f)]) - np.append(2 * np.diff(f), 0),
        method="SLSQP",
        bounds=[(0, None)] * 21,
        constraints=LinearConstraint(np.array(rows), seen, seen),
        options={"ftol": 1e-14, "maxiter": 2000},
    )
    assert other.success
    assert float((np.diff(curve) ** 2).sum()) <= other.fun * (1 + 1e-6) + 1e-12
    assert curve == pytest.approx(other.x, abs=2e-3)


def test_a_class_not_looked_at_takes_the_nearest_mean_or_is_bridged() -> None:
    nobody_dies = np.ones(21)
    ends = fit_curve((None, 6000, 400), WORKER, nobody_dies)
    assert ends[:3].mean() == pytest.approx(1000.0)
    bridged = fit_curve((3000, None, 24000), WORKER, nobody_dies)
    assert 1000 < bridged[3:9].mean() < 2000


def test_laying_that_stops_at_once_draws_a_cliff() -> None:
    curve = fit_curve((0, 9000, 18000), WORKER, np.ones(21))
    assert curve[:3] == pytest.approx(np.zeros(3))
    assert curve[3:] == pytest.approx(np.full(18, 1500.0))
