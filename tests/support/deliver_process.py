"""Run the delivery loop alone, to be killed: `python deliver_process.py STORE ADDRESS`."""

from __future__ import annotations

import sys
from pathlib import Path
from threading import Event

from hivewatch.alerts import deliver
from hivewatch.alerts.channels import open_channels
from hivewatch.clock import WallClock
from hivewatch.store.open import Store

deliver.LOOK_EVERY_S = 0.02
store = Store(Path(sys.argv[1]))
loop = deliver.Delivery(store, open_channels(sys.argv[2:]), WallClock())
print("ready", flush=True)
loop.run(Event(), lambda: None)
