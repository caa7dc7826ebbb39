"""The small fixed set of seasons that the tests play: under a minute of one core."""

from __future__ import annotations

from simulators.score.play import Order

ORDERS = (
    Order("toppled-at-night"),
    Order("stolen"),
)
