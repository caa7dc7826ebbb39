"""The laying curve: the least rough one, never negative, that meets every class counted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from hivewatch.comb.stages import Floats, Stages

_MAX_TURNS = 200  # own choice: 21 days need about ten
_NEAR_ZERO = 1e-11  # of the largest day: rounding, not eggs


def fit_curve(cells: Sequence[float | None], stages: Stages, alive: Floats) -> Floats:
    """Lay a smooth curve through the counts of eggs, open and capped brood.

    Of all curves f >= 0 with sum(alive * f) over each class equal to the cells counted there, it
    is the one with the smallest sum of squared steps from day to day. It is a histospline of the
    first order with a floor at zero, found by a primal active-set method: solve with some days
    held at zero, walk until a day would turn negative, hold it, and let go of a day that wants
    up. The step into a class where none were found costs nothing: queens stop and start at once.
    Steady laying gives a constant exactly; twice the cells give twice the curve. A class nobody
    looked at is bridged when it lies between two that were counted; else it takes the mean of the
    nearest.

    Parameters
    ----------
    cells : Sequence[float | None]
        Eggs, open, capped; None where not looked for, 0 where none were found.
    stages : Stages
        Days of the caste.
    alive : Floats
        Part of what was laid j to j + 1 days ago that is alive, shape (emerge_day,).

    Returns
    -------
    Floats
        Eggs laid j to j + 1 days ago, shape (emerge_day,). [1/d]

    References
    ----------
    [1] J. Nocedal, S. J. Wright, Numerical Optimization, 2nd ed. (2006), algorithm 16.3.
    """
    days = stages.emerge_day
    cells = _ends_filled(cells, stages, alive)
    start = _steps(cells, stages, alive)
    scale = float(start.max())
    if scale <= 0:
        return np.zeros(days)
    barred = np.zeros(days, dtype=bool)
    rows = []
    for (young, old), count in zip(stages.windows, cells, strict=True):
        if count == 0:
            barred[young:old] = True
        elif count is not None:
            row = np.zeros(days)
            row[young:old] = alive[young:old]
            rows.append(row)
    curve = _least_rough(start / scale, np.array(rows), barred)
    return np.maximum(curve, 0.0) * scale


def _ends_filled(
    cells: Sequence[float | None], stages: Stages, alive: Floats
) -> list[float | None]:
    """Give classes not looked at before the first and after the last one the nearest mean."""
    living = [float(alive[young:old].sum()) for young, old in stages.windows]
    known = [place for place, count in enumerate(cells) if count is not None]
    filled = list(cells)
    for place in range(len(filled)):
        nearest = known[0] if place < known[0] else known[-1]
        count = cells[nearest]
        if not known[0] <= place <= known[-1] and count:
            filled[place] = count / living[nearest] * living[place]
    return filled


def _steps(cells: Sequence[float | None], stages: Stages, alive: Floats) -> Floats:
    """Give each class its own mean, and a class not looked at the mean of a neighbour."""
    curve = np.full(stages.emerge_day, np.nan)
    for (young, old), count in zip(stages.windows, cells, strict=True):
        if count is not None:
            curve[young:old] = count / alive[young:old].sum()
    known = np.flatnonzero(np.isfinite(curve))
    every = np.arange(stages.emerge_day)
    nearest = known[np.abs(every[:, None] - known[None, :]).argmin(axis=1)]
    return np.asarray(curve[nearest])


def _least_rough(curve: Floats, rows: Floats, barred: np.ndarray) -> Floats:
    """Minimise the squared day-to-day steps, keeping rows @ curve and curve >= 0."""
    days = curve.size
    difference = np.diff(np.eye(days), axis=0)
    difference = difference[~(barred[1:] | barred[:-1])]
    bend = difference.T @ difference
    held = barred | (curve <= 0)
    for _ in range(_MAX_TURNS):
        free = np.flatnonzero(~held)
        inside = rows[:, free]
        used = np.flatnonzero(np.abs(inside).sum(axis=1) > 0)
        inside = inside[used]
        corner = np.zeros((used.size, used.size))
        system = np.block([[bend[np.ix_(free, free)], inside.T], [inside, corner]])
        right = np.concatenate([np.zeros(free.size), rows[used] @ curve])
        solved = np.linalg.lstsq(system, right, rcond=None)[0]
        step = np.zeros(days)
        step[free] = solved[: free.size] - curve[free]
        falling = np.flatnonzero(curve + step < -_NEAR_ZERO)
        if falling.size:
            reach = curve[falling] / -step[falling]
            first = int(falling[reach.argmin()])
            curve = curve + float(reach.min()) * step
            curve[first] = 0.0
            held[first] = True
            continue
        curve = curve + step
        pull = bend @ curve + rows[used].T @ solved[free.size :]
        pull[~held | barred] = 0.0
        if pull.min() >= -_NEAR_ZERO:
            break
        held[int(pull.argmin())] = False
    return curve
