"""mosquitto, started with the very files that we ship; only paths and ports are replaced."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from brokers import (
    LOOPBACK,
    MQTT5,
    MQTT311,
    Devices,
    Mosquitto,
    free_port,
    wait_until,
    weight_pack,
)
from listening import Listening
from paho.mqtt.enums import MQTTProtocolVersion

from hivewatch.clock import WallClock

DEPLOY = Path(__file__).parents[2] / "deploy"
PASSWORDS = {"hivewatch": "bees-in-may", "scale-1": "one", "scale-2": "two"}
NOT_ALLOWED = 135  # MQTT 5.0, section 3.4.2.1: PUBACK reason code "Not authorized"


class ShippedBroker(Mosquitto):
    """mosquitto with deploy/mosquitto.conf and deploy/mosquitto.acl."""

    def __init__(self, folder: Path, *, encrypted: bool = False) -> None:
        self.tls_port, port = free_port(), free_port()
        text = (DEPLOY / "mosquitto.conf").read_text()
        moved = {
            "/run/mosquitto": str(folder),
            "/var/lib/mosquitto": str(folder),
            "/etc/mosquitto/certs": str(folder),
            "/etc/mosquitto": str(folder),
            "listener 1883 ": f"listener {port} ",
        }
        if encrypted:
            text = re.sub(r"(?m)^#(listener 8883|\w+file |tls_version)", r"\1", text)
            moved["listener 8883"] = f"listener {self.tls_port} {LOOPBACK}"
        for shipped, here in moved.items():
            assert shipped in text
            text = text.replace(shipped, here)
        if os.geteuid() == 0:
            text += "user root\n"
        (folder / "hivewatch.acl").write_text((DEPLOY / "mosquitto.acl").read_text())
        passwords = folder / "hivewatch.passwd"
        passwords.touch(0o600)
        for name, word in PASSWORDS.items():
            subprocess.run(["mosquitto_passwd", "-b", passwords, name, word], check=True)
        super().__init__(folder, port=port, text=text)

    def device(self, name: str, **options) -> Devices:
        return Devices(self.port, username_pw_set=(name, PASSWORDS[name]), **options)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "broker"
    made.mkdir()
    return made


@pytest.fixture
def broker(folder: Path) -> Iterator[ShippedBroker]:
    made = ShippedBroker(folder)
    yield made
    made.stop()


@pytest.fixture
def daemon(broker: ShippedBroker, tmp_path: Path) -> Iterator[Listening]:
    url = f"mqtt://{LOOPBACK}:{broker.port}"
    made = Listening(tmp_path, url, username="hivewatch", password="bees-in-may").start()
    yield made
    if made.is_running:
        made.stop()


def test_the_shipped_broker_starts_without_a_complaint(broker: ShippedBroker) -> None:
    said = (broker.folder / "mosquitto.log").read_text().lower()
    as_root = "warning: mosquitto should not be run as root"  # as the tests may have to
    assert not re.findall("error|warning|note:|deprecated", said.replace(as_root, ""))


def test_what_was_acknowledged_two_seconds_before_a_kill_is_not_lost(
    broker: ShippedBroker, daemon: Listening
) -> None:
    daemon.stop()  # its session stays, and it is away
    device = broker.device("scale-1")
    now_s = WallClock().now_s()
    packs = [weight_pack(now_s - 5000 + place, 40 + place / 1000) for place in range(3000)]
    device.send("scale-1", *packs)
    time.sleep(2.0)  # one save a second, and the time a save takes
    broker.kill()
    device.close()
    broker.start()
    daemon.start()
    daemon.wait_count(3000)


@pytest.mark.parametrize("protocol", [MQTT5, MQTT311])
@pytest.mark.parametrize("topic", ["hivewatch/scale-2/senml", "elsewhere", "hivewatch/x/y/senml"])
def test_a_device_writes_under_its_own_name_alone(
    broker: ShippedBroker, daemon: Listening, topic: str, protocol: MQTTProtocolVersion
) -> None:
    now_s = WallClock().now_s()
    intruder = broker.device("scale-1", protocol=protocol)
    said: list[int] = []
    intruder.client.on_publish = lambda *args: said.append(args[3].value)
    intruder.post(topic, weight_pack(now_s, 99.0))
    wait_until(lambda: said)
    intruder.close()
    assert said[0] == (NOT_ALLOWED if protocol is MQTT5 else 0)
    device = broker.device("scale-1")
    device.send("scale-1", weight_pack(now_s, 41.0))
    device.status("scale-1", b"online")
    device.close()
    daemon.wait_count(1)
    assert daemon.readings() == [("scale-1", "weight", now_s, 41.0)]
    wait_until(lambda: daemon.device("scale-1").status == "online")


def test_a_device_hears_nothing_of_the_others(broker: ShippedBroker) -> None:
    one, other = broker.device("scale-1"), broker.device("scale-2")
    heard: list[str] = []
    one.client.on_message = lambda _client, _userdata, message: heard.append(message.topic)
    one.client.subscribe("#", 1)
    other.send("scale-2", weight_pack(WallClock().now_s(), 41.0))
    time.sleep(0.5)
    assert heard == []
    one.close()
    other.close()


@pytest.mark.parametrize("login", [None, ("scale-1", "wrong"), ("nobody", "one")])
def test_nobody_gets_in_without_a_password(broker: ShippedBroker, login) -> None:
    from paho.mqtt.client import Client  # noqa: PLC0415
    from paho.mqtt.enums import CallbackAPIVersion  # noqa: PLC0415

    client = Client(CallbackAPIVersion.VERSION2)
    if login is not None:
        client.username_pw_set(*login)
    said: list[str] = []
    client.on_connect = lambda *args: said.append(str(args[3]))
    client.connect(LOOPBACK, broker.port)
    client.loop_start()
    wait_until(lambda: said)
    client.disconnect()
    client.loop_stop()
    assert said[0] == "Not authorized"


def test_the_encrypted_listener_works_with_its_marks_taken_off(
    folder: Path, tmp_path: Path
) -> None:
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"),
            *("-nodes", "-days", "2", "-subj", "/CN=broker", "-keyout", folder / "broker.key"),
            *("-addext", f"subjectAltName=IP:{LOOPBACK}", "-out", folder / "broker.crt"),
        ],
        check=True,
        capture_output=True,
    )
    (folder / "ca.crt").write_bytes((folder / "broker.crt").read_bytes())
    broker = ShippedBroker(folder, encrypted=True)
    daemon = Listening(
        tmp_path,
        f"mqtts://{LOOPBACK}:{broker.tls_port}",
        username="hivewatch",
        password="bees-in-may",
        ca_file=folder / "ca.crt",
    ).start()
    try:
        device = broker.device("scale-1")
        device.send("scale-1", weight_pack(WallClock().now_s(), 41.0))
        daemon.wait_count(1)
        device.close()
    finally:
        daemon.stop()
        broker.stop()


def test_hivewatch_check_is_content_with_the_shipped_files(
    broker: ShippedBroker, tmp_path: Path
) -> None:
    text = (DEPLOY / "hivewatch.toml").read_text()
    text = text.replace("/var/lib/hivewatch", str(tmp_path))
    text = text.replace("mqtt://127.0.0.1:1883", f"mqtt://127.0.0.1:{broker.port}")
    (tmp_path / "hivewatch.toml").write_text(text)
    secret = tmp_path / "broker.password"
    secret.write_text("bees-in-may\n")
    secret.chmod(0o640)
    program = Path(sys.executable).with_name("hivewatch")
    done = subprocess.run(
        [program, "check", "--config", tmp_path / "hivewatch.toml"],
        env=os.environ | {"HIVEWATCH_API__PORT": str(free_port())},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout
    assert [line[:6] for line in done.stdout.splitlines()] == ["ok    "] * 6
