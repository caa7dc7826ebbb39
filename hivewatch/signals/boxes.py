"""What of a hive's weight is boxes that were put on since the first reading, day by day.

A visit says what was put on; what nobody wrote down, though there may have been a visit, is guessed
from the size of its step, and stays in doubt until the boxes are off again.
"""

from __future__ import annotations

from bisect import bisect, bisect_left
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hivewatch.inspections import Inspection
from hivewatch.signals.days import Days
from hivewatch.signals.steps import Step
from hivewatch.signals.window import Floats, HiveWindow

Flags = NDArray[np.bool_]

# Own choices where no source is named; tests/unit/signals/test_boxes.py.
BOX_KG = (4.8, 11.0)  # [kg] own choice: a super with its frames and combs
NEAR_S = 3 * 3600  # [s] own choice: people write down about when they came
OPENING_S = 3600  # [s] own choice: steps no further apart are of one opening
FED_MOST_KG = 7.5  # [kg] own choice: more at once is feed and a box
FEED_KG = 4.0  # [kg] common practice, no source: two full combs; with less, one feeds
ALL_SHARE = 0.9  # own choice: of what was put on; who takes as much takes all of it
EMPTY_BOX_KG = 6.0  # [kg] own choice: of a box that is taken off where several are on
FOOD_MONTHS = (8, 9, 10, 11, 12, 1, 2)  # common practice, no source: fed then, not supered;
# half a year later in the south
ADDS = {"super added", "fed", "united", "moved", "other"}  # what makes a hive heavier
TAKES = {"super removed", "harvested"}  # what says that boxes went
MOVED_SHARE = 0.01  # own choice: error of boxes put on or taken off
UNTOLD_KG = 3.0  # [kg] own choice: half a box, which a step that nobody wrote down may be
LIKELY_KG = 1.5  # [kg] own choice: where room was wanted, or food, and the other is unlikely
FLOOR_KG = 5.0  # [kg] own choice: with no more left, the hive itself is off its scale
HIVE_SHARE = 0.7  # own choice: of what fell; a step up of so much is the hive set up again, and
# one of more than a box is, too: whoever sets it up may take its honey


class Boxes(NamedTuple):
    """Boxes of n days; shape (n,)."""

    kg: Floats
    doubt_kg2: Floats  # variance that the steps since the last dawn have added [kg^2]
    are_off: Flags  # all of them have come off since the last dawn


class _Change(NamedTuple):
    """What a step left."""

    after_s: int
    on_kg: float
    doubt_kg2: float


class _Opening(NamedTuple):
    """A hive was opened: what was put on or taken off."""

    before_s: int
    after_s: int
    size_kg: float


def boxes_of(
    window: HiveWindow,
    days: Days,
    gross_kg: Floats,
    rough_kg: Floats,
    seen: Sequence[Inspection],
) -> Boxes:
    """Give the boxes that have been put on since the first reading.

    What nobody wrote down is feed where there was little left, and else a box when it weighs as
    one. A hive that falls, or is carried off, keeps its boxes.

    Parameters
    ----------
    gross_kg : Floats
        The hive's weight at dawn, shape (n,). [kg]
    rough_kg : Floats
        The stores as if no box had been put on, shape (n,). [kg]
    seen : Sequence[Inspection]
        Visits by time.
    """
    changes = list(_changes(window, days, gross_kg, rough_kg, seen))
    at = np.searchsorted([one.after_s for one in changes], days.dawn_s, side="right")
    kg = np.array([0.0, *(one.on_kg for one in changes)])[at]
    doubt_kg2 = np.append(0.0, np.cumsum([one.doubt_kg2 for one in changes]))[at]
    before_kg = np.append(0.0, kg[:-1])
    return Boxes(kg, np.diff(doubt_kg2, prepend=0.0), (before_kg > 0) & (kg == 0))


