"""A copy of every reading and finding for other people's charts: an InfluxDB v2 write endpoint."""

from hivewatch.mirror.endpoint import Endpoint
from hivewatch.mirror.loop import Mirror

__all__ = ["Endpoint", "Mirror"]
