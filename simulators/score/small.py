"""The small fixed set of seasons that the tests play: under a minute of one core."""

from __future__ import annotations

from simulators.score.play import Order

ORDERS = (
    Order("toppled-at-night", every_min=30, days=80),
    Order("stolen", every_min=30, days=60),
    Order("swarm-in-flow", every_min=20, days=75),
    Order("robbing-in-august", every_min=30, days=60),
    Order("queen-lost-in-may", every_min=30, days=90, outlook_days=42),
    Order("sensor-faults", every_min=30, days=55),
    Order("starvation-in-march", every_min=30),
)
