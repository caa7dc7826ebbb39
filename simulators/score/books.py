"""What the model's own books say of findings and events, beside the truth's list of events."""

from __future__ import annotations

from simulators.score.kinds import DAY_S, Event
from simulators.score.play import Finding, Season, seconds

ALONE = 1.5  # own choice: times what the best of the yard's other hives brought


def brought_alone(season: Season, one: Finding) -> bool:
    """Say whether a hive brought far more nectar than any other of its yard, while it was said to.

    The truth tells of a yard's flows only: of a hive that has found a patch which its neighbours
    miss, its own books do.
    """
    hive = str(one["subject"]).removeprefix("hive:")
    books, hives = season.truth.get("hives", {}), season.hives
    first = max(int((seconds(one["start"]) - season.start_s) // DAY_S), 0)
    end = int((seconds(one["end"]) - season.start_s) // DAY_S) if one.get("end") else None
    brought = {
        name: sum(books[name]["daily"]["nectar_kg"][first:end])
        for name, yard in hives.items()
        if name in books and yard == hives.get(hive)
    }
    mine = brought.pop(hive, 0.0)
    return bool(brought) and mine > 0 and mine >= ALONE * max(brought.values())


def had_stores(season: Season, event: Event, least_kg: float) -> bool:
    """Say whether a hive had so much in stores on the evening before an event, if books tell."""
    if not least_kg:
        return True
    books = season.truth.get("hives", {}).get(str(event["subject"]).removeprefix("hive:"))
    before = int((seconds(event["start"]) - season.start_s) // DAY_S) - 1
    return books is None or before < 0 or books["daily"]["stores_kg"][before] >= least_kg
