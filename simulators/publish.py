"""Plays a season to an MQTT broker at a chosen pace, every message acknowledged."""

from __future__ import annotations

import json
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from simulators.diary import Diary
from simulators.files import in_sending_order
from simulators.packs import Pack, packs
from simulators.plans import Scenario, instant
from simulators.season import HiveSeason

IN_FLIGHT = 200  # messages unacknowledged at one time
MOST_PER_S = 450.0  # messages a second at most; packs grow longer when the pace asks for it
ACKNOWLEDGED_WITHIN_S = 60.0
DAY_S = 86_400
HOUR_S = 3_600


class BrokerError(Exception):
    """The broker cannot be reached, or stopped acknowledging."""


@dataclass(frozen=True)
class Broker:
    """Where to publish."""

    host: str
    port: int
    user: str | None
    password: str | None

    @staticmethod
    def at(url: str) -> Broker:
        """Read mqtt://[user:password@]host[:port]."""
        parts = urlsplit(url)
        if parts.scheme != "mqtt" or not parts.hostname:
            raise BrokerError(f"{url}: not an address; use mqtt://HOST:PORT")
        return Broker(parts.hostname, parts.port or 1883, parts.username, parts.password)


class Publisher:
    """One connection; publishes at QoS 1 with few messages in flight."""

    def __init__(self, broker: Broker, root: str) -> None:
        self.root = root
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv311)
        if broker.user:
            self.client.username_pw_set(broker.user, broker.password)
        self.client.max_inflight_messages_set(IN_FLIGHT)
        self.waiting: deque[mqtt.MQTTMessageInfo] = deque()
        try:
            self.client.connect(broker.host, broker.port, keepalive=30)
        except OSError as wrong:
            raise BrokerError(f"broker {broker.host}:{broker.port}: {wrong}") from wrong
        self.client.loop_start()

    def send(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Publish, first waiting while too many are unacknowledged."""
        while len(self.waiting) >= IN_FLIGHT:
            self._settle()
        self.waiting.append(self.client.publish(f"{self.root}/{topic}", payload, 1, retain))

    def _settle(self) -> None:
        info = self.waiting.popleft()
        deadline = time.monotonic() + ACKNOWLEDGED_WITHIN_S
        while not info.is_published():
            if time.monotonic() > deadline:
                raise BrokerError("the broker acknowledged nothing for a minute")
            try:
                info.wait_for_publish(1.0)
            except (RuntimeError, ValueError) as wrong:
                raise BrokerError(f"the broker did not take a message: {wrong}") from wrong

    def settle(self) -> None:
        """Wait for every acknowledgement."""
        while self.waiting:
            self._settle()

    def close(self) -> None:
        """Wait for every acknowledgement, then leave."""
        try:
            self.settle()
        finally:
            self.client.disconnect()
            self.client.loop_stop()


def play(
    scenario: Scenario,
    seasons: list[HiveSeason],
    publisher: Publisher,
    days_per_second: float,
    until_s: float | None,
    tell: Callable[[dict[str, Any]], None],
    diary: Diary | None = None,
    next_hour: Callable[[int, int], None] | None = None,
) -> None:
    """Publish the season's packs in the order of their sending, at the pace asked for.

    `next_hour` is called before the packs of each hour of the season, with the hour's end and with
    the packs sent so far, all of them acknowledged; the season goes on when it returns.
    """
    feeds = [feed for season in seasons for feed in season.watched.feeds]
    devices = sorted({device.id for season in seasons for device in season.watched.devices})
    for device in devices:
        publisher.send(f"{device}/status", b"online", retain=True)
    begin = int(seasons[0].told.weather.time_s[0])
    began = time.monotonic()
    counts: dict[str, int] = {"packs": 0, "records": 0}
    day, today, told_s = 0, 0, begin
    for pack in packs(feeds, in_sending_order(feeds), span_s(len(devices), days_per_second)):
        if until_s is not None and pack.sent_s > until_s:
            break
        while pack.sent_s - begin > (day + 1) * DAY_S:
            tell({"day": instant(begin + day * DAY_S + DAY_S // 2)[:10], "published": today})
            day, today = day + 1, 0
        while next_hour is not None and pack.sent_s >= told_s:
            told_s += HOUR_S
            publisher.settle()
            next_hour(told_s, counts["packs"])
        _wait(began, (pack.sent_s - begin) / DAY_S / days_per_second)
        _send(publisher, pack)
        if diary is not None:
            diary.write_until(pack.sent_s)
        today += len(pack.records)
        counts["packs"] += 1
        counts["records"] += len(pack.records)
    if today:
        tell({"day": instant(begin + day * DAY_S + DAY_S // 2)[:10], "published": today})
    for device in devices:
        publisher.send(f"{device}/status", b"offline", retain=True)
    publisher.close()
    took = round(time.monotonic() - began, 1)
    tell(
        {"done": scenario.name, "seed": scenario.seed, "devices": len(devices)}
        | counts
        | ({"inspections": diary.posted, "refused": diary.refused} if diary is not None else {})
        | {"took_s": took}
    )


def span_s(devices: int, days_per_second: float) -> int:
    """Choose how long a device gathers before it sends: an hour, longer at a fast pace."""
    needed_h = devices * 24 * days_per_second / MOST_PER_S
    for hours in (1, 2, 3, 4, 6, 8, 12, 24):
        if hours >= needed_h:
            return hours * 3_600
    return DAY_S


def _send(publisher: Publisher, pack: Pack) -> None:
    body = json.dumps(pack.records, separators=(",", ":")).encode()
    publisher.send(f"{pack.device}/senml", body)


def _wait(began: float, due: float) -> None:
    pause = began + due - time.monotonic()
    if pause > 0:
        time.sleep(pause)
