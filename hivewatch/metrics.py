"""What the daemon counts about itself, in the Prometheus text format.

Labels come from closed sets only (reason, kind, channel, state, loop), never a hive or a device; a
room names its set once with `at_zero`, so that a value that has not happened yet reads 0 instead
of being absent. All objects may be used from any thread; each process counts for itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product
from operator import add

from prometheus_client import (
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    disable_created_metrics,
    generate_latest,
)
from prometheus_client.metrics import MetricWrapperBase
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector

disable_created_metrics()  # type: ignore[no-untyped-call]
REGISTRY = CollectorRegistry()
CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
"""Content type of the text format 0.0.4, Prometheus documentation, "Exposition formats"."""

# Own choice: one fsync on a memory card up to the ten seconds a writer waits for its turn.
_COMMIT_S = (0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)

MESSAGES = Counter(
    "hivewatch_ingest_messages_total", "Messages taken from the broker.", registry=REGISTRY
)
READINGS = Counter(
    "hivewatch_ingest_readings_total", "Readings stored for the first time.", registry=REGISTRY
)
REPEATS = Counter(
    "hivewatch_ingest_repeats_total", "Readings that were in the store already.", registry=REGISTRY
)
QUARANTINED = Counter(
    "hivewatch_ingest_quarantined_total",
    "Records or whole packs put into quarantine, by reason.",
    ["reason"],
    registry=REGISTRY,
)
COMMIT = Histogram(
    "hivewatch_ingest_commit_seconds",
    "Time one batch takes from its first insert to the end of its commit.",
    buckets=_COMMIT_S,
    registry=REGISTRY,
)
QUEUE = Gauge(
    "hivewatch_ingest_queue_messages",
    "Messages received and not yet committed.",
    registry=REGISTRY,
)
LAG = Gauge(
    "hivewatch_ingest_lag_seconds",
    "How long the oldest message of the last batch waited from its arrival to its commit.",
    registry=REGISTRY,
)
READING_AGE = Gauge(
    "hivewatch_ingest_reading_age_seconds",
    "Age of the newest reading of the last batch when it was committed.",
    registry=REGISTRY,
)
LAST_MESSAGE = Gauge(
    "hivewatch_last_message_seconds",
    "Unix time at which the last message was committed; 0 before the first.",
    registry=REGISTRY,
)
EVALUATION = Histogram(
    "hivewatch_watch_evaluation_seconds",
    "Time it takes to look at one hive.",
    buckets=_COMMIT_S,
    registry=REGISTRY,
)
FINDINGS = Counter(
    "hivewatch_watch_findings_total",
    "Findings told for the first time, by kind.",
    ["kind"],
    registry=REGISTRY,
)
DELIVERIES = Counter(
    "hivewatch_alerts_deliveries_total",
    "Attempts to hand an alert to a channel, by kind of channel and outcome.",
    ["channel", "state"],
    registry=REGISTRY,
)
MIRROR_POINTS = Counter(
    "hivewatch_mirror_points_total",
    "Readings and findings that the mirror was sent, by what became of them there.",
    ["state"],
    registry=REGISTRY,
)
MIRROR_WAITING = Gauge(
    "hivewatch_mirror_waiting_devices",
    "Devices with readings that the mirror has not got yet.",
    registry=REGISTRY,
)
LOOP_BEAT = Gauge(
    "hivewatch_loop_beat_seconds",
    "Unix time of the last sign of life of each loop.",
    ["loop"],
    registry=REGISTRY,
)
LOOP_RESTARTS = Counter(
    "hivewatch_loop_restarts_total",
    "Times a loop was started again after a fault, by loop.",
    ["loop"],
    registry=REGISTRY,
)
REQUEST = Histogram(
    "hivewatch_api_request_seconds",
    "Time to answer one request of the API or the pages, by class of status.",
    ["status"],
    registry=REGISTRY,
)


def at_zero(metric: MetricWrapperBase, *sets: Iterable[str]) -> None:
    """Create every combination of the labels' closed sets, so that each starts at 0."""
    for values in product(*sets):
        metric.labels(*values)


at_zero(REQUEST, ("1xx", "2xx", "3xx", "4xx", "5xx"))

DOCUMENTED: tuple[str, ...] = tuple(
    sorted(
        f"{family.name}_total" if family.type == "counter" else family.name
        for family in REGISTRY.collect()
    )
)
"""Every name as the documentation spells it."""


def counted() -> list[Metric]:
    """Give all values of this process, in a form that may be handed to another."""
    return list(REGISTRY.collect())


def added(ours: Iterable[Metric], theirs: Iterable[Metric]) -> list[Metric]:
    """Add up what two processes counted; of a gauge take the larger, one of them leaves it at 0."""
    families = []
    other = {family.name: family for family in theirs}
    for family in ours:
        values = {(one.name, *sorted(one.labels.items())): one for one in family.samples}
        for one in other[family.name].samples:
            key = (one.name, *sorted(one.labels.items()))
            same = values.get(key)
            join = max if family.type == "gauge" else add
            values[key] = one if same is None else one._replace(value=join(one.value, same.value))
        both = Metric(family.name, family.documentation, family.type, family.unit)
        both.samples = list(values.values())
        families.append(both)
    return families


class _Families(Collector):
    """Families as the text writer wants them."""

    def __init__(self, families: Iterable[Metric]) -> None:
        self._families = families

    def collect(self) -> Iterable[Metric]:
        return self._families


def exposition(families: Iterable[Metric]) -> bytes:
    """Give values in the text format."""
    return generate_latest(_Families(families))
