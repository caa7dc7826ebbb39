"""Alive, ready, and what is counted."""

from __future__ import annotations

from prometheus_client.parser import text_string_to_metric_families

from hivewatch import metrics
from hivewatch.health import Health


def test_a_loop_is_well_while_it_beats():
    at_s = 1000.0
    health = Health(lambda: at_s, {"ingest": 60.0, "deliver": 10.0})
    assert {one.name: one.is_well for one in health.parts()} == {"ingest": False, "deliver": False}
    health.beat("ingest")
    health.beat("deliver")
    assert all(one.is_well for one in health.parts())
    at_s = 1030.0
    assert {one.name: one.is_well for one in health.parts()} == {"ingest": True, "deliver": False}
    assert "30 s" in health.parts()[1].detail


def test_a_clock_that_jumps_back_makes_no_loop_ill():
    at_s = 1000.0
    health = Health(lambda: at_s, {"ingest": 60.0})
    health.beat("ingest")
    at_s = 10.0
    assert health.parts()[0].is_well


def test_a_part_that_cannot_be_asked_is_not_well():
    def break_down():
        raise OSError("no such device")

    health = Health(lambda: 0.0, {}, {"store": break_down, "broker": lambda: None})
    parts = {one.name: one for one in health.parts()}
    assert not parts["store"].is_well
    assert "no such device" in parts["store"].detail
    assert parts["broker"].is_well


def test_ready_names_the_part_that_is_not(fresh):
    assert fresh.http.get("/readyz").json()["ready"]
    fresh.fault = "refused the password"
    answer = fresh.http.get("/readyz")
    assert answer.status_code == 503
    broken = [one for one in answer.json()["parts"] if not one["well"]]
    assert broken == [{"name": "broker", "well": False, "detail": "refused the password"}]
    assert fresh.http.get("/healthz").json() == {"status": "alive"}


def test_metrics_read_back_by_the_reference_parser(here):
    """The text format, by the parser of the Prometheus project's own client."""
    here.http.get("/api/v1/yards")
    answer = here.http.get("/metrics")
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    families = {one.name: one for one in text_string_to_metric_families(answer.text)}
    for name in metrics.DOCUMENTED:
        family = families[name.removesuffix("_total")]
        assert family.documentation
        assert name.startswith("hivewatch_")
    answered = {
        one.labels["status"]: one.value
        for one in families["hivewatch_api_request_seconds"].samples
        if one.name.endswith("_count")
    }
    assert set(answered) == {"1xx", "2xx", "3xx", "4xx", "5xx"}
    assert answered["2xx"] >= 1


def test_labels_come_from_closed_sets(here):
    """No hive, device, yard or path ever becomes a label."""
    for path in ("/api/v1/hives/hazel-1", "/api/v1/hives/hazel-9", "/x", "/api/v1/devices"):
        here.http.get(path)
    text = here.http.get("/metrics").text
    assert "hazel" not in text
    assert "scale-1" not in text
    families = text_string_to_metric_families(text)
    names = {label for family in families for one in family.samples for label in one.labels}
    assert names <= {"reason", "kind", "channel", "state", "loop", "status", "le"}


def test_a_closed_set_starts_at_zero():
    metrics.at_zero(metrics.DELIVERIES, ("mailto",), ("sent", "failed"))
    samples = {
        tuple(one.labels.values()): one.value for one in metrics.DELIVERIES.collect()[0].samples
    }
    assert samples["mailto", "sent"] == 0
    assert samples["mailto", "failed"] == 0
