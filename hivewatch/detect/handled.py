"""What a handling looks like to the reader: the finding of a move of the weight, or of a dip."""

from __future__ import annotations

import numpy as np

from hivewatch.detect.added import added_kg
from hivewatch.detect.finding import Finding
from hivewatch.signals.days import HOUR_S
from hivewatch.signals.dips import Dip
from hivewatch.signals.steps import Step
from hivewatch.signals.window import HiveWindow

HAND_KG = 1.0  # [kg] own choice: more than foragers move between two readings
LEAST_KG = 0.8  # [kg] own choice: 1 kg less a step's error; tests/property/test_steps.py
LIFTED_KG = 2.0  # [kg] own choice: a part in the keeper's hands
OPENED_KG = 3.0  # [kg] own choice: the same where no step stays
NO_HIVE_KG = 10.0  # [kg] own choice: less is no hive with bees
BOX_KG = 4.0  # [kg] own choice: an empty super with its frames


def handled(
    window: HiveWindow, move: Step, size: float, told_s: int, confidence: float, dips: list[Dip]
) -> Finding:
    """Make a `handling` of a move of the weight."""
    minutes = (move.after_s - move.before_s) / 60
    evidence = []
    if size:
        size = added_kg(window, move)
        way = "rose" if size > 0 else "fell"
        evidence.append(
            f"weight {way} by {abs(size):.1f} kg within {minutes:.0f} min and stayed: "
            f"{_probably(move.level_kg, size)}"
        )
    lifted = max(move.low_kg, move.high_kg)
    measures: dict[str, float] = {"kg": round(size, 2), "kg_error": round(move.spread_kg, 2)}
    if lifted >= LIFTED_KG:
        measures["kg_lifted"] = round(lifted, 2)
        evidence.append(f"{lifted:.1f} kg came off or on, and back, within {minutes:.0f} min")
    evidence += [f"the nest cooled by {dip.depth_k:.1f} K and was warm again" for dip in dips[:1]]
    from_s, to_s = _hands_s(window, move)
    return Finding(
        kind="handling",
        subject=f"hive:{window.hive.id}",
        start_s=min([from_s, *(dip.before_s for dip in dips)]),
        end_s=to_s,
        detected_s=max([told_s, *(dip.back_s for dip in dips)]),
        confidence=confidence,
        measures=measures,
        evidence=tuple(evidence),
        status="ended",
    )


def _hands_s(window: HiveWindow, move: Step) -> tuple[int, int]:
    """Give the reading before anything was lifted or put on, and that after the last of it. [s].

    Foragers that come and go beside a visit make a longer move of it than an hour.
    """
    if move.after_s - move.before_s <= HOUR_S:
        return move.before_s, move.after_s
    weight = window.of("weight").between(move.before_s, move.after_s)
    one, other = (np.abs(weight.value - weight.value[end]) >= HAND_KG for end in (0, -1))
    if not (one.any() and other.any()):
        return move.before_s, move.after_s
    first, last = int(one.argmax()) - 1, int(np.flatnonzero(other)[-1]) + 1
    return int(weight.time_s[first]), int(weight.time_s[max(last, first + 1)])


def _probably(level_kg: float, size: float) -> str:
    """Say what a step of that size probably was; the weight alone does not know it."""
    if level_kg < NO_HIVE_KG and size > NO_HIVE_KG:
        return "probably a hive was set on the scale"
    if size >= BOX_KG:
        return "probably a box, or much feed, was put on"
    if size > 0:
        return "probably feed or frames were put in"
    if size > -BOX_KG:
        return "probably frames were taken out"
    return "probably a box, or honey, was taken off"


def opened(window: HiveWindow, dip: Dip) -> Finding:
    """Make a `handling` of a dip of the nest alone."""
    weight = window.of("weight")
    low, high = weight.time_s.searchsorted([dip.before_s, dip.back_s])
    evidence = [f"the nest cooled at once by {dip.depth_k:.1f} K and was warm again soon"]
    if dip.humidity_rise is not None:
        evidence.append(f"damp came up with it, {dip.humidity_rise:.1f} %RH")
    if high - low > 1:
        evidence.append("the scale shows nothing of it")
    return Finding(
        kind="handling",
        subject=f"hive:{window.hive.id}",
        start_s=dip.before_s,
        end_s=dip.back_s,
        detected_s=dip.back_s,
        confidence=0.7 if high - low <= 1 else 0.6,
        measures={"nest_fell_k": round(dip.depth_k, 2)},
        evidence=tuple(evidence),
        status="ended",
    )
