"""The README's commands, as a newcomer runs them: from a fresh clone, with nothing prepared."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

TREE = Path(__file__).parents[2]
README = (TREE / "README.md").read_text("utf-8")


def shell_blocks() -> list[str]:
    return re.findall(r"```sh\n(.*?)```", README, re.DOTALL)


def test_the_second_command_is_this_test_run() -> None:
    assert shell_blocks()[1] == "tests/run\n"
    assert (TREE / ".ci/run").read_text("utf-8").count("tests/run") == 1


@pytest.mark.slow
@pytest.mark.timeout(400)
def test_a_fresh_clone_shows_the_demo_with_the_first_command(tmp_path: Path) -> None:
    began_s = time.monotonic()
    clone = tmp_path / "clone"
    subprocess.run(["git", "clone", "--quiet", TREE, clone], check=True, timeout=60)
    install, _, demo = shell_blocks()[0].strip().rpartition(" && ")
    python = f"{sys.base_prefix}/bin/python3"
    subprocess.run(
        install.replace("python3 ", f"{python} ", 1),
        shell=True,
        cwd=clone,
        check=True,
        timeout=300,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    season = subprocess.Popen(
        f"exec {demo} --port 0", shell=True, cwd=clone, stdout=subprocess.PIPE, text=True
    )
    try:
        first = season.stdout.readline()
        address = re.search(r"http://127\.0\.0\.1:\d+/", first)[0]
        with urllib.request.urlopen(address, timeout=30) as page:
            assert b"hivewatch" in page.read()
        print(f"clone to the demo's first page: {time.monotonic() - began_s:.0f} s")
        assert "12 hives in 3 yards" in season.stdout.readline()
        finding = season.stdout.readline()
        assert "toppled" in finding
        with urllib.request.urlopen(f"{address}api/v1/findings", timeout=30) as found:
            assert json.load(found)["items"]
    finally:
        season.send_signal(signal.SIGINT)
        rest, _ = season.communicate(timeout=60)
    assert rest.rstrip().endswith("Ended.")
    assert season.returncode == 0


@pytest.mark.parametrize(
    "words",
    [
        block.strip().removeprefix("hivewatch ")
        for block in shell_blocks()
        if block.startswith("hivewatch ")
    ],
)
def test_the_other_commands_run(words: str, tmp_path: Path) -> None:
    (apiary,) = re.findall(r"### The apiary file\n\n```toml\n(.*?)```", README, re.DOTALL)
    (tmp_path / "apiary.toml").write_text(apiary, "utf-8")
    for one in ("apiary load apiary.toml", words):
        done = subprocess.run(
            [Path(sys.executable).with_name("hivewatch"), *one.split()],
            cwd=tmp_path,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert done.stdout
