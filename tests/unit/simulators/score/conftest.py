from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from simulators.score.play import Season, seconds, written
from simulators.score.recorded import Heard

START = datetime(2024, 5, 1, tzinfo=UTC)
DAYS = 40
APIARY = {
    "yard": [{"id": "ford", "name": "Ford", "timezone": "Europe/London"}],
    "hive": [{"id": "ford-1", "yard": "ford"}, {"id": "ford-2", "yard": "ford"}],
    "device": [
        {"id": "scale-1", "hive": "ford-1", "since": "2024-05-01T00:00:00Z"},
        {"id": "scale-2", "hive": "ford-2", "since": "2024-05-01T00:00:00Z"},
    ],
}


def at(day: float, hour: float = 0.0) -> str:
    """Write a moment of the season."""
    return written((START + timedelta(days=day, hours=hour)).timestamp())


class Story:
    """A season that a test makes up: what happened, what was said, what was measured."""

    def __init__(self) -> None:
        self.events: list[dict] = []
        self.said: list[dict] = []
        self.silent: list[tuple[str, str, str]] = []
        self.told_once: list[dict] = []
        self.counted_every_s = 600

    def counted(self, every_s):
        self.counted_every_s = every_s

    def happened(self, kind, day, hour=0.0, *, end=None, hive="ford-1", subject=None, **more):
        self.events.append(
            {"kind": kind, "subject": subject or f"hive:{hive}", "start": at(day, hour),
             "end": end, "yard": "ford"} | more
        )  # fmt: skip

    def told(
        self, kind, day, hour=0.0, *, after_h=1.0, hive="ford-1", subject=None, status="ended",
        once=False, end=None, **measures,
    ):  # fmt: skip
        one = {
            "id": str(len(self.said)), "kind": kind, "subject": subject or f"hive:{hive}",
            "start": at(day, hour), "end": end, "detected_at": at(day, hour + after_h),
            "status": status, "measures": measures,
        }  # fmt: skip
        (self.told_once if once else self.said).append(one)

    def silence(self, device, from_, until):
        self.silent.append((device, from_, until))

    def season(self) -> Season:
        begin, stop = int(START.timestamp()), int(START.timestamp()) + DAYS * 86_400
        devices, hives = {}, {}
        for place in APIARY["device"]:
            times = np.arange(begin, stop, 600, dtype=np.int64)
            for device, from_, until in self.silent:
                if device == place["id"]:
                    times = times[(times <= seconds(from_)) | (times >= seconds(until))]
            devices[place["id"]] = hives[place["hive"], "weight"] = times
            hives[place["hive"], "nest"] = times
            flown = np.arange(begin, stop, self.counted_every_s, dtype=np.int64)
            hives[place["hive"], "bees-out"] = flown
        truth = {"start": "2024-05-01", "days": DAYS, "events": self.events}
        return Season(
            "made up", truth, APIARY, self.said, Heard(devices, hives, float(stop)),
            told_once=self.told_once,
        )  # fmt: skip


@pytest.fixture
def story() -> Story:
    return Story()
