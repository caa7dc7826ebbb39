"""The real program in a process of its own: `hivewatch run` and the other commands."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from brokers import free_port, wait_until

PROGRAM = Path(sys.executable).with_name("hivewatch")


class Running:
    """A folder with a settings file, and the commands on it."""

    def __init__(self, folder: Path, broker_url: str, **sections: str) -> None:
        self.folder = folder
        self.port = free_port()
        self.config = folder / "hivewatch.toml"
        text = f'[broker]\nurl = "{broker_url}"\n[api]\nport = {self.port}\n'
        text += "".join(f"[{name}]\n{lines}\n" for name, lines in sections.items())
        self.config.write_text(text)
        self.store = folder / "hivewatch.db"
        self.log = folder / "hivewatch.log"
        self.daemon: subprocess.Popen[bytes] | None = None

    def command(self, *words: str | Path, expect: int = 0) -> str:
        done = subprocess.run(
            [PROGRAM, *words, "--config", self.config],
            check=False,
            capture_output=True,
            text=True,
            timeout=120.0,
            env=_environment(),
        )
        assert done.returncode == expect, done.stderr + done.stdout
        return done.stdout

    def read(self, *words: str | Path) -> Any:
        return json.loads(self.command(*words, "--format", "json"))

    def start(self, *, ready: bool = True) -> None:
        with self.log.open("ab") as log:
            self.daemon = subprocess.Popen(
                [PROGRAM, "run", "--config", self.config],
                stdout=log,
                stderr=subprocess.STDOUT,
                env=_environment(),
            )
        if ready:
            wait_until(lambda: self.health()[0] == 200 or self.has_ended(), 60.0, "readyz")
            assert not self.has_ended(), self.log.read_text()

    def has_ended(self) -> bool:
        return self.daemon is not None and self.daemon.poll() is not None

    def health(self) -> tuple[int, str]:
        return self.fetch("readyz")

    def fetch(self, path: str) -> tuple[int, str]:
        try:
            with urllib.request.urlopen(
                f"http://127.0.0.1:{self.port}/{path}", timeout=10.0
            ) as got:
                return got.status, got.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode()
        except OSError:
            return 0, ""

    def kill(self) -> None:
        if self.daemon is not None:
            self.daemon.kill()
            self.daemon.wait(10.0)

    def end(self) -> int:
        """End it as a service manager does; gives the exit status."""
        assert self.daemon is not None
        self.daemon.terminate()
        return self.daemon.wait(30.0)


def _environment() -> dict[str, str]:
    return {name: value for name, value in os.environ.items() if not name.startswith("HIVEWATCH_")}
