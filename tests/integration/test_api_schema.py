"""The API does what its OpenAPI document says: all checks of schemathesis, on a real server."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from served import NOW_S, served

from hivewatch.alerts import phones
from hivewatch.detect.finding import Finding

SETTINGS = Path(__file__).parents[1] / "data" / "schemathesis.toml"
EXAMPLES = 8  # own choice: the time a run may take; more find the same


@pytest.mark.slow
@pytest.mark.timeout(300)
def test_schemathesis_finds_nothing(tmp_path, monkeypatch):
    def nowhere(_host):
        raise ConnectionRefusedError

    monkeypatch.setattr(phones, "OUT", phones.Line(reach=nowhere))  # whatever name it invents
    with served(tmp_path) as here:
        here.load_apiary()
        here.store_season()
        here.tell(Finding("toppled", "hive:hazel-1", NOW_S - 600, None, NOW_S - 300, 0.98))
        here.write_down(hive="hazel-1", at="2026-05-02T14:10:00Z", note="super on")
        here.send(b'[{"n": "weigth", "u": "kg", "v": 30}]')
        run = subprocess.run(
            [
                *(sys.executable, "-m", "schemathesis.cli", "--config-file", SETTINGS, "run"),
                f"{here.url}/api/v1/openapi.json",
                *("--checks", "all", "--phases", "coverage,fuzzing,stateful", "--no-color"),
                # it never ends; tests/unit/api/test_events.py has it
                *("--exclude-path", "/api/v1/events"),
                *("--max-examples", str(EXAMPLES), "--seed", "1", "--generation-database", "none"),
            ],
            cwd=tmp_path,
            env={**os.environ, "PYTHONWARNINGS": "ignore"},
            capture_output=True,
            text=True,
            timeout=280,
            check=False,
        )
    assert run.returncode == 0, run.stdout[-6000:] + run.stderr[-2000:]
    assert "passed" in run.stdout
