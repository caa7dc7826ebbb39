"""A loop that must live: run in a thread of its own, and started again when it ends too soon."""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from threading import Event, Thread

import structlog

from hivewatch import metrics

LOG = structlog.get_logger(__name__)

Loop = Callable[[Event, Callable[[], None]], None]
"""Runs until the event is set, and gives a sign of life by the function now and then."""

SWITCH_S = 0.0005  # own choice: ingest and answers wait less for a loop that works
RESTART_S = (1.0, 60.0)  # own choice: the first and the longest wait before a loop starts again


def start(name: str, loop: Loop, stop: Event, beat: Callable[[str], None]) -> Thread:
    """Start a loop in a thread.

    Parameters
    ----------
    name : str
        Of the loop, for the log, the metrics and its signs of life.
    beat : Callable
        Is told the name at each sign of life.
    """
    thread = Thread(target=_keep, args=(name, loop, stop, beat), name=name, daemon=True)
    thread.start()
    return thread


def _keep(name: str, loop: Loop, stop: Event, beat: Callable[[str], None]) -> None:
    """Run a loop, and start it again when it ends."""
    wait_s = RESTART_S[0]
    while not stop.is_set():
        started_s = time.monotonic()
        try:
            loop(stop, lambda: beat(name))
        except Exception:
            LOG.exception("loop_broke", loop=name)
        if stop.is_set():
            return
        metrics.LOOP_RESTARTS.labels(name).inc()
        if time.monotonic() - started_s > RESTART_S[1]:
            wait_s = RESTART_S[0]
        stop.wait(wait_s * random.uniform(0.5, 1.0))  # noqa: S311 - jitter, no secret
        wait_s = min(wait_s * 2, RESTART_S[1])
