"""Holds a board against the last accepted one: worse by more than the sampling error is a fault.

Every figure that is held is a count: k of n (recall; starts, delays and measures within their bar;
outlooks within their interval) or a number in a time (false alarms). It is worse when the
difference leaves its interval of one standard error (68 %), both boards' sampling errors taken
together as in `sampling`: one miss where thirty were found passes, two do not. The scenarios and
seeds are fixed, so that only a change of the program or of the model can move a figure at all.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from simulators.score.sampling import is_less, is_more_often

Figures = Mapping[str, Any]


def worse(new: Figures, old: Figures) -> list[str]:
    """Name each figure that fell, in words."""
    found = []
    for name, before in old["kinds"].items():
        now = new["kinds"].get(name)
        if now is None:
            found.append(f"{name}: no longer scored")
            continue
        if before["events"] and not now["events"]:
            found.append(f"{name}: happens no more, accepted {before['events']} events")
        for what, k, n in _shares(before):
            mine = next(((k2, n2) for what2, k2, n2 in _shares(now) if what2 == what), (0, 0))
            if is_less(mine, (k, n)):
                found.append(f"{name}: {what} {mine[0]} of {mine[1]}, accepted {k} of {n}")
        rates = (now["false"], now["seasons"]), (before["false"], before["seasons"])
        if is_more_often(*rates):
            found.append(
                f"{name}: {now['false']} false in {now['seasons']:.1f} seasons,"
                f" accepted {before['false']} in {before['seasons']:.1f}"
            )
    return found + _worse_outlook(new.get("outlook"), old.get("outlook"))


def _shares(row: Mapping[str, Any]) -> list[tuple[str, int, int]]:
    """Give the figures of a kind that are so many of so many."""
    found = [("found", int(row["found"]), int(row["events"]))]
    for key, what in (("start_near", "starts in time"), ("told_near", "told in time")):
        if key in row:
            found.append((what, int(row[key][0]), int(row[key][1])))
    for name, entry in row.get("measures", {}).items():
        if "near" in entry:
            found.append((f"{name} near enough", int(entry["near"][0]), int(entry["near"][1])))
    return found


def _worse_outlook(new: Any, old: Any) -> list[str]:  # noqa: ANN401 - JSON
    """Name each outlook figure that fell: too few within the bar, or within the interval."""
    if not old:
        return []
    if not new:
        return ["outlook: no longer scored"]
    found = []
    for days, before in old.items():
        now = new.get(days, {"near": [0, 0], "held": [0, 0]})
        for key, what in (("near", "within the bar"), ("held", "within the interval")):
            if is_less(tuple(now[key]), tuple(before[key])):
                found.append(f"outlook {days} d: {what} {now[key]}, accepted {before[key]}")
    return found


def read(path: Path) -> dict[str, Any]:
    """Read the accepted board."""
    return dict(json.loads(path.read_text(encoding="utf-8")))


def write(path: Path, board: Figures) -> None:
    """Accept a board."""
    kept = {key: board[key] for key in ("played", "kinds", "outlook") if board.get(key)}
    path.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
