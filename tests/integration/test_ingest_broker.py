"""The subscriber on a real mosquitto: sessions, status, passwords, restarts, acknowledgements."""

from __future__ import annotations

import json
import socket
import subprocess
import time
from pathlib import Path
from threading import Event, Thread

import pytest
from brokers import MQTT5, MQTT311, Devices, EmbeddedBroker, persistent, wait_until, weight_pack
from structlog.testing import capture_logs

from hivewatch.ingest.intake import Intake

NOW_S = int(time.time())  # noqa: TID251 - devices have real clocks


def packs(count, first_s=NOW_S - 100_000):
    return [weight_pack(first_s + i, 20 + i % 50) for i in range(count)]


@pytest.mark.parametrize("protocol", [MQTT5, MQTT311])
def test_readings_of_devices_of_both_protocols_are_stored(mosquitto, listening, devices, protocol):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port, protocol).send("scale-1", weight_pack(NOW_S, 41.5))
    here.wait_count(1)
    assert here.readings() == [("scale-1", "weight", NOW_S, 41.5)]
    assert here.subscriber._connection.protocol is MQTT5


def test_a_broker_that_knows_only_the_older_protocol_is_understood(listening):
    broker = EmbeddedBroker()
    try:
        here = listening(f"mqtt://127.0.0.1:{broker.port}").start()
        assert here.subscriber._connection.protocol is MQTT311
        older = Devices(broker.port, MQTT311)
        older.send("scale-1", *packs(50))
        here.wait_count(50)
        older.close()
        here.stop()
    finally:
        broker.stop()


@pytest.mark.parametrize("root", ["hivewatch", "apis/yard-2"])
def test_the_topic_root_is_a_setting(mosquitto, listening, devices, root):
    broker = mosquitto()
    here = listening(broker.url, topic_root=root).start()
    sender = devices(broker.port)
    sender.post("elsewhere/scale-1/senml", weight_pack(NOW_S, 1.0))
    sender.post(f"{root}/scale-1/senml", weight_pack(NOW_S, 2.0))
    here.wait_count(1)
    assert here.readings()[0][3] == 2.0


def test_what_is_sent_while_we_are_away_arrives_later(mosquitto, listening, devices):
    broker = mosquitto("max_queued_messages 0")
    here = listening(broker.url).start()
    here.stop()
    devices(broker.port).send("scale-1", *packs(3000))
    assert here.count() == 0
    here.start()
    here.wait_count(3000)


def test_what_waits_in_the_broker_survives_its_restart(mosquitto, listening, devices, tmp_path):
    broker = mosquitto(*persistent(tmp_path))
    here = listening(broker.url).start()
    here.stop()
    devices(broker.port).send("scale-1", *packs(200))
    broker.stop()
    broker.start()
    here.start()
    here.wait_count(200)


def test_a_broker_restart_is_got_over(mosquitto, listening, devices, tmp_path):
    broker = mosquitto(*persistent(tmp_path))
    here = listening(broker.url).start()
    devices(broker.port).send("scale-1", *packs(10))
    here.wait_count(10)
    with capture_logs() as lines:
        broker.stop()
        wait_until(lambda: here.subscriber.fault is not None)
        broker.start()
        wait_until(lambda: here.subscriber.fault is None)
    devices(broker.port).send("scale-1", *packs(10, NOW_S - 50_000))
    here.wait_count(20)
    lost = [line["fault"] for line in lines if line["event"] == "broker_lost"]
    assert "the line to the broker dropped; trying again" in lost
    assert len(lost) == len(set(lost))  # once for each fault, not once for each try
    connected = [line for line in lines if line["event"] == "broker_connected"]
    assert [line["session_kept"] for line in connected] == [True]


