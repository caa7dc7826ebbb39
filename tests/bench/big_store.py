"""A big store, as the daemon would leave it: a thousand hives that were measured for a year.

Run: python tests/bench/big_store.py FOLDER. It takes some 15 minutes and 11 GB; benches that are
given the folder measure against it. The simulator plays a year of eight hives at a reading of each
quantity every five minutes; the program imports it and looks at it; then all that the store says of
these eight is written anew for every eight hives. Weight, nest and air are there every five minutes
of all hives; what else is measured, of the first two yards so often and of the others once an hour.
The readings lie in the order of their key: as they come by the message, those of a hive lie further
apart, which costs while they come from the disk and not from memory.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path
from threading import Event

sys.path.append(str(Path(__file__).parent.parent / "support"))

from pyarrow import csv
from served import NOW_S, StillClock

from hivewatch import logs
from hivewatch.settings import Settings
from hivewatch.store import apiary, readings
from hivewatch.store.open import Store
from hivewatch.watch import Watcher
from hivewatch.wire.quantities import QUANTITIES

DAY_S = 86_400
AT_S = NOW_S - 11 * 3600  # the season's last midnight, and the moment of the store
PLAYED = 8  # [hives]
OF_A_YARD = 40  # [hives]
WHOLE = 2 * OF_A_YARD  # [hives] of which all is there every five minutes
FOLDER = Path(__file__).resolve().parents[2]
PROGRAM = Path(sys.executable).with_name("hivewatch")
SEASON = """
title = "A year of the origin"
seed = 41
start = "05-11"
days = {days}
climate = "continental"
[sensors]
every_min = {every_min}
[keeper]
first_visit = "04-10"
last_visit = "10-05"
visit_every_days = 9
harvest = "07-25"
treats = "08-05"
winter_stores_kg = 16
[[bloom]]
what = "fruit and dandelion"
start = "04-10"
end = "05-18"
nectar_kg = 3.5
[[bloom]]
what = "lime and meadow"
start = "05-22"
end = "07-20"
nectar_kg = 3.0
[[yard]]
id = "origin"
name = "Origin"
latitude = 47.9
longitude = 11.9
timezone = "Europe/Berlin"
hives = {hives}
"""


_NAMED = "replace(replace({0}, 'weather-origin', 'weather-' || :first), :from, :to)"
_READINGS = """
INSERT INTO reading SELECT :number, quantity, time_ms, value, received_s FROM origin.reading
WHERE device = :device AND (:whole OR quantity < 4 OR time_ms % 3600000 < 300000)
ORDER BY quantity, time_ms
"""
_FINDINGS = """
INSERT INTO finding SELECT printf('%04x', :group) || substr(id, 5), kind, {subject}, {hive}, :yard,
  start_s, end_s, detected_s, confidence, status, {measures}, {evidence},
  CASE WHEN explained_by IS NOT NULL THEN printf('%04x', :group) || substr(explained_by, 5) END,
  told_s, changed_s FROM origin.finding WHERE {which}
"""
_INSPECTIONS = """
INSERT INTO inspection SELECT printf('%04x', :group) || substr(id, 5), :group || '-' || key, :to,
  at_s, by, replace(body, :from, :to), recorded_s, version, withdrawn
FROM origin.inspection WHERE hive = :from
"""
_VERSIONS = """
INSERT INTO inspection_version SELECT printf('%04x', :group) || substr(inspection, 5), version, :to,
  at_s, replace(body, :from, :to), withdrawn, recorded_s, by, why
FROM origin.inspection_version WHERE hive = :from
"""
_ALERTS = """
INSERT INTO alert SELECT id + :group * 100000, printf('%04x', :group) || substr(finding, 5), kind,
  {subject}, {hive}, :yard, urgency, {title}, {body}, state, reason, ring,
  folded_into + :group * 100000, created_s, due_s, sent_s, acknowledged_s, acknowledged_by,
  snoozed_until_s FROM origin.alert WHERE {which}
"""
_DECISIONS = """
INSERT INTO decision SELECT id + :group * 100000, alert + :group * 100000, at_s, what, reason, why,
  channel FROM origin.decision WHERE alert IN (SELECT id FROM origin.alert WHERE {which})
