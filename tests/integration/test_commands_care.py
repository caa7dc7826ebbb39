"""Looking after it: check, backup and restore, and a daemon that cannot start."""

from __future__ import annotations

import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from brokers import LOOPBACK, Devices, Mosquitto, free_port, wait_until, weight_pack
from commands import APIARY, Desk
from pytest_httpserver import HTTPServer
from werkzeug import Response

from hivewatch import stage
from hivewatch.clock import WallClock
from hivewatch.errors import UsageError
from hivewatch.store.alone import hold_alone
from hivewatch.store.open import SCHEMA

HEAD = "time,device,quantity,value\n"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    (tmp_path / "broker").mkdir()
    passwords = tmp_path / "broker" / "passwords"
    passwords.touch(0o600)
    subprocess.run(["mosquitto_passwd", "-b", passwords, "keeper", "bees"], check=True)
    made = Mosquitto(tmp_path / "broker", ["allow_anonymous true", f"password_file {passwords}"])
    yield made
    made.stop()


def checked(desk: Desk, *words: object) -> dict[str, str]:
    """Run `hivewatch check`: part -> its line, with a ! before a fault."""
    done = desk.run("check", *words)
    assert done.err == ""
    told = {}
    for line in done.out.splitlines():
        state, part, found = line[:6].strip(), *line[6:].split(": ", 1)
        assert state in {"ok", "FAULT"}
        told[part] = ("!" if state == "FAULT" else "") + found
    assert done.status == (2 if any(one.startswith("!") for one in told.values()) else 0)
    return told


def test_check_says_of_each_part_what_it_found_and_makes_nothing(
    desk: Desk, broker: Mosquitto, httpserver: HTTPServer
) -> None:
    httpserver.expect_request("/api/v2/write").respond_with_response(Response(status=204))
    mirror, port = httpserver.url_for("").rstrip("/"), free_port()
    text = (
        f'[broker]\nurl = "{broker.url}"\nusername = "keeper"\npassword_file = "word"\n'
        f'[alerts]\nchannels = ["json://{LOOPBACK}:{free_port()}/"]\n'
        f'[mirror]\nurl = "{mirror}"\norg = "bees"\nbucket = "hives"\n[api]\nport = {port}\n'
    )
    config = desk.write("hivewatch.toml", text)
    desk.write("word", "bees\n").chmod(0o640)
    told = checked(desk)
    assert told["settings"] == "hivewatch.toml"
    store = desk.folder / "hivewatch.db"
    assert (
        told["store"] == f"{store}: not there yet; the first command that stores something makes it"
    )
    assert told["broker"] == f"{LOOPBACK}:{broker.port}: connected with MQTT 5, subscribed"
    assert told["mirror"] == f"{mirror}: takes points for bucket hives"
    assert told["api"] == f"{LOOPBACK}:{port}: free"
    assert not store.exists()
    desk.write("apiary.toml", APIARY)
    desk.ok("apiary", "load", "apiary.toml")
    assert checked(desk, "--config", config)["store"] == f"{store}: 2 yards, 2 hives, 2 devices"


def test_check_names_each_fault_and_goes_on_to_the_next(desk: Desk, broker: Mosquitto) -> None:
    desk.write("wrong", "wasps\n").chmod(0o640)
    desk.write("store.db", "no store")
    away = free_port()
    config = desk.write(
        "bad.toml",
        f'[store]\npath = "store.db"\n[broker]\nurl = "{broker.url}"\nusername = "keeper"\n'
        f'password_file = "wrong"\n[mirror]\nurl = "http://{LOOPBACK}:{away}"\n'
        'org = "bees"\nbucket = "hives"\n',
    )
    told = checked(desk, "--config", config)
    assert told["store"] == (
        f"!{desk.folder / 'store.db'}: is no hivewatch store (file is not a database);"
        " check [store] path"
    )
    assert told["broker"] == (
        f'!{LOOPBACK}:{broker.port}: refused the password of "keeper";'
        " check [broker] username and password_file"
    )
    assert told["mirror"] == (
        f"!http://{LOOPBACK}:{away}: cannot be reached (Connection refused); check [mirror] url"
    )


