"""TLS to a real mosquitto, with a certificate authority made here."""

from __future__ import annotations

import ssl
import subprocess
import time
from pathlib import Path

import pytest
from brokers import wait_until, weight_pack

NOW_S = int(time.time())  # noqa: TID251 - devices have real clocks


# A handshake that fails leaves its socket to Python's collector: it is paho that drops it.
left_to_the_collector = pytest.mark.filterwarnings(
    "ignore:unclosed <ssl.SSLSocket:ResourceWarning",
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning",
)


def openssl(folder: Path, words: str) -> None:
    subprocess.run(["openssl", *words.split()], check=True, capture_output=True, cwd=folder)


def authority(folder: Path, name: str) -> Path:
    """Make a certificate authority; gives its certificate."""
    openssl(
        folder,
        "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2"
        f" -subj /CN={name} -keyout {name}.key -out {name}.pem"
        " -addext keyUsage=critical,keyCertSign"
        " -addext basicConstraints=critical,CA:TRUE",
    )
    return folder / f"{name}.pem"


def certificate(folder: Path, signed_by: str, names: str) -> None:
    """Make the broker's key and certificate for some names."""
    openssl(
        folder,
        "req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj /CN=broker"
        " -keyout broker.key -out broker.csr",
    )
    (folder / "names").write_text(f"subjectAltName={names}\n")
    openssl(
        folder,
        f"x509 -req -in broker.csr -CA {signed_by}.pem -CAkey {signed_by}.key -CAcreateserial"
        " -days 2 -out broker.pem -extfile names",
    )
    (folder / "broker.key").chmod(0o644)


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    folder = tmp_path_factory.mktemp("certificates")
    folder.chmod(0o755)
    authority(folder, "ours")
    authority(folder, "another")
    certificate(folder, "ours", "IP:127.0.0.1,DNS:localhost")
    return folder


def encrypted(mosquitto, folder):
    files = f"certfile {folder}/broker.pem\nkeyfile {folder}/broker.key\n"
    return mosquitto("allow_anonymous true", listener=files)


def field_of(devices, broker, folder):
    context = ssl.create_default_context(cafile=str(folder / "ours.pem"))
    return devices(broker.port, tls_set_context=(context,))


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_readings_come_over_an_encrypted_line(mosquitto, listening, devices, certificates, host):
    broker = encrypted(mosquitto, certificates)
    url = f"mqtts://{host}:{broker.port}"
    here = listening(url, ca_file=certificates / "ours.pem").start()
    field = field_of(devices, broker, certificates)
    packs = [weight_pack(NOW_S - 3000 + i, 20 + i % 50) for i in range(2000)]
    field.send("scale-1", *packs)
    here.wait_count(2000)
    here.stop()
    field.send("scale-1", *(weight_pack(NOW_S - 9000 + i, 20 + i % 50) for i in range(2000)))
    here.start()  # a burst of what waited: much of it stands in the line's own buffer
    here.wait_count(3000)  # mosquitto keeps 1,000 of them as shipped
    last = weight_pack(NOW_S, 33.0)
    field.send("scale-1", last)
    here.wait_count(3001)


def test_one_message_is_taken_at_once_from_an_encrypted_line(
    mosquitto, listening, devices, certificates
):
    """What the encryption has buffered does not show on the socket."""
    broker = encrypted(mosquitto, certificates)
    here = listening(f"mqtts://localhost:{broker.port}", ca_file=certificates / "ours.pem").start()
    field = field_of(devices, broker, certificates)
    for i in range(5):
        field.send("scale-1", weight_pack(NOW_S + i, 20.0), weight_pack(NOW_S + 100 + i, 20.0))
        here.wait_count(2 * i + 2)


@left_to_the_collector
@pytest.mark.parametrize(
    ("ca_file", "host", "names"),
    [
        ("another.pem", "localhost", "DNS:localhost"),
        (None, "localhost", "DNS:localhost"),
        ("ours.pem", "localhost", "DNS:elsewhere.example"),
    ],
)
def test_a_certificate_that_does_not_hold_is_refused_in_one_line(
    mosquitto, listening, certificates, tmp_path, ca_file, host, names
):
    for file in certificates.iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    tmp_path.chmod(0o755)
    certificate(tmp_path, "ours", names)
    broker = encrypted(mosquitto, tmp_path)
    trust = {} if ca_file is None else {"ca_file": tmp_path / ca_file}
    here = listening(f"mqtts://{host}:{broker.port}", **trust).start(connected=False)
    wait_until(lambda: here.subscriber.fault != "not connected yet")
    assert here.subscriber.fault == (
        f"broker {host}:{broker.port}: the certificate does not hold (CERTIFICATE_VERIFY_FAILED);"
        " check [broker] ca_file"
    )


@left_to_the_collector
def test_an_encrypted_line_to_a_broker_without_is_refused_in_one_line(mosquitto, listening):
    broker = mosquitto()
    here = listening(f"mqtts://localhost:{broker.port}").start(connected=False)
    wait_until(lambda: here.subscriber.fault != "not connected yet")
    assert here.subscriber.fault.startswith(f"broker localhost:{broker.port}: ")
    assert "\n" not in here.subscriber.fault


def test_a_plain_line_to_an_encrypted_broker_is_refused_in_one_line(
    mosquitto, listening, certificates
):
    broker = encrypted(mosquitto, certificates)
    here = listening(broker.url).start(connected=False)
    wait_until(lambda: here.subscriber.fault != "not connected yet")
    assert here.subscriber.fault == (
        f"broker 127.0.0.1:{broker.port}: gave no answer;"
        " is it an MQTT broker, and is TLS as in [broker] url?"
    )