"""


def play(folder: Path, days: int, every_min: float) -> Path:
    """Play the eight hives, and let the program import and look at them; gives their store."""
    folder.mkdir(parents=True, exist_ok=True)
    plan, out = folder / "season.toml", folder / "season"
    plan.write_text(SEASON.format(days=days, every_min=every_min, hives=PLAYED))
    begin = time.strftime("%Y-%m-%d", time.gmtime(NOW_S - days * DAY_S))
    simulate = [sys.executable, "-m", "simulators", "write", plan, "--from", begin, "--out", out]
    subprocess.run(simulate, check=True, cwd=FOLDER, stdout=subprocess.DEVNULL)
    settings = folder / "origin.toml"
    settings.write_text(f'[store]\npath = "{folder / "origin.db"}"\n')
    for words in (("apiary", out / "apiary.toml"), ("inspections", out / "inspections.json")):
        command = [PROGRAM, words[0], "load", words[1], "--config", settings]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    store = Store(folder / "origin.db")
    take(store, out / "readings.csv")
    Watcher(store, Settings(), StillClock(AT_S)).look_round(Event(), lambda: None)
    store.close()
    return folder / "origin.db"


def take(store: Store, file: Path) -> None:
    """Take the readings of a file, as if each had come when it was measured."""
    table = csv.read_csv(file)
    time_s = table["time"].cast("int64").to_pylist()
    with store.write() as connection:
        number_of = apiary.numbers(connection)
        rows = zip(
            map(number_of.__getitem__, table["device"].to_pylist()),
            (QUANTITIES[name].number for name in table["quantity"].to_pylist()),
            (at_s * 1000 for at_s in time_s),
            table["value"].to_pylist(),
            time_s,
            strict=True,
        )
        readings.insert(connection, sorted(rows))
        apiary.heard(connection, dict.fromkeys(number_of.values(), AT_S))


def write_places(connection: sqlite3.Connection, hives: int) -> list[tuple[int, int, int]]:
    """Write yards, hives and devices; gives each device's number, its origin's, and its hive."""
    run = connection.execute
    for n in range(-(-hives // OF_A_YARD)):
        run(
            "INSERT INTO yard SELECT ?, ?, latitude, longitude, timezone FROM origin.yard",
            (f"y-{n:02}", f"Field {n}"),
        )
    stood = run(
        "SELECT number, device.id, hive, since_s FROM origin.device JOIN origin.placement"
        " ON number = device ORDER BY number"
    ).fetchall()
    made = []
    for n in range(hives):
        hive, origin = f"h-{n:04}", f"origin-{n % PLAYED + 1}"
        run(
            "INSERT INTO hive SELECT ?, ?, frame, frames, boxes, empty_kg, since FROM origin.hive"
            " WHERE id = ?",
            (hive, f"y-{n // OF_A_YARD:02}", origin),
        )
        for old, name, at, since_s in stood:
            if at == origin:
                number = len(made) + 1
                run(
                    "INSERT INTO device (number, id, heard_s) VALUES (?, ?, ?)",
                    (number, f"{name.partition('-')[0]}-{hive}", AT_S),
                )
                run("INSERT INTO placement VALUES (?, ?, ?)", (number, since_s, hive))
                made.append((number, old, n))
    return made


def write_told(connection: sqlite3.Connection, n: int) -> None:
    """Write what is told of one hive, and with a yard's first hive that of the yard."""
    hive, origin, yard = f"h-{n:04}", f"origin-{n % PLAYED + 1}", f"y-{n // OF_A_YARD:02}"
    first = f"h-{n - n % PLAYED:04}"
    at = {"group": n // PLAYED, "from": origin, "to": hive, "yard": yard, "first": first}
    named = {
        name: _NAMED.format(name) for name in ("subject", "measures", "evidence", "title", "body")
    }
    told = (_INSPECTIONS, _VERSIONS, _FINDINGS, _ALERTS, _DECISIONS)
    for query in told:
        connection.execute(query.format(**named, hive=":to", which="hive = :from"), at)
    if n % OF_A_YARD == 0:
        at |= {"from": "origin", "to": yard}
        for query in told[2:]:
            connection.execute(query.format(**named, hive="NULL", which="hive IS NULL"), at)


def build(folder: Path, hives: int = 1000, days: int = 365, every_min: float = 5.0) -> int:
    """Write the store of these hives into a folder; gives how many readings it holds."""
    origin = play(folder, days, every_min)
    path = folder / "hivewatch.db"
    Store(path).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for pragma in ("journal_mode=OFF", "synchronous=OFF", "cache_size=-64000"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("ATTACH ? AS origin", (str(origin),))
        connection.execute("BEGIN")
        made = write_places(connection, hives)
        for n in range(hives):
            write_told(connection, n)
        connection.execute(
            "UPDATE alert SET folded_into = NULL WHERE folded_into NOT IN (SELECT id FROM alert)"
        )
        count = 0
        for number, old, hive in made:
            asked = {"number": number, "device": old, "whole": hive < WHOLE}
            count += connection.execute(_READINGS, asked).rowcount
        connection.execute("COMMIT")
        connection.execute("PRAGMA journal_mode=WAL")
    return count


def main() -> None:
    """Write the whole one."""
    logs.set_up("warning")
    began_s = time.monotonic()
    folder = Path(sys.argv[1])
    count = build(folder)
    size = (folder / "hivewatch.db").stat().st_size
    print(f"{count:,} readings, {size / 1e9:.1f} GB, in {time.monotonic() - began_s:.0f} s")


if __name__ == "__main__":
    main()
