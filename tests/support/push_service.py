"""A push service on loopback, and a phone that subscribed to it: real TLS, real keys."""

from __future__ import annotations

import json
import socket
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path

import http_ece
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from pytest_httpserver import HTTPServer
from werkzeug import Request

from hivewatch.alerts import webpush
from hivewatch.alerts.phones import Line
from hivewatch.alerts.webpush import bytes_of, text_of
from hivewatch.clock import WallClock

HOST = "push.example.net"


def certificate(folder: Path) -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """Make a certificate for the push service; give its side of TLS, and ours."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, HOST)])
    now = datetime.fromtimestamp(WallClock().now_s(), UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(hours=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(HOST)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, SHA256())
    )
    pem = made.public_bytes(Encoding.PEM)
    file = folder / "push-service.pem"
    file.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()) + pem)
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(file)
    return serving, ssl.create_default_context(cadata=pem.decode())


class PushService:
    """What a browser's maker runs: takes messages for phones, and can be unwell."""

    def __init__(self, folder: Path) -> None:
        serving, self._trusting = certificate(folder)
        self.server = HTTPServer(ssl_context=serving)
        self.server.start()

    def line(self, answer_s: float = 5.0) -> Line:
        """Give the way there: the world's names all lead to this machine."""
        return Line(
            reach=lambda _host: socket.create_connection(("127.0.0.1", self.server.port), 5.0),
            trust=lambda: self._trusting,
            answer_s=answer_s,
        )

    def close(self) -> None:
        self.server.clear()
        self.server.stop()


class Browser:
    """A phone's browser: its subscription, and the only key that opens what is sent to it."""

    def __init__(self, path: str = "/p/secretpath") -> None:
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.auth = b"sixteen secrets!"
        self.path = path

    @property
    def subscription(self) -> dict[str, object]:
        keys = {"p256dh": text_of(webpush.point(self.key)), "auth": text_of(self.auth)}
        return {
            "endpoint": f"https://{HOST}{self.path}",
            "expirationTime": None,
            "keys": keys,
        }

    def open(self, request: Request) -> dict[str, object]:
        """Open a message as the phone does."""
        assert request.headers["content-encoding"] == "aes128gcm"
        plain = http_ece.decrypt(request.data, private_key=self.key, auth_secret=self.auth)
        return json.loads(plain)


def claims_of(request: Request) -> dict[str, object]:
    """Check who signed, as a push service does (RFC 8292 section 4.2); give what was claimed."""
    scheme, _, said = request.headers["authorization"].partition(" ")
    assert scheme == "vapid"
    parts = dict(one.strip().split("=", 1) for one in said.split(","))
    told, _, signature = parts["t"].rpartition(".")
    raw = bytes_of(signature)
    r, s = (int.from_bytes(half, "big") for half in (raw[:32], raw[32:]))
    key = webpush.public_key(bytes_of(parts["k"]))
    key.verify(encode_dss_signature(r, s), told.encode(), ec.ECDSA(SHA256()))
    return {"key": parts["k"], **json.loads(bytes_of(told.partition(".")[2]))}
