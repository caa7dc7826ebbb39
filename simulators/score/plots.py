"""Pictures of the board: recall, starts, outlooks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import matplotlib as mpl
import numpy as np

from simulators.score.figures import KindFigures
from simulators.score.kinds import DAY_S, HOUR_S
from simulators.score.outlook import Look

mpl.use("Agg")
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

FANS = 6  # own choice: hives drawn
INK, ASKED, FAINT = "#24505f", "#b4552d", "#c9d3d6"


def draw(board: Sequence[KindFigures], looks: Sequence[Look], folder: Path) -> list[Path]:
    """Draw all pictures that there is something for."""
    pictures = [_recall(board, folder / "recall.png")]
    if any(row.start_errors_s.size for row in board):
        pictures.append(_starts(board, folder / "starts.png"))
    if any(look.said for look in looks):
        pictures.append(_outlooks(looks, folder / "outlooks.png"))
        pictures.append(_fans(looks, folder / "fans.png"))
    return pictures


def _recall(board: Sequence[KindFigures], path: Path) -> Path:
    """Draw recall and false alarms with their intervals and what is asked."""
    rows = [row for row in board if row.events or row.false][::-1]
    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 1.2 + 0.34 * len(rows)), sharey=True)
    for y, row in enumerate(rows):
        if row.events:
            _bar(left, y, row.found / row.events, row.recall_interval)
        _bar(right, y, row.false_rate, row.false_interval)
        if row.kind.bar is not None:
            left.plot([row.kind.bar.recall], [y], "|", color=ASKED, ms=13, mew=2)
            right.plot([1 / row.kind.bar.false_in], [y], "|", color=ASKED, ms=13, mew=2)
    left.set_yticks(range(len(rows)), [f"{r.kind.name} ({r.found} of {r.events})" for r in rows])
    left.set_xlim(-0.02, 1.02)
    left.set_xlabel("recall, with its 95 % interval")
    right.set_xscale("symlog", linthresh=0.05)
    right.set_xlim(left=0)
    right.set_xticks([0, 0.05, 0.1, 1, 10], ["0", "0.05", "0.1", "1", "10"])
    right.minorticks_off()
    right.set_xlabel("false alarms a season, with their 95 % interval")
    figure.suptitle("Found and false; upright marks: asked", fontsize=10)
    return _save(figure, path)


def _bar(axis: Axes, y: int, value: float, interval: tuple[float, float]) -> None:
    axis.plot(interval, [y, y], color=FAINT, lw=5, solid_capstyle="butt")
    axis.plot([value], [y], "o", color=INK, ms=5)


def _starts(board: Sequence[KindFigures], path: Path) -> Path:
    """Draw how far starts are off, one panel a kind."""
    rows = [row for row in board if row.start_errors_s.size]
    across = min(len(rows), 4)
    down = -(-len(rows) // across)
    figure, axes = plt.subplots(down, across, figsize=(3 * across, 2.3 * down), squeeze=False)
    for axis in axes.flat[len(rows) :]:
        axis.axis("off")
    for axis, row in zip(axes.flat, rows, strict=False):
        unit, name = (DAY_S, "d") if row.kind.after_s >= DAY_S else (HOUR_S / 60, "min")
        off = row.start_errors_s / unit
        axis.hist(off, bins=min(40, max(8, int(np.sqrt(off.size)) * 2)), color=INK)
        axis.axvline(0, color=ASKED, lw=1)
        axis.set_title(f"{row.kind.name}, {off.size}", fontsize=9)
        axis.set_xlabel(f"said less true, {name}", fontsize=8)
        axis.tick_params(labelsize=7)
    return _save(figure, path)


def _outlooks(looks: Sequence[Look], path: Path) -> Path:
    """Draw what was said against what came, by horizon, with the 80 % intervals."""
    ahead = [what for what in ("7", "14", "21") if any(look.what == what for look in looks)]
    figure, axes = plt.subplots(1, len(ahead), figsize=(4.2 * len(ahead), 4), squeeze=False)
    for axis, what in zip(axes.flat, ahead, strict=True):
        mine = [(look.true, look.said) for look in looks if look.what == what and look.said]
        for came, (low, middle, high) in mine:
            axis.plot([came, came], [low, high], color=FAINT, lw=2)
            axis.plot([came], [middle], ".", color=INK, ms=4)
        top = max(max(came, said[2]) for came, said in mine) if mine else 1.0
        axis.plot([0, top], [0, top], color=ASKED, lw=1)
        axis.set_title(f"adults in {what} days", fontsize=9)
        axis.set_xlabel("came")
        axis.set_ylabel("said, with its 80 % interval")
    return _save(figure, path)


def _fans(looks: Sequence[Look], path: Path) -> Path:
    """Draw the fans of some hives as they were told through the season, and what came."""
    by_hive: dict[tuple[str, str], list[Look]] = {}
    for look in looks:
        if look.said and look.what != "laying":
            by_hive.setdefault((look.season, look.hive), []).append(look)
    shown = list(by_hive.items())[:: max(1, len(by_hive) // FANS)][:FANS]
    figure, axes = plt.subplots(len(shown), 1, figsize=(9, 2.2 * len(shown)), squeeze=False)
    for axis, ((season, hive), mine) in zip(axes.flat, shown, strict=True):
        for asked in sorted({look.day for look in mine}):
            told = [look for look in mine if look.day == asked and look.said]
            days = [asked + timedelta(days=int(look.what)) for look in told]
            low, middle, high = np.array([look.said for look in told], np.float64).T
            axis.fill_between(days, low, high, color=FAINT, lw=0)
            axis.plot(days, middle, color=INK, lw=1.2)
            axis.plot(days, [look.true for look in told], ".-", color=ASKED, lw=0.8)
        axis.set_title(f"{hive}, {season}: adults said, with 80 %, and come", fontsize=9)
        axis.tick_params(labelsize=7)
    return _save(figure, path)


def _save(figure: Figure, path: Path) -> Path:
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)
    return path
