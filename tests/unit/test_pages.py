"""The pipe between the daemon and its pages: what goes over it, and when one end is no more."""

from __future__ import annotations

import multiprocessing
from threading import Event, Thread

import pytest
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.parser import text_string_to_metric_families

from hivewatch import metrics
from hivewatch.api import serve
from hivewatch.clock import WallClock
from hivewatch.health import Health
from hivewatch.pages import Pages
from hivewatch.settings import Settings


def health(*loops_that_live, patience_s=60.0):
    one = Health(lambda: 1000.0, dict.fromkeys(loops_that_live, patience_s))
    for name in loops_that_live:
        one.beat(name)
    return one


@pytest.fixture
def line():
    """Both ends, and the daemon's being served."""
    ours, theirs = multiprocessing.Pipe()
    pages = Pages(Settings(), WallClock(), None, health("ingest", "watch"), "warning")
    stop, beats = Event(), []

    def run():
        try:
            while not stop.is_set():
                pages._serve(ours, lambda: beats.append(1))
        except (EOFError, OSError):
            beats.append("ended")

    thread = Thread(target=run)
    thread.start()
    yield theirs, beats
    stop.set()
    thread.join(10.0)
    ours.close()  # first: whoever still listens at the other end reads that it is over
    theirs.close()


def heard_by(daemon, line):
    """Take answers as they come, as the process does."""

    def listen():
        try:
            while True:
                word, what = line.recv()
                assert word == "told"
                daemon.heard(what)
        except (EOFError, OSError):
            pass

    Thread(target=listen, daemon=True).start()


def test_the_daemon_is_asked_over_the_pipe(line):
    theirs, _ = line
    daemon = serve.Daemon(theirs, health("outlooks"))
    heard_by(daemon, theirs)
    assert [one.name for one in daemon.parts()] == ["ingest", "watch", "outlooks"]
    names = {family.name for family in daemon.counted()}
    assert {f"{name}_total" for name in names} | names >= set(metrics.DOCUMENTED)


def test_a_daemon_that_does_not_answer_is_not_well(monkeypatch):
    monkeypatch.setattr(serve, "ANSWER_S", 0.05)
    ours, theirs = multiprocessing.Pipe()
    daemon = serve.Daemon(theirs, health("outlooks"))
    parts = {one.name: one.is_well for one in daemon.parts()}
    assert parts == {"daemon": False, "outlooks": True}
    daemon.heard((0, [], []))  # too late: it is no answer to the next question
    assert {one.name for one in daemon.parts()} == {"daemon", "outlooks"}
    ours.close()
    theirs.close()
    assert {one.name for one in daemon.parts()} == {"daemon", "outlooks"}


def test_a_beat_is_given_only_while_all_of_it_lives(line):
    theirs, beats = line
    well, ill = health("outlooks"), health("outlooks", patience_s=-1.0)
    serve.Daemon(theirs, ill).beat()
    daemon = serve.Daemon(theirs, well)
    heard_by(daemon, theirs)
    daemon.parts()  # an answer: what was sent before has been taken
    assert beats == []
    daemon.beat()
    daemon.parts()
    assert beats == [1]


def test_what_changed_is_handed_on_once_from_its_earliest_time():
    ours, theirs = multiprocessing.Pipe()
    pages = Pages(Settings(), WallClock(), None, health("ingest"), "warning")
    for hive, from_s in (("mill-1", 500), ("mill-1", 300), ("mill-2", 0), ("mill-1", 400)):
        pages.changed(hive, from_s)
    pages._serve(ours, pytest.fail)
    assert theirs.recv() == ("changed", {"mill-1": 300, "mill-2": 0})
    pages._serve(ours, pytest.fail)
    assert not theirs.poll()
    ours.close()
    theirs.close()


def counted(messages, waiting, took_s):
    registry = CollectorRegistry()
    Counter("m", "Messages.", ["reason"], registry=registry).labels("time").inc(messages)
    Gauge("q", "Queue.", registry=registry).set(waiting)
    histogram = Histogram("t", "Time.", ["loop"], buckets=(1.0, 2.0), registry=registry)
    histogram.labels("api" if took_s > 1 else "watch").observe(took_s)
    return list(registry.collect())


def test_two_processes_count_together():
    """Read back by the parser of the Prometheus project's own client."""
    both = metrics.exposition(metrics.added(counted(2, 5, 0.5), counted(3, 0, 1.5))).decode()
    families = {one.name: one for one in text_string_to_metric_families(both)}
    assert [one.value for one in families["m"].samples if one.name == "m_total"] == [5.0]
    assert [one.value for one in families["q"].samples] == [5.0]
    counts = {one.labels["loop"]: one.value for one in families["t"].samples if "count" in one.name}
    assert counts == {"watch": 1.0, "api": 1.0}
