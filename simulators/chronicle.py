"""The truth as it is written down: events a watcher should find, and milestones of the bees."""

from __future__ import annotations

from typing import Any

from simulators.plans import instant


class Chronicle:
    """One hive's events."""

    def __init__(self, hive: str) -> None:
        """Start with an empty page."""
        self.hive = hive
        self.events: list[dict[str, Any]] = []
        self.milestones: list[dict[str, Any]] = []
        self._lasting: dict[str, dict[str, Any]] = {}

    def tell(self, kind: str, start_s: float, end_s: float | None = None, **more: Any) -> None:  # noqa: ANN401 - JSON
        """Write an event that is over, or that has no end."""
        event: dict[str, Any] = {"kind": kind, "subject": f"hive:{self.hive}"}
        event |= {"start": instant(start_s), "end": instant(end_s) if end_s else None}
        self.events.append(event | more)

    def begin(self, kind: str, start_s: float, **more: Any) -> None:  # noqa: ANN401 - JSON
        """Open an event; only one of a kind at a time."""
        if kind not in self._lasting:
            self.tell(kind, start_s, None, **more)
            self._lasting[kind] = self.events[-1]

    def end(self, kind: str, end_s: float) -> None:
        """Close an open event."""
        event = self._lasting.pop(kind, None)
        if event is not None:
            event["end"] = instant(end_s)

    def mark(self, what: str, when_s: float) -> None:
        """Note a milestone that nobody need find."""
        self.milestones.append({"what": what, "at": instant(when_s)})
