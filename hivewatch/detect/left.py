"""What a swarm looks like to the reader: when, kg, bees, and by what it was told."""

from __future__ import annotations

import numpy as np

from hivewatch.detect.finding import Finding
from hivewatch.signals.exodus import BEE_KG
from hivewatch.signals.window import HiveWindow

BEE_ERROR = 0.15  # own choice: bees fill themselves more or less


def measures_of(kg: float, kg_error: float) -> dict[str, float]:
    """Give what went, in kg and in bees, each with its error."""
    bees = kg / BEE_KG
    return {
        "kg_lost": round(kg, 2),
        "kg_error": round(kg_error, 2),
        "bees_left": round(bees, -2),
        "bees_error": round(bees * float(np.hypot(kg_error / kg, BEE_ERROR)), -2),
    }


def measures_counted(bees: float, bees_error: float) -> dict[str, float]:
    """Give what went where it was counted, and not weighed."""
    kg = bees * BEE_KG
    return {
        "kg_lost": round(kg, 2),
        "kg_error": round(kg * float(np.hypot(bees_error / bees, BEE_ERROR)), 2),
        "bees_left": round(bees, -2),
        "bees_error": round(bees_error, -2),
    }


def left(
    window: HiveWindow,
    span_s: tuple[int, int],
    told_s: int,
    confidence: float,
    measures: dict[str, float],
    evidence: tuple[str, ...],
) -> Finding:
    """Make a `swarm` that has left between two moments."""
    return Finding(
        kind="swarm",
        subject=f"hive:{window.hive.id}",
        start_s=span_s[0],
        end_s=span_s[1],
        detected_s=told_s,
        confidence=confidence,
        status="ended",
        measures=measures,
        evidence=evidence,
    )
