"""Whether every part lives: loops by their beats, the store and the broker by asking."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from prometheus_client.metrics_core import Metric

from hivewatch import metrics


@dataclass(frozen=True, slots=True)
class Part:
    """One part and how it is."""

    name: str
    is_well: bool
    detail: str


class Told(Protocol):
    """How everything is, for whoever asks."""

    def parts(self) -> list[Part]:
        """Say how each part is now."""

    def counted(self) -> list[Metric]:
        """Give what is counted."""


@dataclass(slots=True)
class Health:
    """Keeps the last beat of each loop and asks the other parts when somebody wants to know.

    Parameters
    ----------
    now_s : Callable
        Unix time of the machine, not of a season played fast. [s]
    patience_s : Mapping
        Loop -> how long it may go without a beat. [s]
    checks : Mapping
        Part -> a function that gives None when it is well and else a sentence.
    """

    now_s: Callable[[], float]
    patience_s: Mapping[str, float]
    checks: Mapping[str, Callable[[], str | None]] = field(default_factory=dict)
    _last_s: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Name the loops to the metrics."""
        metrics.at_zero(metrics.LOOP_BEAT, self.patience_s)
        metrics.at_zero(metrics.LOOP_RESTARTS, self.patience_s)

    def beat(self, loop: str) -> None:
        """Note that a loop lives; from any thread."""
        self._last_s[loop] = self.now_s()
        metrics.LOOP_BEAT.labels(loop).set(self._last_s[loop])

    def parts(self) -> list[Part]:
        """Say how each part is now."""
        return [self._loop(name) for name in self.patience_s] + [
            Part(name, fault is None, fault or "well")
            for name, check in self.checks.items()
            for fault in [_ask(check)]
        ]

    def counted(self) -> list[Metric]:
        """Give what this process counts."""
        return metrics.counted()

    def _loop(self, name: str) -> Part:
        last_s = self._last_s.get(name)
        if last_s is None:
            return Part(name, is_well=False, detail="has not started")
        age_s = max(0.0, self.now_s() - last_s)
        return Part(name, age_s <= self.patience_s[name], f"last sign of life {age_s:.0f} s ago")


def _ask(check: Callable[[], str | None]) -> str | None:
    """Ask one part; a part that cannot even be asked is not well."""
    try:
        return check()
    except Exception as error:  # noqa: BLE001 - whatever it is, it is the answer
        return f"{type(error).__name__}: {error}"
