"""What a keeper can set, from a TOML file and the environment; nothing runs before all is valid."""

from hivewatch.settings.defaults import defaults_text
from hivewatch.settings.fields import Quiet
from hivewatch.settings.load import load
from hivewatch.settings.secrets import remarks
from hivewatch.settings.sources import find
from hivewatch.settings.tree import Alerts, Api, Broker, Mirror, Settings, Store

__all__ = [
    "Alerts",
    "Api",
    "Broker",
    "Mirror",
    "Quiet",
    "Settings",
    "Store",
    "defaults_text",
    "find",
    "load",
    "remarks",
]
