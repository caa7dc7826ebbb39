"""A loop that ends is started again, however it ended."""

from __future__ import annotations

from threading import Event

import pytest

from hivewatch import loops, metrics


def restarts(name):
    return metrics.LOOP_RESTARTS.labels(name)._value.get()


@pytest.mark.parametrize("breaks", [True, False])
def test_a_loop_that_ends_is_started_again(monkeypatch, breaks):
    monkeypatch.setattr(loops, "RESTART_S", (0.01, 0.02))
    stop, beats, runs = Event(), [], []
    before = restarts("bees")

    def loop(stop, beat):
        beat()
        runs.append(1)
        if len(runs) < 3:
            if breaks:
                raise ValueError("no such bee")
            return
        stop.wait(20.0)

    thread = loops.start("bees", loop, stop, beats.append)
    while len(runs) < 3:
        thread.join(0.01)
    stop.set()
    thread.join(10.0)
    assert not thread.is_alive()
    assert beats == ["bees"] * 3
    assert restarts("bees") == before + 2


def test_a_loop_that_is_told_to_stop_is_not_started_again():
    stop, runs = Event(), []

    def loop(stop, _beat):
        runs.append(1)
        stop.set()

    loops.start("bees", loop, stop, lambda _name: None).join(10.0)
    assert runs == [1]
