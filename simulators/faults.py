"""Device troubles: silent, stuck, drained, drifting, late, repeated, shuffled, wrong clock."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from simulators.plans import Floats, Happening, Ints, ScenarioError
from simulators.sensors import Feed

Bools = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
Fault = Callable[[Feed, Bools, Happening, np.random.Generator], Feed]

# what a watcher should call each; None: it must cope without a word
KINDS = {
    "silent": "silent",
    "dead battery": "low_battery",
    "low battery": "low_battery",
    "stuck": "stuck",
    "clock": "clock",
    "wrong zone": "clock",
    "drift": "scale_drift",
    "late": None,
    "repeats": None,
    "shuffled": None,
    "spikes": None,
    "patchy": None,
    "moved": None,
}


def suffer(
    feed: Feed, event: Happening, begin_s: int, end_s: int, chance: np.random.Generator
) -> Feed:
    """Put one trouble into one feed."""
    if event.what not in FAULTS:
        raise ScenarioError(f"{feed.device}: trouble {event.what!r}: not known")
    during = (feed.time_s >= begin_s) & (feed.time_s < end_s)
    return FAULTS[event.what](feed, during, event, chance)


def _keep(feed: Feed, keep: Bools) -> Feed:
    return replace(feed, time_s=feed.time_s[keep], value=feed.value[keep], sent_s=feed.sent_s[keep])


def _with(feed: Feed, value: Floats) -> Feed:
    return replace(feed, value=value)


def _silent(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    del event, chance
    return _keep(feed, ~during)


def _patchy(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    """Lose a share of the records, in runs, as a weak radio does."""
    runs = np.repeat(chance.random(during.size // 8 + 1), 8)[: during.size]
    return _keep(feed, ~(during & (runs < (event.size or 0.25))))


def _stuck(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    del event, chance
    value = feed.value.copy()
    if during.any() and feed.quantity not in ("battery", "signal", "ambient"):
        value[during] = value[np.argmax(during)]
    return _with(feed, value)


def _low_battery(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    """Discharge slowly, then over the knee; a dead battery ends the feed."""
    del chance
    is_dead = event.what == "dead battery"
    through = np.cumsum(during) / max(int(during.sum()), 1)
    value = feed.value.copy()
    if feed.quantity == "battery":
        sunk = 3.95 - 0.55 * through - 0.35 * through**8
        value[during] = np.round(sunk + 0.3 * (value - 3.95), 3)[during]
    feed = _with(feed, value)
    after = np.zeros(during.size, np.bool_)
    if is_dead and during.any():
        after[during.size - int(np.argmax(during[::-1])) :] = True
    return _keep(feed, ~after)


def _drift(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    """Creep away, kg a week; it does not come back."""
    del chance
    if feed.quantity != "weight" or not during.any():
        return feed
    weeks = (feed.time_s - feed.time_s[np.argmax(during)]) / 604_800.0
    last = float(weeks[during].max())
    moved = feed.value + event.size * np.clip(weeks, 0, last)
    return _with(feed, np.round(moved, 3).astype(np.float64))


def _spikes(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    hit = during & (chance.random(during.size) < (event.size or 0.02))
    if feed.quantity in ("battery", "signal", "ambient", "ambient-humidity"):
        return feed
    wild = np.clip(feed.value + chance.normal(0, 25, during.size), -4, 299)
    if feed.quantity.startswith("bees") or feed.quantity == "rain":
        wild = feed.value
    if feed.quantity.startswith("nest"):
        wild = np.clip(wild, -39, 59)
    return _with(feed, np.round(np.where(hit, wild, feed.value), 2).astype(np.float64))


def _clock(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    """Stamp records some hours wrong; they are sent at the right time."""
    del chance
    shift = np.where(during, round(3_600 * event.size), 0)
    return replace(feed, time_s=feed.time_s + shift)


def _late(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    """Keep records back and send them together when the radio is back."""
    del event, chance
    if not during.any():
        return feed
    end = int(feed.time_s[during].max()) + 600
    return replace(feed, sent_s=np.where(during, end, feed.sent_s))


def _shuffled(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    """Delay some records by hours, so that they come out of order."""
    held = during & (chance.random(during.size) < 0.3)
    wait = chance.exponential(3_600 * (event.size or 3.0), during.size).astype(np.int64)
    return replace(feed, sent_s=feed.sent_s + held * wait)


def _repeats(feed: Feed, during: Bools, event: Happening, chance: np.random.Generator) -> Feed:
    """Send some records twice, unchanged."""
    again = np.flatnonzero(during & (chance.random(during.size) < (event.size or 0.1)))
    wait: Ints = chance.integers(60, 7_200, again.size)
    order = np.argsort(np.concatenate((feed.time_s, feed.time_s[again])), kind="stable")
    return replace(
        feed,
        time_s=np.concatenate((feed.time_s, feed.time_s[again]))[order],
        value=np.concatenate((feed.value, feed.value[again]))[order],
        sent_s=np.concatenate((feed.sent_s, feed.sent_s[again] + wait))[order],
    )


FAULTS: dict[str, Fault] = {
    "silent": _silent,
    "patchy": _patchy,
    "stuck": _stuck,
    "low battery": _low_battery,
    "dead battery": _low_battery,
    "drift": _drift,
    "spikes": _spikes,
    "clock": _clock,
    "wrong zone": _clock,
    "late": _late,
    "shuffled": _shuffled,
    "repeats": _repeats,
}
