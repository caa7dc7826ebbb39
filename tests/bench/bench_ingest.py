"""Messages a second, durable at QoS 1, beside a bare paho subscriber that only counts.

Run: python tests/bench/bench_ingest.py [--quick]. Both subscribers take the same number of
messages from the same mosquitto while the same publisher sends as fast as it can; rounds alternate.
"""

from __future__ import annotations

import multiprocessing
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from threading import Event, Thread

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from hivewatch import logs
from hivewatch.clock import WallClock
from hivewatch.ingest.intake import Intake
from hivewatch.ingest.subscriber import Subscriber
from hivewatch.settings import Broker
from hivewatch.store.open import Store

BROKERS = {
    "20 in flight (mosquitto's default)": "max_queued_messages 0\n",
    "no limit in flight": "max_queued_messages 0\nmax_inflight_messages 0\n",
}


def publish(port: int, count: int) -> None:
    """Send `count` one-record packs of one device."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.max_inflight_messages_set(1000)
    client.connect("127.0.0.1", port)
    client.loop_start()
    start_s = WallClock().now_s() - count
    for i in range(count):
        pack = b'[{"n":"weight","u":"kg","v":%d.5,"t":%d}]' % (20 + i % 50, start_s + i)
        info = client.publish("hivewatch/scale-1/senml", pack, qos=1)
        if i % 500 == 499:
            info.wait_for_publish(30)
    info.wait_for_publish(60)
    client.disconnect()


def bare(port: int, count: int) -> float:
    """Count messages with paho alone, acknowledged as paho does it; gives messages a second."""
    seen: list[float] = []
    done = Event()

    def take(_client: Client, _userdata: object, _message: MQTTMessage) -> None:
        seen.append(time.perf_counter())
        if len(seen) == count:
            done.set()

    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    subscribed = Event()
    client.on_message = take
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect("127.0.0.1", port)
    client.subscribe("hivewatch/+/senml", qos=1)
    client.loop_start()
    subscribed.wait(10)
    sender = _sender(port, count)
    done.wait(300)
    sender.join()
    client.disconnect()
    client.loop_stop()
    return count / (seen[-1] - seen[0])


class _Counting(Intake):
    """The real intake, which also notes when it was done."""

    stored = 0
    first_s = last_s = 0.0

    def commit(self, *args: object, **kwargs: object) -> object:
        self.first_s = self.first_s or time.perf_counter()
        done = super().commit(*args, **kwargs)
        self.stored += done.stored
        self.last_s = time.perf_counter()
        return done


def ours(port: int, count: int, folder: Path, number: int) -> float:
    """Take messages into a store; gives durable messages a second."""
    store = Store(folder / f"bench-{number}.db")
    intake = _Counting(store)
    broker = Broker(url=f"mqtt://127.0.0.1:{port}", client_id=f"bench-{number}")
    subscriber = Subscriber(broker, intake, WallClock())
    stop = Event()
    thread = Thread(target=subscriber.run, args=(stop, lambda: None))
    thread.start()
    while subscriber.fault is not None:
        time.sleep(0.01)
    sender = _sender(port, count)
    sender.join()
    until_s = time.monotonic() + 120
    while intake.stored < count and time.monotonic() < until_s:
        time.sleep(0.01)
    stop.set()
    thread.join()
    store.close()
    assert intake.stored == count
    return count / (intake.last_s - intake.first_s)


def _sender(port: int, count: int) -> multiprocessing.Process:
    sender = multiprocessing.get_context("spawn").Process(target=publish, args=(port, count))
    sender.start()
    return sender


def main() -> None:
    """Print the two rates and their ratio for each kind of broker."""
    logs.set_up("warning")
    count, rounds = (2_000, 1) if "--quick" in sys.argv else (20_000, 3)
    for name, lines in BROKERS.items():
        with tempfile.TemporaryDirectory() as folder:
            with socket.socket() as free:
                free.bind(("127.0.0.1", 0))
                port = free.getsockname()[1]
            config = Path(folder) / "mosquitto.conf"
            config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\n{lines}")
            with subprocess.Popen(["mosquitto", "-c", config], stderr=subprocess.DEVNULL) as broker:
                time.sleep(0.5)
                pairs = [
                    (bare(port, count), ours(port, count, Path(folder), number))
                    for number in range(rounds)
                ]
                broker.terminate()
        bare_rate = statistics.median(pair[0] for pair in pairs)
        our_rate = statistics.median(pair[1] for pair in pairs)
        ratio = statistics.median(pair[1] / pair[0] for pair in pairs)
        print(f"{name}: bare {bare_rate:,.0f}/s, durable {our_rate:,.0f}/s, ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
