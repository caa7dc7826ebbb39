"""What time it is: the daemon, the commands and the demo make a clock, all others are given one."""

from __future__ import annotations

from typing import Protocol


class Clock(Protocol):
    """Tells the time, and hears how far the readings have come."""

    def now_s(self) -> int:
        """Give the Unix time, UTC, in whole seconds."""

    def monotonic_s(self) -> float:
        """Give a time in seconds that never jumps."""

    def committed(self, newest_s: int) -> None:
        """Hear the Unix time of the newest reading of a batch."""