def test_check_knows_its_own_daemon_from_another_who_has_the_port(
    desk: Desk, httpserver: HTTPServer
) -> None:
    httpserver.expect_oneshot_request("/healthz").respond_with_data("well")
    where = f"{LOOPBACK}:{httpserver.port}"
    config = desk.write("taken.toml", f"[api]\nport = {httpserver.port}\n")
    assert checked(desk, "--config", config)["api"] == (
        f"!{where}: cannot be listened on (Address already in use); set another [api] port"
    )
    httpserver.expect_request("/healthz").respond_with_json({"status": "alive"})
    assert checked(desk, "--config", config)["api"] == f"{where}: the daemon answers"


def test_the_demo_says_at_once_that_a_day_is_none(desk: Desk) -> None:
    for said in ("soon", "2026-02-30"):
        done = desk.run("demo", "--until", said)
        assert (done.status, done.out) == (2, "")
        assert done.err == f"hivewatch: --until: {said}: not a day; write it as 2026-06-30\n"


def test_the_demo_takes_a_last_day_of_its_season_alone_and_a_free_port(desk: Desk) -> None:
    done = desk.run("demo", "--until", "2020-01-01", "--port", "0")
    assert (done.status, done.out) == (2, "Making up a season …\n")
    assert "--until: 2020-01-01: not a day of this season; use one from 2026-" in done.err
    with socket.create_server((LOOPBACK, 0)) as taken:
        port = taken.getsockname()[1]
        fault = desk.run("demo", "--port", str(port)).fault
    assert fault.startswith(f"--port: {port}: cannot be listened on")


def test_a_demo_without_its_broker_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "amqtt", None)
    with pytest.raises(UsageError, match=r"not installed; pip install 'hivewatch\[demo\]'"):
        stage.broker().__enter__()


