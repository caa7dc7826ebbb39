"""From readings to a phone: the real daemon tells a real endpoint of a toppled hive, once."""

from __future__ import annotations

import json
import time
from datetime import UTC, datetime
from pathlib import Path

from brokers import free_port, wait_until
from pytest_httpserver import HTTPServer
from running import Running

APIARY = """
[[yard]]
id = "millrace"
name = "Mill race"
latitude = 52.20
longitude = 0.12
timezone = "Europe/London"

[[hive]]
id = "millrace-1"
yard = "millrace"
frame = "langstroth-deep"
frames = 10
boxes = 1
empty_kg = 21.5

[[device]]
id = "scale-17"
hive = "millrace-1"
since = "2026-03-01T00:00:00Z"
"""


def readings(folder: Path, name: str, now_s: int, weights: list[float]) -> Path:
    """Write a reading every five minutes, the last one now."""
    lines = ["time,device,quantity,value"]
    for n, weight in enumerate(reversed(weights)):
        at = datetime.fromtimestamp(now_s - 300 * n, UTC)
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},scale-17,weight,{weight}")
    path = folder / name
    path.write_text("\n".join(lines) + "\n")
    return path


def test_a_toppled_hive_rings_once_through_a_death_of_the_daemon(tmp_path, httpserver: HTTPServer):
    httpserver.expect_request("/phone").respond_with_data("ok")
    address = f"json://{httpserver.host}:{httpserver.port}/phone"
    running = Running(
        tmp_path, f"mqtt://127.0.0.1:{free_port()}", alerts=f'channels = ["{address}"]'
    )
    (tmp_path / "apiary.toml").write_text(APIARY)
    running.command("apiary", "load", tmp_path / "apiary.toml")
    now_s = int(time.time()) - 60  # noqa: TID251 - the daemon has the machine's time
    stands = [41.0 + 0.01 * (n % 3) for n in range(60)]
    lies = [3.0, 3.1, 3.0, 3.1]
    running.command("import", readings(tmp_path, "before.csv", now_s - 1200, stands))
    running.start(ready=False)
    try:
        running.command("import", readings(tmp_path, "after.csv", now_s, lies))
        wait_until(lambda: len(httpserver.log) == 1, 60.0, "a ring")
        running.kill()
        running.start(ready=False)
        wait_until(lambda: running.fetch("healthz")[0] == 200, 60.0, "healthz")
        time.sleep(3)
        status, text = running.fetch("api/v1/alerts")
    finally:
        running.kill()
    (request, _) = httpserver.log[0]
    sent = json.loads(request.get_data())
    assert sent["title"] == "Hive millrace-1 at Mill race: toppled"
    assert sent["type"] == "failure"
    # killed after the ring: it may fall between send and record, and then rings with the same key
    keys = {one.headers["Idempotency-Key"] for one, _ in httpserver.log}
    assert len(keys) == 1
    assert len(httpserver.log) <= 2
    assert status == 200
    assert [one["state"] for one in json.loads(text)["items"] if one["kind"] == "toppled"] == [
        "sent"
    ]
