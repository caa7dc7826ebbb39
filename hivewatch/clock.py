"""What time it is. The machine is asked here and nowhere else; all rooms are given a clock."""

from __future__ import annotations

import time
from typing import Protocol

SHIFT_MOST_S = 300 * 366 * 86_400  # [s] own choice: no clock is set wrong by more


class Clock(Protocol):
    """Tells the time."""

    def now_s(self) -> int:
        """Give the Unix time, UTC, in whole seconds."""

    def monotonic_s(self) -> float:
        """Give a time in seconds that never jumps."""


class WallClock:
    """The machine's own time."""

    def now_s(self) -> int:
        """Give the Unix time, UTC, in whole seconds."""
        return int(time.time())

    def monotonic_s(self) -> float:
        """Give a time in seconds that never jumps."""
        return time.monotonic()
