"""What is exported and imported into an empty store is the same store.

Random apiaries whose devices move, readings that come late, twice, wrong or dated ahead, visits
that are corrected and withdrawn: the second export is the first one to the byte, and a replay finds
the same at any moment.
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_store import new_store

from hivewatch import watch
from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.cli.imported import import_all
from hivewatch.export import Choice, export_all
from hivewatch.ingest.intake import Intake, Message
from hivewatch.inspections import Change, Inspection, Told
from hivewatch.replay import find
from hivewatch.settings import Alerts
from hivewatch.store import apiary, findings, inspections
from hivewatch.store.open import Store
from hivewatch.store.windows import read_window

START_S = 1_777_593_600  # 2026-05-01T00:00:00Z
DAY_S = 86_400
END_S = START_S + 20 * DAY_S
NOW_S = START_S + 40 * DAY_S
HIVES = ("mill-1", "mill-2", "croft-1")
DEVICES = ("scale-1", "probe-2")
LIMITS = Alerts()

moments = st.integers(START_S, END_S)
names = st.text("äñ'\"\\ abcdefXYZ#=", min_size=1, max_size=12).filter(str.strip)
values = st.floats(-20, 320, allow_nan=False, width=64)


@st.composite
def apiaries(draw: Any) -> Apiary:
    yards = tuple(
        Yard(one, draw(names), draw(st.floats(-60, 60)), draw(st.floats(-180, 180)), "Europe/Paris")
        for one in ("croft", "mill")
    )
    empty_kg = st.none() | st.floats(0, 60)
    hives = tuple(
        Hive(one, one.partition("-")[0], "langstroth-deep", 10, 1, draw(empty_kg)) for one in HIVES
    )
    moves = st.dictionaries(moments, st.sampled_from((*HIVES, None)), max_size=3)
    placements = tuple(
        Placement(device, hive, since_s)
        for device in DEVICES
        for since_s, hive in (draw(moves) | {START_S: draw(st.sampled_from(HIVES))}).items()
    )
    return Apiary(yards, hives, placements)


@st.composite
def messages(draw: Any) -> Message:
    """A pack of one to four records, half an hour apart, that came at once, late or too early."""
    device, first_s = draw(st.sampled_from((*DEVICES, "spare-3"))), draw(moments)
    late_s = draw(st.sampled_from((0, 5, DAY_S, 5 * DAY_S, -600, -3 * DAY_S)))
    records = [
        {"n": draw(st.sampled_from(("weight", "nest", "battery"))), "t": first_s + 1800 * step + ms}
        | {"v": draw(values)}
        for step in range(draw(st.integers(1, 4)))
        for ms in (draw(st.sampled_from((0, 0.25))),)
    ]
    units = {"weight": "kg", "nest": "Cel", "battery": "V"}
    pack = json.dumps([one | {"u": units[one["n"]]} for one in records]).encode()
    torn = draw(st.integers(0, 9)) == 0
    topic = f"hivewatch/{device}/senml"
    kind = draw(st.sampled_from((None, "application/senml+json")))
    return Message(topic, device, pack[:-1] if torn else pack, kind, first_s + late_s)


@st.composite
def visits(draw: Any) -> list[tuple[str, str, int, str | None]]:
    """What is told of one visit: (what, hive, adults or stores, why), one after the other."""
    what = st.sampled_from(("correct", "withdraw"))
    told = st.tuples(what, st.sampled_from(HIVES), st.integers(0, 60_000), st.none() | names)
    return draw(st.lists(told, min_size=1, max_size=4))


def steady(device: str, days: int) -> list[Message]:
    """Some days of a device by the hour, and then silence, so that there is something to find."""
    return [
        Message(
            f"hivewatch/{device}/senml",
            device,
            json.dumps(
                [
                    {"n": "weight", "u": "kg", "t": at_s, "v": 40 + (at_s - START_S) / 1e6},
                    {"n": "battery", "u": "V", "t": at_s, "v": 3.1},
                ]
            ).encode(),
            None,
            at_s + 60,
        )
        for at_s in range(START_S, START_S + days * DAY_S, 3600)
    ]


def lived(store: Store, places: Apiary, came: list[Message], seen: Any) -> None:
    """Let a store live: load, take in, tell, correct, withdraw, look."""
    with store.write() as connection:
        apiary.load(connection, places)
    Intake(store).commit(sorted(came, key=lambda one: one.received_s))
    Intake(store).readmit(NOW_S)
    with store.write() as connection:
        for number, (at_s, key, told) in enumerate(seen):
            last_s = at_s
            for step, (what, hive, adults, why) in enumerate(told):
                last_s += step * 50_000
                said = Inspection.model_validate(
                    {
                        "hive": hive,
                        "at": f"2026-05-{1 + at_s % 20:02}T09:15:00+02:00",
                        "adults": adults,
                        "key": f"visit-{number}" if key else None,
                        "by": f"keeper {number}",
                    }
                )
                now_s = max(said.at_s, last_s)
                change = Change(
                    id=f"v{number}",
                    withdrawn=step > 0 and what == "withdraw",
                    changed_by="somebody",
                    why=why,
                )
                inspections.tell(connection, Told(said, change), now_s, now_s)
        looked = apiary.read(connection)
        for place in looked.yards:
            for one in looked.hives:
                if one.yard == place.id:
                    window = read_window(connection, looked, one.id, END_S, None)
                    found = watch.look(connection, window, LIMITS, END_S).settled
                    findings.write(connection, found, one.id, place.id, END_S)


def taken_in(folder: Path, store: Store) -> None:
    options = {"late": False, "decimal_comma": False, "mirrored": False}
    import_all(store.path, [folder], NOW_S, lambda _line: None, **options)


def whole(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@settings(
    max_examples=6,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(
    places=apiaries(),
    came=st.lists(messages(), max_size=12),
    days=st.integers(0, 6),
    seen=st.lists(st.tuples(moments, st.booleans(), visits()), max_size=4),
    as_of_s=moments,
    hive=st.sampled_from(HIVES),
    form=st.sampled_from(("csv", "json", "parquet")),
)
def test_export_and_import_give_the_same_store(
    places, came, days, seen, as_of_s, hive, form
) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first, second = new_store(folder / "a.db"), new_store(folder / "b.db")
        try:
            lived(first, places, came + steady("scale-1", days) + came[:3], seen)
            export_all(first, folder / "one", Choice(), form=form)
            taken_in(folder / "one", second)
            export_all(second, folder / "two", Choice(), form=form)
            assert whole(folder / "one") == whole(folder / "two")
            for at_s, is_replay in ((as_of_s, True), (END_S, True), (NOW_S, False)):
                asked = {"as_of_s": at_s, "is_replay": is_replay}
                assert find(first, LIMITS, **asked) == find(second, LIMITS, **asked)
            taken_in(folder / "one", second)
            export_all(second, folder / "three", Choice(), form=form)
            assert whole(folder / "one") == whole(folder / "three")

            part = Choice(hives=[hive], since_s=START_S + DAY_S, until_s=as_of_s)
            third = new_store(folder / "c.db")
            export_all(first, folder / "part", part, form=form)
            taken_in(folder / "part", third)
            export_all(third, folder / "again", part, form=form)
            assert whole(folder / "part") == whole(folder / "again")
            third.close()
        finally:
            first.close()
            second.close()