def _changes(
    window: HiveWindow,
    days: Days,
    gross_kg: Floats,
    rough_kg: Floats,
    seen: Sequence[Inspection],
) -> Iterator[_Change]:
    """Go through the steps."""
    on_kg = fallen_kg = 0.0
    seen_s, written = [one.at_s for one in seen], -1
    weighed = list(_openings(days.steps))
    alone = _unweighed(weighed, days, gross_kg, seen)
    for step in sorted([*weighed, *alone]):
        visits = _visits(step, seen_s)
        size_kg, day = step.size_kg, int(days.dawn_s.searchsorted(step.before_s)) - 1
        if day >= 0 and size_kg < 0 and gross_kg[day] + size_kg < FLOOR_KG:
            fallen_kg -= size_kg
            continue
        if fallen_kg and size_kg > min(HIVE_SHARE * fallen_kg, BOX_KG[1]):
            size_kg, fallen_kg = size_kg - fallen_kg, 0.0
        done = [action for i in visits if i > written for action in seen[i].actions]
        written = max(written, *visits, -1)
        what = {one.what for one in done}
        if "super added" in what:
            fed_kg = sum(one.kg or 0.0 for one in done if one.what == "fed")
            told_kg = [one.kg for one in done if one.what == "super added"]
            on_kg += sum(kg or max(size_kg - fed_kg, 0.0) for kg in told_kg)
        if "harvested" in what:
            on_kg = 0.0
        elif size_kg < -BOX_KG[0]:
            on_kg = 0.0 if -size_kg > ALL_SHARE * on_kg else max(on_kg - EMPTY_BOX_KG, 0.0)
        off_kg = MOVED_SHARE * size_kg if abs(size_kg) >= BOX_KG[0] else 0.0
        if size_kg < -BOX_KG[0] and on_kg > 0 and not what & TAKES:
            off_kg = UNTOLD_KG  # one box with honey, or more without
        if not what & ADDS and BOX_KG[0] < size_kg < BOX_KG[1]:
            left_kg = rough_kg[day] - on_kg if day >= 0 else np.nan
            is_fed = _is_fed_then(step, is_south=window.yard.latitude < 0)
            on_kg += 0.0 if is_fed else _box_kg(size_kg, left_kg)
            may_be_either = left_kg < FEED_KG and size_kg <= FED_MOST_KG and not is_fed
            off_kg = UNTOLD_KG if may_be_either else LIKELY_KG
        yield _Change(step.after_s, on_kg, off_kg**2)


def _openings(steps: Sequence[Step]) -> Iterator[_Opening]:
    """Join the steps of one opening: what was lifted off and put on again has added nothing."""
    whole: _Opening | None = None
    for step in steps:
        one = _Opening(step.before_s, step.after_s, step.size_kg)
        if whole is not None and one.before_s - whole.after_s <= OPENING_S:
            whole = _Opening(whole.before_s, one.after_s, whole.size_kg + one.size_kg)
            continue
        if whole is not None:
            yield whole
        whole = one
    if whole is not None:
        yield whole


def _unweighed(
    weighed: Sequence[_Opening], days: Days, gross_kg: Floats, seen: Sequence[Inspection]
) -> Iterator[_Opening]:
    """Give boxes that were written down while the scale was silent: it is the heavier for them."""
    known = np.flatnonzero(~np.isnan(days.dawn_kg))
    seen_s = [one.at_s for one in seen]
    beside = {i for step in weighed for i in _visits(step, seen_s)}
    for i in sorted(set(range(len(seen))) - beside):
        at_s = seen_s[i]
        kg = sum(one.kg or 0.0 for one in seen[i].actions if one.what == "super added")
        next_one = int(days.dawn_s[known].searchsorted(at_s))
        if kg and 0 < next_one < len(known):
            before, after = known[next_one - 1], known[next_one]
            if gross_kg[after] - gross_kg[before] > kg / 2:
                yield _Opening(int(at_s), int(at_s), kg)


def _visits(step: _Opening, seen_s: Sequence[int]) -> range:
    """Give the visits that a step may belong to, by number."""
    return range(bisect_left(seen_s, step.before_s - NEAR_S), bisect(seen_s, step.after_s + NEAR_S))


def _box_kg(size_kg: float, left_kg: float) -> float:
    """Give what of a step that nobody wrote down is a box: with little left, the rest is feed."""
    if left_kg < FEED_KG:
        return EMPTY_BOX_KG if size_kg > FED_MOST_KG else 0.0
    return size_kg


def _is_fed_then(step: _Opening, *, is_south: bool) -> bool:
    """Say whether a step fell into the months in which bees are fed rather than given room."""
    month = int(np.datetime64(step.after_s, "s").astype("datetime64[M]").astype(np.int64)) % 12
    return (month + 6 * is_south) % 12 + 1 in FOOD_MONTHS
