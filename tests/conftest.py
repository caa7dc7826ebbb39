"""What several rooms' tests share: a made-up hive on a scale, brokers, devices, a subscriber."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import hypothesis
import numpy as np
import pytest
from brokers import MQTT5, Devices, Mosquitto
from listening import Listening
from paho.mqtt.enums import MQTTProtocolVersion
from push_service import PushService

from hivewatch.alerts import phones
from hivewatch.apiary import Hive, Yard
from hivewatch.signals.window import DeviceTrace, HiveWindow, Series

# Examples are the same in every run, and no test fails because the machine is busy.
hypothesis.settings.register_profile("hivewatch", deadline=None, derandomize=True)
hypothesis.settings.load_profile("hivewatch")

START_S = 1_777_593_600  # 2026-05-01T00:00:00Z
DAY_S = 86_400
QUANTITIES = ("weight", "nest", "ambient")


@dataclass
class MadeUpHive:
    """A season of one hive, with what was done to it; all of it here, nothing of the simulators.

    The day: foragers leave after sunrise and come home by dusk, nectar comes in, the scale drifts
    with the warmth of the day. Noise: 20 g, 0.1 K.
    """

    step_s: int = 300
    days: int = 10
    seed: int = 0
    noise_kg: float = 0.02
    flow_kg: float = 0.5
    empty_kg: float | None = None
    time_s: np.ndarray = field(init=False)
    series: dict[str, np.ndarray] = field(init=False)
    devices: list[tuple[str, int, int | None]] = field(init=False)

    def __post_init__(self) -> None:
        rng = np.random.default_rng(self.seed)
        n = self.days * DAY_S // self.step_s
        self.time_s = START_S + self.step_s * np.arange(n, dtype=np.int64)
        hour = (self.time_s - START_S) / 3600
        of_day = hour % 24
        out = np.clip((of_day - 6) / 3, 0, 1) - np.clip((of_day - 15) / 5, 0, 1)
        came = (hour // 24) + np.clip((of_day - 8) / 11, 0, 1)
        ambient = 13 + 6 * np.sin((of_day - 9) / 24 * 2 * np.pi) + rng.normal(0, 0.3, n)
        weight = 38 - 0.4 * out + self.flow_kg * came + 0.003 * ambient
        self.series = {
            "weight": weight + rng.normal(0, self.noise_kg, n),
            "nest": 34.8 + 0.2 * np.sin(of_day / 24 * 2 * np.pi) + rng.normal(0, 0.1, n),
            "ambient": ambient,
        }
        self.devices = [("scale-1", START_S - 60, None)]

    def at(self, day: int, hour: float) -> int:
        """Give a moment of the season."""
        return START_S + day * DAY_S + round(hour * 3600)

    def _since(self, at_s: int) -> np.ndarray:
        return np.maximum(self.time_s - at_s, 0)

    def add(self, at_s: int, kg: float, minutes: float = 0) -> None:
        """Put something on, or take it off, within some minutes."""
        since = self._since(at_s)
        done = np.clip(since / (60 * minutes), 0, 1) if minutes else since > 0
        self.series["weight"] += kg * done

    def lift(self, at_s: int, kg: float, minutes: float) -> None:
        """Lift a part off, and put it back."""
        off = (self.time_s > at_s) & (self.time_s <= at_s + 60 * minutes)
        self.series["weight"][off] -= kg

    def rain(self, at_s: int, kg: float, minutes: float, dry_h: float) -> None:
        """Wet the lid within some minutes; it dries off."""
        since = self._since(at_s)
        wet = np.clip(since / (60 * minutes), 0, 1)
        dry = np.exp(-np.maximum(since - 60 * minutes, 0) / (3600 * dry_h))
        self.series["weight"] += kg * wet * dry

    def dip(self, at_s: int, depth_k: float, back_min: float = 30) -> None:
        """Let cold air into the nest; the bees warm it again."""
        since = self._since(at_s)
        self.series["nest"] -= np.where(since > 0, depth_k * np.exp(-since / (60 * back_min)), 0)

    def fall(self, at_s: int, left_kg: float, *, swing_kg: float = 0.0, until_s: int = 0) -> None:
        """Let the hive fall off the scale, until somebody sets it up again."""
        rng = np.random.default_rng(self.seed + 1)
        down = (self.time_s > at_s) & ((self.time_s <= until_s) | (until_s == 0))
        noise = rng.normal(0, 0.02, down.sum()) + rng.uniform(-swing_kg, swing_kg, down.sum())
        self.series["weight"][down] = left_kg + noise

    def cool(self, at_s: int, hours: float) -> None:
        """Let the nest cool to the outside air by a factor e in some hours."""
        since = self._since(at_s)
        kept = np.exp(-since / (3600 * hours))
        nest, ambient = self.series["nest"], self.series["ambient"]
        self.series["nest"] = ambient + (nest - ambient) * kept

    def window(
        self,
        quantities: Sequence[str] = QUANTITIES,
        until_s: int | None = None,
        gone: tuple[str, int] | None = None,
    ) -> HiveWindow:
        """Give the window; `gone` names a quantity that stops at a moment."""
        series = {name: Series(self.time_s, self.series[name]) for name in quantities}
        if gone is not None and gone[0] in series:
            series[gone[0]] = series[gone[0]].up_to(gone[1])
        heard_s = self.time_s
        yard = Yard("hazel-end", "Hazel End", 52.2, 0.12, "Europe/London")
        hive = Hive("hazel-1", "hazel-end", "langstroth-deep", 10, 1, self.empty_kg)
        traces = tuple(
            DeviceTrace(name, from_s, to_s, heard_s[heard_s < (to_s or heard_s[-1] + 1)])
            for name, from_s, to_s in self.devices
        )
        window = HiveWindow(hive, yard, int(self.time_s[-1]), series, traces)
        return window if until_s is None else window.at(until_s)


@dataclass(frozen=True)
class Limits:
    """The settings that the detectors look at."""

    silent_after_min: int = 180
    low_battery_v: float = 3.5
    low_lead_battery_v: float = 11.8
    low_battery_percent: float = 20.0


@pytest.fixture
def made_up_hive() -> Callable[..., MadeUpHive]:
    """Give the maker of hives."""
    return MadeUpHive


@pytest.fixture(scope="session")
def limits() -> Limits:
    """Give the usual limits."""
    return Limits()


@pytest.fixture
def service(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[PushService]:
    """Start a push service on loopback, which phones are then reached through."""
    one = PushService(tmp_path)
    monkeypatch.setattr(phones, "OUT", one.line())
    yield one
    one.close()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """Start a mosquitto on a free port: `mosquitto(*lines of its settings)`; stopped at the end."""
    running: list[Mosquitto] = []

    def start(*lines: str, listener: str = "") -> Mosquitto:
        folder = tmp_path / f"broker-{len(running)}"
        folder.mkdir()
        running.append(Mosquitto(folder, lines, listener=listener))
        return running[-1]

    yield start
    for one in running:
        one.kill()


@pytest.fixture
def listening(tmp_path: Path) -> Iterator[Callable[..., Listening]]:
    """Make a store with a subscriber: `listening(url)`; stopped at the end."""
    made: list[Listening] = []

    def make(url: str, **broker: object) -> Listening:
        folder = tmp_path / f"store-{len(made)}"
        folder.mkdir()
        made.append(Listening(folder, url, **broker))
        return made[-1]

    yield make
    for one in made:
        if one.is_running:
            one.stop()
        one.store.close()


@pytest.fixture
def devices() -> Iterator[Callable[..., Devices]]:
    """Connect devices to a broker: `devices(port)`; closed at the end."""
    connected: list[Devices] = []

    def connect(port: int, protocol: MQTTProtocolVersion = MQTT5, **options: object) -> Devices:
        connected.append(Devices(port, protocol, **options))
        return connected[-1]

    yield connect
    for one in connected:
        one.close()
