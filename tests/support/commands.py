"""The commands as a person runs them: a process of its own in a folder of its own.

Each is forked from a server that has loaded the program once, because loading it takes most of a
second; `Desk.start` runs the installed program itself.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

PROGRAM = Path(sys.executable).with_name("hivewatch")
LOADED = ("cli", "check", "export", "ingest.tables", "replay", "show", "store.copy", "mirror")
PATIENCE_S = 100.0
FORKS = multiprocessing.get_context("forkserver")
FORKS.set_forkserver_preload([f"hivewatch.{name}" for name in LOADED])

APIARY = """\
[[yard]]
id = "hazel-end"
name = "Hazel End"
latitude = 52.20
longitude = 0.12
timezone = "Europe/London"

[[yard]]
id = "long-meadow"
name = "Long Meadow"
latitude = 52.31
longitude = 0.20
timezone = "Europe/London"

[[hive]]
id = "hazel-1"
yard = "hazel-end"
frame = "langstroth-deep"
frames = 10
boxes = 1

[[hive]]
id = "meadow-1"
yard = "long-meadow"
frame = "langstroth-deep"
frames = 10
boxes = 1

[[device]]
id = "scale-1"
hive = "hazel-1"
since = "2026-05-01T00:00:00Z"

[[device]]
id = "scale-2"
hive = "meadow-1"
since = "2026-05-01T00:00:00Z"
"""


class Done(NamedTuple):
    """What a command left."""

    status: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """Read standard output as JSON, which it must be as a whole."""
        return json.loads(self.out)

    @property
    def fault(self) -> str:
        """Give the one line of a command that could not do what it was asked."""
        assert self.status == 2, self
        assert self.out == ""
        (line,) = self.err.splitlines()
        assert line.startswith("hivewatch: ")
        return line.removeprefix("hivewatch: ")


class Desk:
    """A folder with a store, and the commands run in it."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.program = folder, PROGRAM
        self.environ = {name: word for name, word in os.environ.items() if "HIVEWATCH" not in name}

    def write(self, name: str, text: str) -> Path:
        path = self.folder / name
        path.write_text(text)
        return path

    def run(self, *words: object, stdin: bytes | str = b"", **environ: str) -> Done:
        raw = stdin.encode() if isinstance(stdin, str) else stdin
        with TemporaryDirectory() as folder:
            files = [Path(folder) / name for name in ("in", "out", "err")]
            files[0].write_bytes(raw)
            child = FORKS.Process(
                target=_be_the_program,
                args=([str(one) for one in words], self.folder, self.environ | environ, files),
            )
            child.start()
            child.join(PATIENCE_S)
            assert child.exitcode is not None, f"{words} took over {PATIENCE_S} s"
            out, err = (file.read_text() for file in files[1:])
            told = Done(child.exitcode, out, err)
            child.close()
        assert "Traceback" not in told.out + told.err, told
        assert told.status in {0, 2}, told
        return told

    def ok(self, *words: object, stdin: bytes | str = b"") -> Done:
        done = self.run(*words, stdin=stdin)
        assert done.status == 0, done
        return done

    def start(self, *words: object, **options: Any) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [PROGRAM, *map(str, words)], cwd=self.folder, env=self.environ, **options
        )


def _be_the_program(
    words: Sequence[str], folder: Path, environ: dict[str, str], files: Sequence[Path]
) -> None:
    """Turn this process into one that a shell started."""
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environ)
    for number, (file, mode) in enumerate(zip(files, ("r", "w", "w"), strict=True)):
        with file.open(mode) as opened:
            os.dup2(opened.fileno(), number)
    sys.stdin, sys.stdout, sys.stderr = os.fdopen(0), os.fdopen(1, "w"), os.fdopen(2, "w")
    sys.argv = ["hivewatch", *words]
    from hivewatch.cli import main  # noqa: PLC0415 - loaded already, in the server

    main()
