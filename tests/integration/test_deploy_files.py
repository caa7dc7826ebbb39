"""The shipped settings and unit files say what the program knows, and nothing else."""

from __future__ import annotations

import configparser
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from hivewatch import settings as settings_room
from hivewatch.settings import Settings
from hivewatch.settings.sources import KEYS, SECRET
from hivewatch.store.open import Store

DEPLOY = Path(__file__).parents[2] / "deploy"
PROGRAM = Path(sys.executable).with_name("hivewatch")
UNITS = ("hivewatch.service", "hivewatch-backup.service", "hivewatch-backup.timer")
INSTALLED = "/opt/hivewatch/bin/hivewatch"


def shipped(folder: Path, text: str) -> Settings:
    """Load the shipped settings from a folder of their own, with the secrets they name."""
    for name in re.findall(r'^\w+_file = "(.+)"', text, flags=re.MULTILINE):
        secret = "json://127.0.0.1:1/" if name == "channels.secret" else "a-secret"
        (folder / name).write_text(f"{secret}\n")
    (folder / "hivewatch.toml").write_text(text)
    return settings_room.load(folder / "hivewatch.toml", {})


def uncommented(text: str) -> str:
    """Take the marks off every line that is a setting or a heading behind one."""
    text = re.sub(r"(?m)^#(\[\w+\]|\w+ = )", r"\1", text)
    assert "#" in text
    return text


def test_the_shipped_settings_are_the_defaults_but_for_paths_and_names(tmp_path: Path) -> None:
    got = shipped(tmp_path, (DEPLOY / "hivewatch.toml").read_text())
    assert got.store.path == Path("/var/lib/hivewatch/hivewatch.db")
    assert got.broker.username == "hivewatch"
    assert got.broker.password is not None
    changed = {"username": None, "password": None, "password_file": None}
    assert got.broker.model_copy(update=changed) == Settings().broker
    assert (got.api, got.alerts, got.mirror) == (Settings().api, Settings().alerts, None)


def test_the_shipped_settings_load_with_every_mark_taken_off(tmp_path: Path) -> None:
    text = uncommented((DEPLOY / "hivewatch.toml").read_text())
    got = shipped(tmp_path, text.replace("mqtt://", "mqtts://"))  # as its ca_file asks for
    assert got.mirror is not None
    assert got.mirror.token is not None
    assert got.mirror.token.get_secret_value() == "a-secret"
    assert len(got.alerts.channels) == 1
    assert got.broker.ca_file == tmp_path / "ca.pem"


def test_the_shipped_settings_name_every_key_under_its_section() -> None:
    named: dict[str, set[str]] = {}
    section = ""
    for line in (DEPLOY / "hivewatch.toml").read_text().splitlines():
        if heading := re.fullmatch(r"#?\[(\w+)\]", line):
            section = heading[1]
        elif (key := re.match(r"#?(\w+)(?: = |: )", line)) and key[1] in KEYS.get(section, ()):
            named.setdefault(section, set()).add(key[1])
    assert named == {name: set(keys) for name, keys in KEYS.items()}
    values = (DEPLOY / "hivewatch.toml").read_text()
    for name, key in SECRET - {("alerts", "channels")}:
        assert not re.search(rf"^#?{key} = ", values, flags=re.MULTILINE), (name, key)


def installed_here(folder: Path) -> list[Path]:
    """Copy the units, with our program and a folder of ours in place of the installed ones."""
    copies = []
    for name in UNITS:
        text = (DEPLOY / name).read_text().replace(INSTALLED, str(PROGRAM))
        copies.append(folder / name)
        copies[-1].write_text(text)
    return copies


def test_systemd_finds_nothing_to_say_about_the_units(tmp_path: Path) -> None:
    copies = installed_here(tmp_path)
    if shutil.which("systemd-analyze") is None:
        # Without systemd only the form can be read: sections, and the program in its place.
        for copy in copies:
            assert configparser.ConfigParser(strict=False, interpolation=None).read(copy)
        return
    done = subprocess.run(
        ["systemd-analyze", "verify", *copies], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


def service(name: str) -> dict[str, str]:
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read(DEPLOY / name)
    return dict(parser["Service"])


def test_the_daemon_is_watched_confined_and_started_again() -> None:
    options = service("hivewatch.service")
    assert options["Type"] == "notify"
    assert options["Restart"] == "always"
    assert int(options["WatchdogSec"]) >= 60
    assert options["User"] == "hivewatch"
    for name in ("hivewatch.service", "hivewatch-backup.service"):
        confined = service(name)
        assert confined["ProtectSystem"] == "strict"
        assert confined["NoNewPrivileges"] == "yes"
        assert confined["CapabilityBoundingSet"] == ""


def test_the_command_of_the_backup_unit_makes_a_copy_with_the_time_in_its_name(
    tmp_path: Path,
) -> None:
    Store(tmp_path / "hivewatch.db").close()
    (tmp_path / "hivewatch.toml").write_text("[store]\n")
    command = service("hivewatch-backup.service")["ExecStart"]
    command = command.replace("%%", "%").replace("$$", "$")  # as systemd reads it
    command = command.replace(INSTALLED, str(PROGRAM)).replace("/etc/hivewatch", str(tmp_path))
    words = shlex.split(command.replace("/var/backups/hivewatch", str(tmp_path)))
    subprocess.run(words, check=True, capture_output=True)
    (copy,) = tmp_path.glob("20*.db")
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d{6}Z\.db", copy.name)
    Store(copy).close()


def test_the_backup_unit_clears_away_only_old_copies(tmp_path: Path) -> None:
    for name in ("2026-01-01T032000Z.db", "2026-05-01T032000Z.db", "keep.txt"):
        (tmp_path / name).touch()
    for name in ("2026-01-01T032000Z.db", "keep.txt"):
        os.utime(tmp_path / name, (0, 0))
    words = shlex.split(service("hivewatch-backup.service")["ExecStartPost"])
    subprocess.run(
        [word.replace("/var/backups/hivewatch", str(tmp_path)) for word in words], check=True
    )
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == ["2026-05-01T032000Z.db", "keep.txt"]


@pytest.mark.parametrize("name", ["README.md", "mosquitto.conf", "hivewatch.toml"])
def test_every_shipped_file_that_is_named_is_there(name: str) -> None:
    text = (DEPLOY / name).read_text()
    for file in re.findall(r"deploy/([\w.*-]+)", text):
        assert list(DEPLOY.glob(file)), file


def test_the_readme_names_only_commands_that_there_are(tmp_path: Path) -> None:
    text = (DEPLOY / "README.md").read_text()
    named = set(re.findall(r"(?m)^hw (\w+(?: load)?)", text)) | {"run", "backup"}
    assert named >= {"check", "apiary load", "restore"}
    for command in sorted(named):
        words = [PROGRAM, *command.split(), "--help"]
        done = subprocess.run(words, capture_output=True, check=False, cwd=tmp_path)
        assert done.returncode == 0, command