def test_a_late_acknowledgement_reaches_no_other_message(mosquitto, listening, devices):
    """Broker restarted without its sessions: the second message gets the number of the first."""
    broker = mosquitto()
    may_commit, holds = Event(), Event()

    class Slow(Intake):
        def commit(self, *args):
            holds.set()
            may_commit.wait(30.0)
            return super().commit(*args)

    here = listening(broker.url)
    here.wrap = lambda intake: Slow(intake._store)
    here.start()
    devices(broker.port).send("scale-1", weight_pack(NOW_S - 2, 1.0))
    assert holds.wait(20.0)
    broker.kill()
    broker.start()
    rival = _session_of(broker.port, here.broker.client_id)  # the session that we shall come into
    devices(broker.port).send("scale-1", weight_pack(NOW_S - 1, 2.0))
    holds.clear()
    with capture_logs():
        may_commit.set()  # the first is committed, and its number is that of the second
        here.wait_count(2)
    assert rival == 0
    assert [value for *_, value in here.readings()] == [1.0, 2.0]


def _session_of(port, client_id):
    """Open the session that the broker has forgotten, subscribed, and leave it."""
    words = f"-p {port} -i {client_id} -c -q 1 -E -t hivewatch/+/senml -V 5 -x 3600"
    done = subprocess.run(["mosquitto_sub", *words.split()], check=False, timeout=20.0)
    return done.returncode


def test_a_message_committed_on_a_lost_connection_is_not_acknowledged_on_the_next(
    mosquitto, listening, devices
):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).send("scale-1", weight_pack(NOW_S, 1.0))
    here.wait_count(1)
    here.stop()
    said = []

    class Client:
        def ack(self, mid, qos):
            said.append((mid, qos))

    class Line:
        client = Client()

    here.subscriber._connection = Line()
    present = here.subscriber._connections
    here.subscriber._to_ack = [(present - 1, 7, 1), (present, 8, 1), (present, 0, 0)]
    here.subscriber._acknowledge(here.intake.commit([]))
    assert said == [(8, 1)]
    here.subscriber._connection = None


def test_a_broker_with_twenty_in_flight_is_served_at_full_speed(mosquitto, listening, devices):
    """Each batch of twenty closes when the broker pauses; none waits for its age."""
    broker = mosquitto("max_queued_messages 0", "max_inflight_messages 20")
    here = listening(broker.url)
    sizes = []

    class Counting(Intake):
        def commit(self, messages, *args):
            sizes.append(len(messages))
            return super().commit(messages, *args)

    here.wrap = lambda intake: Counting(intake._store)
    here.start()
    started_s = time.monotonic()
    devices(broker.port).send("scale-1", *packs(4000))
    here.wait_count(4000, 60.0)
    took_s = time.monotonic() - started_s
    assert sum(sizes) == 4000
    assert took_s < 4000 / 20 * 0.1  # were each batch to wait for its 100 ms, it would take 20 s


def test_status_is_kept_and_a_dead_device_is_offline(mosquitto, listening, devices):
    broker = mosquitto()
    alive, dying = devices(broker.port), devices(broker.port, will="scale-2")
    alive.status("scale-1", b"online")
    dying.status("scale-2", b"online")
    here = listening(broker.url).start()  # the broker tells what it has retained
    wait_until(lambda: here.device("scale-1") and here.device("scale-2"))
    assert here.device("scale-1").status == here.device("scale-2").status == "online"
    dying.vanish()
    wait_until(lambda: here.device("scale-2").status == "offline", said="the last will")
    assert here.device("scale-1").status == "online"
    assert here.held() == []


def test_a_status_that_is_none_is_set_aside(mosquitto, listening, devices):
    broker = mosquitto()
    here = listening(broker.url).start()
    devices(broker.port).status("scale-1", b"asleep")
    held = here.wait_held(1)
    assert [(one.source, one.reason, one.raw) for one in held] == [
        ("hivewatch/scale-1/status", "status", b"asleep")
    ]


def _passwords(tmp_path):
    file = tmp_path / "passwords"
    subprocess.run(["mosquitto_passwd", "-b", "-c", file, "yard", "clover"], check=True)
    file.chmod(0o644)
    return f"password_file {file}"


