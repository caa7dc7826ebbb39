"""Do its neighbours live, and it does not: `dead_out` of a hive without a probe.

Where no probe tells whether bees are at home, the yard does. On days on which the neighbours fly, a
counter that counts nobody stands before an empty hive. One from which many bees went at once, and
which then neither gains by day what the neighbours bring nor loses by night what they ripen and
breathe, was left by all of them and not by a swarm: who stays behind forages and eats. Where the
air is measured beside a counter, the hive's own days tell it (`dead_out`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from hivewatch.apiary import Yard
from hivewatch.detect.finding import Finding
from hivewatch.detect.unaired import LIVED_DAYS, NO_FLIGHTS, USUAL_DAYS, USUAL_FLIGHTS
from hivewatch.signals.beside import before_each_row, middle_of, others_of, side_by_side
from hivewatch.signals.days import Days
from hivewatch.signals.window import Floats

# Own choices where no source is named; tests/unit/detect/test_deserted.py.
QUIET_DAYS = 2  # [d] in a row that tell it, as where the air does
THEY_FLY = 0.3  # of the neighbours' usual bees: a day on which bees could fly
BACK = 0.1  # of its own usual: somebody flies again
FLOW_KG = 0.5  # [kg] by day: what the neighbours bring at least, where the scale alone must tell
NONE_KG = 0.1  # [kg] by day: more than damp adds to a box, and bees bring it in
NIGHT_SHARE, NIGHT_KG = 0.25, 0.03  # of what the neighbours lose by night, and the scale's step
# [kg] common practice, no source: casts from 0.8, the heaviest swarms 4.5; all bees are more
LEFT_KG = 0.8, 6.0
CASTS_DAYS = 14  # [d] published: a colony that has swarmed may cast so long, and is weak by then
OFF_SCALE_KG = 10.0  # [kg] in a day: it fell, or somebody took it
STRONG_DAYS, STRONG_LEAST = 10, 5  # [d] before, and of them known, on which it lost by night ...
STRONG_SHARE = 0.4  # ... so much of what the neighbours did: a weak one takes no part in a flow
WITHIN_DAYS = 3  # [d] after they left


def find(_yard: Yard, days: Mapping[str, Days]) -> list[Finding]:
    """Say which hives of a yard are empty, by their neighbours.

    Parameters
    ----------
    days : Mapping
        Hive -> its days, all up to the same moment.

    Returns
    -------
    list[Finding]
        Of kind `dead_out`, told when the second day is over, by weight at the dawn after it; it
        ends when bees fly or bring something again.
    """
    hives = {hive: one for hive, one in sorted(days.items()) if len(one)}
    if len(hives) < 2:  # noqa: PLR2004 - one neighbour tells how the day was
        return []
    asked = _Asked(list(hives.values()))
    return [one for row, hive in enumerate(hives) for one in asked.find(hive, row)]


class _Asked:
    """The days of a yard's hives side by side, and what each had without."""

    def __init__(self, hives: Sequence[Days]) -> None:
        """Lay them side by side."""
        self.yard = side_by_side(hives)
        self.usual = before_each_row(
            np.where(self.yard.out > 0, self.yard.out, np.nan), USUAL_DAYS, LIVED_DAYS
        )
        first = min(one.day[0] for one in hives)
        self.begin_s, self.dawn_s = (np.zeros(self.yard.out.shape[1]) for _ in range(2))
        self.is_blind = np.zeros(self.yard.out.shape, np.bool_)
        self.has_air = np.zeros(self.yard.out.shape, np.bool_)
        swarmed = np.zeros(self.yard.out.shape, np.bool_)
        for row, one in enumerate(hives):
            at = slice((one.day[0] - first).days, (one.day[0] - first).days + len(one))
            self.begin_s[at], self.dawn_s[at] = one.start_s[:-1], one.dawn_s
            self.is_blind[row, at] = np.isnan(one.nest_cel)
            self.has_air[row, at] = ~np.isnan(one.flying_h)
            lost_s = [
                step.before_s for step in one.steps if LEFT_KG[0] <= -step.size_kg <= LEFT_KG[1]
            ]
            swarmed[row, at.start + one.start_s.searchsorted(lost_s, side="right") - 1] = True
        lost = -np.nan_to_num(self.yard.stepped)
        left = (lost >= LEFT_KG[0]) & (lost <= LEFT_KG[1])
        nights = before_each_row(self.yard.night, STRONG_DAYS, STRONG_LEAST)
        theirs = [middle_of(others_of(nights, row)) for row in range(len(hives))]
        self.is_strong = nights >= STRONG_SHARE * np.array(theirs)
        self.left = left & ~_lately(swarmed, CASTS_DAYS)
        self.is_off = _lately(np.abs(lost) >= OFF_SCALE_KG, USUAL_DAYS)

    def find(self, hive: str, row: int) -> list[Finding]:
        """Find the days of one hive on which it was empty."""
        by_count, by_weight = self._uncounted(row), self._unfed(row)
        found: list[Finding] = []
        free = 0
        for day in np.flatnonzero(_in_a_row(by_count) | _in_a_row(by_weight)).tolist():
            if day < free or not self.begin_s[day + 1 : day + 2].any():
                continue
            again = np.flatnonzero(self._is_back(row)[day + 1 :])
            end = day + 1 + int(again[0]) if len(again) else None
            found.append(self._told(hive, row, day, end, is_counted=bool(by_count[day])))
            free = len(self.begin_s) if end is None else end
        return found

    def _uncounted(self, row: int) -> NDArray[np.bool_]:
        """Say on which days nobody flew while the neighbours did."""
        out, usual = self.yard.out[row], self.usual[row]
        they = middle_of(others_of(self.yard.out / self.usual, row))
        return np.asarray(
            (usual >= USUAL_FLIGHTS)
            & (out < NO_FLIGHTS * usual)
            & (they >= THEY_FLY)
            & ~(self.yard.day[row] > NONE_KG)
            & self.is_blind[row]
            & ~self.has_air[row]
            & ~self.is_off[row]
        )

    def _unfed(self, row: int) -> NDArray[np.bool_]:
        """Say on which days after many bees left it had no part in a flow, by day or by night."""
        they = middle_of(others_of(self.yard.day, row))
        by_night = middle_of(others_of(self.yard.night, row))
        return np.asarray(
            _lately(self.left[row], WITHIN_DAYS)
            & (they >= FLOW_KG)
            & (self.yard.day[row] <= NONE_KG)
            & (self.yard.night[row] <= NIGHT_SHARE * by_night + NIGHT_KG)
            & np.isnan(self.yard.out[row])
            & self.is_strong[row]
            & self.is_blind[row]
            & ~self.is_off[row]
        )

    def _is_back(self, row: int) -> NDArray[np.bool_]:
        """Say on which days somebody flies again, or brings in what a box does not."""
        flies = self.yard.out[row] > BACK * self.usual[row]
        they = middle_of(others_of(self.yard.day, row))
        brings = np.isnan(self.yard.out[row]) & (self.yard.day[row] > max(FLOW_KG, NONE_KG))
        return np.asarray(flies | (brings & (they >= FLOW_KG)))

    def _told(self, hive: str, row: int, day: int, end: int | None, *, is_counted: bool) -> Finding:
        """Put it into words and figures."""
        first = day - QUIET_DAYS + 1
        span = slice(first, day + 1)
        theirs = float(np.nanmean(middle_of(others_of(self.yard.day, row))[span]))
        measures: dict[str, float] = {}
        if is_counted:
            words = f"nobody flew for {QUIET_DAYS} days on which the neighbours flew as ever"
            measures["usual_bees_out"] = round(float(self.usual[row, day]))
            flown = middle_of(others_of(self.yard.out, row))[span]
            measures["yard_bees_out"] = round(float(np.nanmean(flown)))
        else:
            mine = float(self.yard.day[row, span].mean())
            words = (
                f"many bees left, and by day it has since changed by {mine:+.2f} kg, the yard's"
                f" middle hive by {theirs:+.2f} kg; nor did it lose by night what they did"
            )
            measures["kg_behind_yard"] = round(theirs - mine, 2)
        return Finding(
            kind="dead_out",
            subject=f"hive:{hive}",
            start_s=int(self.begin_s[first]),
            end_s=None if end is None else int(self.begin_s[end]),
            detected_s=int((self.begin_s if is_counted else self.dawn_s)[day + 1]),
            confidence=0.7,
            measures=measures,
            evidence=(
                words,
                "close the entrance against robbers, and find out why before combs are used again",
            ),
            status="open" if end is None else "ended",
        )


def _lately(true: NDArray[np.bool_], days: int) -> NDArray[np.bool_]:
    """Say on which days something was true on one of the days before."""
    padded = np.concatenate((np.zeros((*true.shape[:-1], days), np.bool_), true), axis=-1)
    spans = np.lib.stride_tricks.sliding_window_view(padded, days, axis=-1)
    return np.asarray(spans[..., :-1, :].any(axis=-1))


def _in_a_row(true: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Say on which days it has been so for long enough."""
    count: Floats = np.zeros(len(true))
    for day in np.flatnonzero(true).tolist():
        count[day] = (count[day - 1] if day else 0.0) + 1
    return np.asarray(count == QUIET_DAYS)