def test_a_closed_terminal_ends_the_demo_and_leaves_nothing(desk: Desk) -> None:
    desk.environ["TMPDIR"] = str(desk.folder)
    season = desk.start("demo", "--port", "0", stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert season.stdout.readline().startswith(b"Pages: http")
    season.send_signal(signal.SIGHUP)
    out, err = season.communicate(timeout=60)
    assert out.rstrip().endswith(b"Ended.")
    assert b"Traceback" not in err
    assert list(desk.folder.iterdir()) == []


def test_a_season_that_is_over_says_that_the_pages_stay(desk: Desk) -> None:
    words = ("--port", "0", "--until", "2026-03-25", "--days-per-second", "10")
    season = desk.start("demo", *words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    lines = [season.stdout.readline().decode() for _ in range(5)]
    assert lines[1] == "12 hives in 3 yards, 1 day.\n"
    assert lines[2].startswith("Pages: http")
    assert lines[4] == "The season is over; the pages stay until Ctrl-C.\n"
    season.send_signal(signal.SIGINT)
    out, _ = season.communicate(timeout=60)
    assert out.rstrip().endswith(b"Ended.")


def test_check_lets_the_phones_ring_only_when_asked_to(
    desk: Desk, broker: Mosquitto, httpserver: HTTPServer
) -> None:
    httpserver.expect_request("/hook").respond_with_data("ok")
    away = f"json://{LOOPBACK}:{free_port()}/"
    phone = f"json://{LOOPBACK}:{httpserver.port}/hook"
    desk.write("word", "bees\n").chmod(0o640)
    desk.write(
        "hivewatch.toml",
        f'[broker]\nurl = "{broker.url}"\nusername = "keeper"\npassword_file = "word"\n'
        f'[alerts]\nchannels = ["{phone}", "{away}"]\n',
    )
    silent = [found for part, found in checked(desk).items() if part.startswith("channel ")]
    assert silent == ["ready; nothing was sent"] * 2
    assert httpserver.log == []
    rang = [f for part, f in checked(desk, "--ring").items() if part.startswith("channel ")]
    assert rang[0] == "test sent"
    assert rang[1].startswith("!test failed: ")
    ((request, _),) = httpserver.log
    assert b"Nothing is wrong at your hives." in request.data


def test_check_tells_every_mistake_of_the_settings_at_once(desk: Desk) -> None:
    config = desk.write("bad.toml", '[brokr]\nurl = "x"\n[api]\nport = 70000\n')
    done = desk.run("check", "--config", config)
    assert done.status == 2
    first, second = done.out.splitlines()
    assert first == f"FAULT settings: {config}: [brokr]: no such section; did you mean [broker]?"
    assert second.startswith(f"FAULT settings: {config}: [api] port = 70000: out of range; use")
    done = desk.run("check", HIVEWATCH_BROKER_URL="mqtt://x")
    assert done.out == (
        "FAULT settings: environment: HIVEWATCH_BROKER_URL: no such setting;"
        " did you mean HIVEWATCH_BROKER__URL?\n"
    )


def test_check_prints_every_setting_as_a_file_that_loads(desk: Desk) -> None:
    desk.write("hivewatch.toml", desk.ok("check", "--defaults").out)
    assert "no store there yet" in desk.run("apiary", "show").fault


@pytest.fixture
def daemon(desk: Desk, broker: Mosquitto) -> Iterator[subprocess.Popen[bytes]]:
    desk.write("hivewatch.toml", f'[broker]\nurl = "{broker.url}"\n[api]\nport = {free_port()}\n')
    with (desk.folder / "log").open("wb") as log:
        child = desk.start("run", stderr=log)
    wait_until(lambda: b"broker_connected" in (desk.folder / "log").read_bytes(), 60)
    yield child
    child.terminate()
    assert child.wait(30) == 0


def test_a_backup_is_taken_while_the_daemon_runs_and_comes_back_only_when_it_is_stopped(
    desk: Desk, broker: Mosquitto, daemon: subprocess.Popen[bytes]
) -> None:
    devices, now_s = Devices(broker.port), WallClock().now_s()
    devices.send("scale-1", *(weight_pack(now_s - 900 + n, 41.0) for n in range(300)))
    wait_until(lambda: len(desk.ok("export", "-").out.splitlines()) == 301)
    done = desk.ok("backup", "copy.db")
    assert done.out.startswith("copy.db: ")
    assert done.out.endswith(" MB, checked\n")
    assert desk.run("backup", "copy.db").fault == "copy.db: exists already; name a new file"
    store = desk.folder / "hivewatch.db"
    assert desk.run("restore", "copy.db").fault == f"{store}: is in use; stop the daemon first"
    devices.send("scale-1", weight_pack(now_s, 42.0))
    devices.close()
    wait_until(lambda: len(desk.ok("export", "-").out.splitlines()) == 302)
    daemon.terminate()
    daemon.wait(30)
    done = desk.ok("restore", "copy.db")
    assert done.out == f"restored; the store that was there is now {store}.before-1\n"
    assert len(desk.ok("export", "-").out.splitlines()) == 301
    assert "is no copy of a store" in desk.run("restore", "hivewatch.toml").fault
    assert desk.run("restore", "x.db").fault == (
        "x.db: no such file; name a copy made by hivewatch backup"
    )


def test_a_daemon_that_cannot_start_says_why_in_a_line(desk: Desk) -> None:
    with socket.socket() as taken:
        taken.bind((LOOPBACK, 0))
        taken.listen()
        port = taken.getsockname()[1]
        desk.write("hivewatch.toml", f"[api]\nport = {port}\n")
        assert desk.run("run").fault == (
            f"[api]: {LOOPBACK}:{port}: cannot be listened on (Address already in use);"
            " set another port"
        )
    assert desk.run("run", "--config", "none.toml").fault.startswith("none.toml: no such file")
    desk.write("hivewatch.toml", f"[api]\nport = {free_port()}\n")
    store = desk.folder / "hivewatch.db"
    with hold_alone(store):
        assert desk.run("run").fault == (
            f"{store}: another hivewatch run works with it; stop that one first"
        )


def test_a_store_that_cannot_be_used_is_told_in_a_line(desk: Desk) -> None:
    desk.ok("import", "-", stdin=HEAD)
    path = desk.folder / "hivewatch.db"
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        assert desk.run("import", "-", stdin=HEAD).fault == (
            f"{path}: another program has held it for 10 s; try again"
        )
        other.execute("ROLLBACK")
        other.execute("UPDATE alembic_version SET version_num = '9999'")
        assert desk.run("findings").fault == (
            f"{path}: written by a newer hivewatch (schema 9999, this one knows {SCHEMA});"
            " update, or restore a backup"
        )
    desk.write("hivewatch.toml", '[store]\npath = "nowhere/hivewatch.db"\n')
    assert desk.run("findings").fault == (
        f"{desk.folder}/nowhere/hivewatch.db: cannot be opened;"
        " check that its folder exists and lets you write; see [store] path"
    )