def test_the_right_password_is_let_in(mosquitto, listening, devices, tmp_path):
    broker = mosquitto(_passwords(tmp_path))
    here = listening(broker.url, username="yard", password="clover").start()
    sender = devices(broker.port, username_pw_set=("yard", "clover"))
    sender.send("scale-1", weight_pack(NOW_S, 41.5))
    here.wait_count(1)


@pytest.mark.parametrize(
    ("username", "said"),
    [("yard", 'refused the password of "yard"'), (None, "refused us (not authorized)")],
)
def test_a_refused_password_is_said_in_one_line(mosquitto, listening, tmp_path, username, said):
    broker = mosquitto(_passwords(tmp_path))
    secret = {} if username is None else {"username": username, "password": "heather"}
    here = listening(broker.url, **secret).start(connected=False)
    wait_until(lambda: "refused" in here.subscriber.fault)
    assert here.subscriber.fault == (
        f"broker 127.0.0.1:{broker.port}: {said}; check [broker] username and password_file"
    )
    assert "heather" not in here.subscriber.fault


NO_SUBSCRIPTIONS = {
    "publishClientSend": True,
    "publishClientReceive": True,
    "subscribe": False,
    "unsubscribe": True,
}


def test_a_subscription_that_is_refused_is_said_in_one_line(mosquitto, listening, tmp_path):
    rights = tmp_path / "rights.json"
    access = [{"acltype": kind, "allow": allow} for kind, allow in NO_SUBSCRIPTIONS.items()]
    rights.write_text(json.dumps({"defaultACLAccess": access, "clients": [], "roles": []}))
    plugin = next(Path("/usr/lib").rglob("mosquitto_dynamic_security.so"))
    broker = mosquitto(f"plugin {plugin}", f"plugin_opt_config_file {rights}")
    here = listening(broker.url).start(connected=False)
    wait_until(lambda: here.subscriber.fault != "not connected yet")
    assert here.subscriber.fault == (
        f"broker 127.0.0.1:{broker.port}: refused hivewatch/+/senml or hivewatch/+/status;"
        " check its access list"
    )


def test_a_broker_that_is_not_there_is_said_in_one_line(listening):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
        here = listening(f"mqtt://127.0.0.1:{port}").start(connected=False)
        wait_until(lambda: here.subscriber.fault != "not connected yet")
        assert here.subscriber.fault == (
            f"broker 127.0.0.1:{port}: cannot be reached (Connection refused); check [broker] url"
        )


@pytest.mark.parametrize("word", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n"])
def test_something_else_on_the_port_is_said_in_one_line(listening, word):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]

        def answer():
            while True:
                try:
                    line, _ = server.accept()
                except OSError:
                    return
                with line:
                    line.recv(100)
                    line.sendall(word)

        Thread(target=answer, daemon=True).start()
        here = listening(f"mqtt://127.0.0.1:{port}").start(connected=False)
        wait_until(lambda: here.subscriber.fault != "not connected yet")
        assert here.subscriber.fault.startswith(f"broker 127.0.0.1:{port}: ")
        assert "gave no answer; is it an MQTT broker" in here.subscriber.fault
        here.stop()
        server.shutdown(socket.SHUT_RDWR)


def test_the_loop_shows_that_it_lives_while_nothing_comes(mosquitto, listening):
    here = listening(mosquitto().url).start()
    before = here.beats
    wait_until(lambda: here.beats >= before + 2, 10.0)


def test_readings_are_durable_soon_after_they_are_acknowledged(mosquitto, listening, devices):
    """Seen by another connection to the store; the delay is printed, logic alone is asserted."""
    broker = mosquitto()
    here = listening(broker.url).start()
    sender = devices(broker.port)
    delays = []
    for i in range(100):
        sender.send("scale-1", weight_pack(NOW_S - 1000 + i, 20.0))
        acknowledged_s = time.monotonic()
        wait_until(lambda i=i: here.count() == i + 1)
        delays.append(time.monotonic() - acknowledged_s)
    delays.sort()
    print(
        f"acknowledged to visible: median {delays[50] * 1e3:.0f} ms, p99 {delays[98] * 1e3:.0f} ms"
    )
    assert len(delays) == 100
