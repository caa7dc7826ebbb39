"""The keeper's diary: hands inspections to the program when the keeper writes them down."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from collections import deque
from collections.abc import Sequence
from typing import Any

from simulators.season import HiveSeason

HOUR_S = 3600.0
LATER_S = 6 * HOUR_S  # readings of the visit's own hours go first


class Diary:
    """Posts each inspection to `URL/api/v1/inspections` once the season has come that far."""

    def __init__(self, url: str, seasons: Sequence[HiveSeason]) -> None:
        """Put the inspections into the order they are written down."""
        self._address = f"{url.rstrip('/')}/api/v1/inspections"
        written = [
            (float(when_s), seen)
            for season in seasons
            for seen, when_s in zip(season.life.inspections, season.life.recorded_s, strict=True)
        ]
        self._waiting: deque[tuple[float, dict[str, Any]]] = deque(
            sorted(written, key=lambda one: one[0])
        )
        self.posted = 0
        self.refused = 0

    def write_until(self, now_s: float) -> None:
        """Post what has been written down by a time of the season."""
        while self._waiting and self._waiting[0][0] + LATER_S <= now_s:
            self._post(self._waiting.popleft()[1])

    def _post(self, inspection: dict[str, Any]) -> None:
        request = urllib.request.Request(  # noqa: S310 - the address is ours
            self._address,
            json.dumps(inspection).encode(),
            {"Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(request, timeout=30):  # noqa: S310 - the address is ours
                self.posted += 1
        except urllib.error.HTTPError:
            self.refused += 1
