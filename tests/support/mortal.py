"""A subscriber that is killed again and again: run as a script, it forks the one that dies.

Loading Python's libraries takes longer than all the rest, so it is done once. Arguments: the store,
the broker's address, the number of kills, the longest life in seconds, a seed. It prints how many
of the kills fell within a commit, then serves without being killed until its input ends.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import time
import traceback
from pathlib import Path
from threading import Event

from hivewatch import logs
from hivewatch.clock import WallClock
from hivewatch.ingest.intake import Intake
from hivewatch.ingest.subscriber import Subscriber
from hivewatch.settings import Broker
from hivewatch.store.open import Store


class Telling(Intake):
    """An intake that tells a pipe when it is within a commit."""

    pipe = -1

    def commit(self, *args):
        os.write(self.pipe, b"<")
        done = super().commit(*args)
        os.write(self.pipe, b">")
        return done


def serve(store: Path, url: str, pipe: int) -> None:
    logs.set_up("error")
    try:
        intake = Telling(Store(store))
        intake.pipe = pipe
        Subscriber(Broker(url=url), intake, WallClock()).run(Event(), lambda: None)
    except BaseException:  # noqa: BLE001 - said, and the life is over
        traceback.print_exc()
    finally:
        os._exit(1)  # it must never come back into the loop of its parent


def main() -> None:
    store, url = Path(sys.argv[1]), sys.argv[2]
    kills, longest_s, seed = int(sys.argv[3]), float(sys.argv[4]), int(sys.argv[5])
    lives = random.Random(seed)
    within = after = 0
    for kill in range(kills + 1):
        reads, writes = os.pipe()
        child = os.fork()
        if child == 0:
            serve(store, url, writes)
        os.close(writes)
        if kill == kills:
            print(within, after, flush=True)
            sys.stdin.read()
        else:
            time.sleep(lives.uniform(0, longest_s))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        said = b""
        while some := os.read(reads, 65536):
            said += some
        os.close(reads)
        within += said.endswith(b"<")
        after += said.endswith(b">")


if __name__ == "__main__":
    main()
