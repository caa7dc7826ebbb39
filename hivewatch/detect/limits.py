"""The few settings that the detectors look at."""

from __future__ import annotations

from typing import Protocol


class Limits(Protocol):
    """What the keeper may choose; the `[alerts]` part of the settings has these fields."""

    @property
    def silent_after_min(self) -> int:
        """How long a device may say nothing. [min]."""

    @property
    def low_battery_v(self) -> float:
        """Below this a supply of up to 6 V is low; 0 never. [V]."""

    @property
    def low_lead_battery_v(self) -> float:
        """Below this a supply of more than 6 V is low; 0 never. [V]."""

    @property
    def low_battery_percent(self) -> float:
        """Below this a battery's charge is low; 0 never. [%]."""
