"""Real brokers for the tests, and devices that publish to them; loopback only."""

from __future__ import annotations

import multiprocessing
import os
import socket
import subprocess
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

LOOPBACK = "127.0.0.1"
PATIENCE_S = 20.0  # for a machine under load; nothing is asserted of it
MQTT5, MQTT311 = MQTTProtocolVersion.MQTTv5, MQTTProtocolVersion.MQTTv311


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


def wait_until(what: Callable[[], Any], seconds: float = PATIENCE_S, said: str = "") -> Any:
    """Ask again and again until the answer is true; gives the answer."""
    until_s = time.monotonic() + seconds
    while not (answer := what()):
        assert time.monotonic() < until_s, f"waited {seconds} s for {said or what}"
        time.sleep(0.01)
    return answer


def answers(port: int) -> bool:
    try:
        with socket.create_connection((LOOPBACK, port), timeout=1.0):
            return True
    except OSError:
        return False


class Mosquitto:
    """A mosquitto of our own, with a folder for what it keeps."""

    def __init__(
        self,
        folder: Path,
        lines: Iterable[str] = (),
        *,
        listener: str = "",
        port: int = 0,
        text: str = "",
    ) -> None:
        """Start one with some lines of settings, or with the whole `text` of a settings file."""
        self.port = port or free_port()
        self.folder = folder
        self.config = folder / "mosquitto.conf"
        self.config.write_text(text or self._settings(listener, list(lines)))
        self.start()

    def _settings(self, listener: str, lines: list[str]) -> str:
        user = ["user root"] if os.geteuid() == 0 else []
        text = [*user, f"listener {self.port} {LOOPBACK}", listener, *lines]
        if not any(line.startswith(("password_file", "allow_anonymous")) for line in text):
            text.append("allow_anonymous true")
        return "\n".join(text) + "\n"

    def start(self) -> None:
        with (self.folder / "mosquitto.log").open("ab") as log:
            self.process = subprocess.Popen(
                ["mosquitto", "-c", self.config], stdout=log, stderr=subprocess.STDOUT
            )
        wait_until(lambda: answers(self.port) or self.process.poll() is not None)
        assert self.process.poll() is None, (self.folder / "mosquitto.log").read_text()

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(10.0)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(10.0)

    @property
    def url(self) -> str:
        return f"mqtt://{LOOPBACK}:{self.port}"


def persistent(folder: Path) -> list[str]:
    """Give the settings that let mosquitto keep what waits, through a proper stop."""
    return ["persistence true", f"persistence_location {folder}/", "max_queued_messages 0"]


class EmbeddedBroker:
    """The demo's own broker, which knows MQTT 3.1.1 only, in a process of its own."""

    def __init__(self) -> None:
        from hivewatch.stage import serve_broker  # noqa: PLC0415 - slow to load

        self.port = free_port()
        spawn = multiprocessing.get_context("spawn")
        self.process = spawn.Process(target=serve_broker, args=(self.port,), daemon=True)
        self.process.start()
        wait_until(lambda: answers(self.port))

    def stop(self) -> None:
        self.process.terminate()
        self.process.join(10.0)
        self.process.close()


class Devices:
    """Publishes as devices do, at QoS 1; `send` comes back when the broker has acknowledged."""

    def __init__(self, port: int, protocol: MQTTProtocolVersion = MQTT5, **options: Any) -> None:
        self.protocol = protocol
        self.client = Client(
            CallbackAPIVersion.VERSION2, protocol=protocol, client_id=options.pop("name", "")
        )
        self.client.max_inflight_messages_set(1000)
        if "will" in options:
            device = options.pop("will")
            self.client.will_set(f"hivewatch/{device}/status", "offline", qos=1, retain=True)
        for setting, value in options.items():
            getattr(self.client, setting)(*value)
        self.client.connect(LOOPBACK, port)
        self.client.loop_start()
        wait_until(self.client.is_connected)

    def post(self, topic: str, payload: bytes, *, retain: bool = False, content_type: str = ""):
        properties = None
        if content_type:
            properties = Properties(PacketTypes.PUBLISH)
            properties.ContentType = content_type
        return self.client.publish(topic, payload, qos=1, retain=retain, properties=properties)

    def send(self, device: str, *packs: bytes, content_type: str = "") -> None:
        topic = f"hivewatch/{device}/senml"
        sent = [self.post(topic, pack, content_type=content_type) for pack in packs]
        for one in sent:
            one.wait_for_publish(PATIENCE_S)
            assert one.is_published()

    def status(self, device: str, word: bytes) -> None:
        self.post(f"hivewatch/{device}/status", word, retain=True).wait_for_publish(PATIENCE_S)

    def vanish(self) -> None:
        """Break the line without a goodbye."""
        self.client.loop_stop()
        line = self.client.socket()
        assert line is not None
        line.shutdown(socket.SHUT_RDWR)
        line.close()

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def weight_pack(time_s: int, kg: float) -> bytes:
    return b'[{"n":"weight","u":"kg","v":%r,"t":%d}]' % (kg, time_s)
