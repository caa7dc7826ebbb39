"""A server that takes the InfluxDB v2 write API, and a store to be mirrored to it.

What the answers mean: RFC 9110, section 15.5, and the InfluxDB v2 manual, "Troubleshoot issues
writing data". The form of a point: the line protocol reference of the same manual.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Callable
from threading import Event

from pytest_httpserver import HTTPServer
from werkzeug import Request, Response

from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.detect.finding import Finding
from hivewatch.ingest.intake import Intake, Message
from hivewatch.mirror import Mirror
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import findings
from hivewatch.store.open import Store

T0 = 1_777_593_600  # 2026-05-01T00:00:00Z
TOKEN = "a-token-nobody-may-see"
APIARY = Apiary(
    yards=(Yard("millrace", "Mill race", 52.2, 0.12, "Europe/London"),),
    hives=(Hive("millrace-1", "millrace", "langstroth-deep", 10, 1),),
    placements=(Placement("scale-1", "millrace-1", T0),),
)


class Clock:
    def __init__(self) -> None:
        self.time_s = T0 + 86_400

    def now_s(self) -> int:
        return self.time_s

    def monotonic_s(self) -> float:
        return float(self.time_s)


class Server:
    """Keeps the points it takes; `answers` are given first, then 204."""

    def __init__(self, httpserver: HTTPServer) -> None:
        self.url = httpserver.url_for("").rstrip("/")
        self.points: dict[str, str] = {}
        self.lines: list[str] = []
        self.requests: list[Request] = []
        self.answers: list[Response] = []
        self.judge: Callable[[list[str]], Response | None] = lambda _lines: None
        httpserver.expect_request("/api/v2/write").respond_with_handler(self._take)

    def _take(self, request: Request) -> Response:
        body = request.get_data()
        if request.headers.get("Content-Encoding") == "gzip":
            body = gzip.decompress(body)
        lines = body.decode().splitlines()
        self.requests.append(request)
        if self.answers:
            return self.answers.pop(0)
        refusal = self.judge(lines)
        if refusal is not None:
            return refusal
        self.lines += lines
        for line in lines:
            head, fields, time_ns = line.split(" ")
            self.points[f"{head} {time_ns}"] = fields
        return Response(status=204)

    def take_lines(self) -> list[str]:
        taken, self.lines = self.lines, []
        return taken


def said(status: int, message: str, **headers: str) -> Response:
    """Answer as InfluxDB v2 does."""
    body = json.dumps({"code": "invalid", "message": message})
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return Response(body, status, headers=named, content_type="application/json")


def publish(store: Store, device: str, *readings: tuple[int, float], name: str = "weight") -> None:
    """Store readings as the daemon does."""
    unit = {"weight": "kg", "nest": "Cel"}[name]
    pack = [{"n": name, "u": unit, "t": T0 + after_s, "v": value} for after_s, value in readings]
    payload = json.dumps(pack).encode()
    message = Message(f"hivewatch/{device}/senml", device, payload, None, T0 + 86_400)
    assert Intake(store, mirrored=True).commit([message]).stored


def place(store: Store, apiary: Apiary = APIARY) -> None:
    with store.write() as connection:
        apiary_rows.load(connection, apiary)


def tell(store: Store, one: Finding, changed_s: int) -> None:
    with store.write() as connection:
        findings.write(connection, [one], "millrace-1", "millrace", changed_s)


def run_out(mirror: Mirror) -> int:
    """Let the mirror send until it has nothing left; gives how many steps it took."""
    steps = 1
    while mirror.step(Event(), lambda: None):
        steps += 1
    return steps


FALLEN = Finding(
    "toppled",
    "hive:millrace-1",
    T0 + 600,
    None,
    T0 + 900,
    0.97,
    {"kg_lost": 20.5, "still_on_kg": 0, "side": "north", "unknown": None},
    id="0123456789abcdef",
)
