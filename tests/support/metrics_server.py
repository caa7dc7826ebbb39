"""A real time-series server (VictoriaMetrics) that takes the InfluxDB v2 write API; loopback."""

from __future__ import annotations

import json
import subprocess
import urllib.parse
import urllib.request
from pathlib import Path
from threading import Event

from brokers import LOOPBACK, answers, free_port, wait_until

from hivewatch.clock import WallClock
from hivewatch.mirror import Mirror, loop
from hivewatch.settings import Mirror as MirrorSettings
from hivewatch.store.open import Store

Key = tuple[tuple[str, str], ...]  # the labels of a series, sorted


class MetricsServer:
    """Keeps what it is sent in a folder; `start` and `stop` as often as a test likes."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        folder.mkdir(exist_ok=True)

    @property
    def url(self) -> str:
        return f"http://{LOOPBACK}:{self.port}"

    def start(self) -> MetricsServer:
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [
                    "victoria-metrics",
                    f"-storageDataPath={self.folder / 'data'}",
                    f"-httpListenAddr={LOOPBACK}:{self.port}",
                    "-retentionPeriod=100y",
                    "-dedup.minScrapeInterval=1ms",  # it keeps a repeated point twice without
                    "-memory.allowedBytes=200MB",
                ],
                stdout=log,
                stderr=subprocess.STDOUT,
            )
        wait_until(lambda: answers(self.port) or self.process.poll() is not None)
        assert self.process.poll() is None, (self.folder / "log").read_text()
        return self

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(30.0)

    def ask(self, path: str, **query: str) -> bytes:
        address = f"{self.url}{path}?{urllib.parse.urlencode(query)}"
        with urllib.request.urlopen(address, timeout=30) as answer:
            return bytes(answer.read())

    def series(self, name: str) -> dict[Key, dict[int, float]]:
        """Read every series of a name: its labels -> Unix time in ms -> value."""
        self.ask("/internal/force_flush")
        found: dict[Key, dict[int, float]] = {}
        for line in self.ask(
            "/api/v1/export", **{"match[]": f'{{__name__="{name}"}}'}
        ).splitlines():
            one = json.loads(line)
            labels = {key: said for key, said in one["metric"].items() if key != "__name__"}
            points = zip(one["timestamps"], one["values"], strict=True)
            found.setdefault(tuple(sorted(labels.items())), {}).update(points)
        return found


def mirror_until_killed(path: Path, url: str) -> None:
    """Mirror a store, in a process of its own."""
    loop.POINTS = 100  # many pages, so that a kill falls between and within them
    settings = MirrorSettings(url=url, org="bees", bucket="hivewatch")
    Mirror(Store(path), settings, WallClock()).run(Event(), lambda: None)
