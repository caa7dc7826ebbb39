"""The fit of three lines to a morning, against general references.

Sources: segmented least squares by the definition, all corners tried, each fit by
`numpy.linalg.lstsq`; the cost of a continuous line between fixed ends as `ruptures` has it
(`CostCLinear`, C. Truong, L. Oudre, N. Vayatis, Signal Processing 167:107299, 2020), its optimum by
`Dynp`. The method is that of N. Holst, W. G. Meikle (2018), Insects 9:176; its own figures lie in
tables that could not be opened, and none are claimed here.
"""

from __future__ import annotations

import numpy as np
import pytest
import ruptures

from hivewatch.signals.dawn import CORNER_S, FIRST_S, HOUR_S, LAST_S, LEAST_S, fit_dips

HOURS = np.arange(96) / 12 + 1 / 24 - 4  # [h] from sunrise
CORNERS = np.arange(FIRST_S, LAST_S + 1, CORNER_S) / HOUR_S


def dip(rng: np.random.Generator, noise_kg: float) -> np.ndarray:
    left, turned = 0.5 + rng.uniform(-0.5, 0.5), 2.0 + rng.uniform(-0.5, 0.5)
    level = -0.01 * HOURS - 0.25 * np.maximum(HOURS - left, 0)
    return level + 0.4 * np.maximum(HOURS - turned, 0) + rng.normal(0, noise_kg, 96)


def brute_force(weight_kg: np.ndarray, count: np.ndarray) -> tuple[float, float, float, float]:
    """Try all corners, each with its own least squares; sum of squares, corners, mass."""
    root = np.sqrt(count)
    best = (np.inf, 0.0, 0.0, 0.0)
    for i, left in enumerate(CORNERS):
        for turned in CORNERS[i + 1 :]:
            if turned - left < LEAST_S / HOUR_S - 1e-9:
                continue
            lines = np.column_stack(
                (np.ones(96), HOURS, np.maximum(HOURS - left, 0), np.maximum(HOURS - turned, 0))
            )
            found = np.linalg.lstsq(lines * root[:, None], weight_kg * root, rcond=None)[0]
            squares = float((count * (weight_kg - lines @ found) ** 2).sum())
            if squares < best[0]:
                best = squares, left, turned, float(-found[2] * (turned - left))
    return best


@pytest.mark.parametrize("gaps", ["none", "every third", "a third at random"])
def test_the_best_corners_are_those_of_brute_force(gaps):
    rng = np.random.default_rng(18)
    weight = np.array([dip(rng, 0.02) for _ in range(4)])
    count = np.ones((4, 96))
    if gaps == "every third":
        count[:, np.arange(96) % 3 > 0] = 0
    if gaps == "a third at random":
        count = rng.integers(0, 3, (4, 96)).astype(float)
    fit = fit_dips(weight, count)
    for i in range(4):
        squares, left, turned, kg = brute_force(weight[i], count[i])
        assert fit.rss_kg2[i] == pytest.approx(squares, rel=1e-6, abs=1e-9)
        assert (fit.left_h[i], fit.turned_h[i]) == pytest.approx((left, turned))
        assert fit.kg[i] == pytest.approx(kg, rel=1e-6)


def test_the_corners_are_where_dynp_has_them():
    # lines without noise but for a tenth of a gram, so that the two criteria have one optimum;
    # tolerance: a corner of ours lies on a grid of ten minutes, theirs on readings
    rng = np.random.default_rng(9)
    weight = -0.01 * HOURS - 0.25 * np.maximum(HOURS - 0.5, 0) + 0.4 * np.maximum(HOURS - 2, 0)
    weight += rng.normal(0, 1e-4, 96)
    fit = fit_dips(weight[None], np.ones((1, 96)))
    search = ruptures.Dynp(model="clinear", min_size=6, jump=1).fit(weight)
    corners = HOURS[np.array(search.predict(n_bkps=2)[:2])]
    assert np.allclose((fit.left_h[0], fit.turned_h[0]), corners, atol=0.17)


def test_the_error_holds_what_it_says():
    # 400 mornings of normal noise: one deviation holds 68 %, two 95 %; tolerance: the corners lie
    # on a grid and make the law wider than a normal one, so that 60 % and 90 % are asked for
    rng = np.random.default_rng(4)
    left, turned, kg = 0.5, 2.0, 0.375
    clean = -0.01 * HOURS - 0.25 * np.maximum(HOURS - left, 0)
    clean = clean + 0.4 * np.maximum(HOURS - turned, 0)
    fit = fit_dips(clean + rng.normal(0, 0.02, (400, 96)), np.ones((400, 96)))
    off = np.abs(fit.kg - kg) / fit.error_kg
    assert 0.60 <= (off < 1).mean() <= 0.90
    assert (off < 2).mean() >= 0.90
