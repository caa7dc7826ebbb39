"""Stores with a little of everything, drawn by hypothesis: texts of any characters, any state."""

from __future__ import annotations

import json
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from hivewatch.apiary import Apiary, Hive, Placement, Yard
from hivewatch.inspections import Change, Inspection, Told
from hivewatch.store import apiary, inspections, quarantine
from hivewatch.store.open import Store
from hivewatch.store.quarantine import Held
from hivewatch.store.readings import insert
from hivewatch.store.schema import alert, decision, delivery, device, finding

START_S = 1_777_593_600  # 2026-05-01T00:00:00Z
DAY_S = 86_400
END_S = START_S + 20 * DAY_S
NOW_S = START_S + 40 * DAY_S
HIVES = ("croft-1", "mill-1", "mill-2")
DEVICES = ("probe-2", "scale-1", "spare-3")

moments = st.integers(START_S, END_S)
some_moment = st.none() | moments
texts = st.text(st.characters(codec="utf-8"), max_size=12) | st.sampled_from(
    (
        "",
        '"',
        '"a"',
        "a\rb",
        "a\r\nb",
        "\x00",
        "null",
        "true",
        "1.0",
        ",;\t",
        "=1+1",
        " ",
        "[]",
        "ä…🐝",
    )
)
words = st.text("äñ'\"\\ abcXYZ#=,\n", min_size=1, max_size=12).filter(str.strip)
numbers = st.floats(-20, 300, allow_nan=False, width=64)
nested = st.recursive(
    st.none() | st.booleans() | st.integers() | numbers | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=4,
)


@cache
def _template() -> Path:
    path = Path(tempfile.mkdtemp()) / "template.db"
    Store(path).close()
    return path


def new_store(path: Path) -> Store:
    """Give an empty store, without the second that its making takes."""
    shutil.copy(_template(), path)
    return Store(path)


@st.composite
def apiaries(draw: Any) -> Apiary:
    yards = tuple(
        Yard(one, draw(words).replace("\n", " "), draw(st.floats(-60, 60)), 0.1, "Europe/Paris")
        for one in ("croft", "mill")
    )
    empty_kg = st.none() | st.floats(0, 60)
    since = st.none() | st.just(START_S - DAY_S)
    hives = tuple(
        Hive(one, one.partition("-")[0], "langstroth-deep", 10, 1, draw(empty_kg), draw(since))
        for one in HIVES
    )
    moves = st.dictionaries(moments, st.sampled_from((*HIVES, None)), max_size=3)
    placements = tuple(
        Placement(name, hive, since_s)
        for name in DEVICES[:2]
        for since_s, hive in (draw(moves) | {START_S: draw(st.sampled_from(HIVES))}).items()
    )
    return Apiary(yards, hives, placements)


@st.composite
def visits(draw: Any) -> list[tuple[dict[str, Any], bool]]:
    """What is told of one visit, and how it is corrected or withdrawn."""
    sides = st.fixed_dictionaries(
        {"frame": st.integers(1, 9), "side": st.just("a")},
        optional={"eggs": st.floats(0, 0.4), "honey": st.floats(0, 0.4), "bees": st.floats(0, 1)},
    )
    acts = st.fixed_dictionaries(
        {"what": st.sampled_from(("fed", "split", "other"))}, optional={"kg": st.floats(0, 30)}
    )
    seen = {
        "by": words.filter(lambda one: one.isprintable()),
        "brood": st.fixed_dictionaries({}, optional={"eggs": st.integers(0, 9000)}),
        "adults": st.integers(0, 60_000),
        "stores_kg": st.floats(0, 60),
        "frames": st.lists(sides, max_size=3, unique_by=lambda one: one["frame"]),
        "queen": st.sampled_from(("seen", "virgin")),
        "queen_cells": st.fixed_dictionaries({"count": st.integers(0, 9)}),
        "actions": st.lists(acts, max_size=2),
        "note": words | st.just(""),
        "sure": st.booleans(),
    }
    at = f"2026-05-{draw(st.integers(1, 20)):02}T09:15:{draw(st.sampled_from(('00', '00.25')))}Z"
    told = []
    for _ in range(draw(st.integers(1, 3))):
        said = draw(st.fixed_dictionaries({"hive": st.sampled_from(HIVES)}, optional=seen))
        told.append((said | {"at": at}, draw(st.booleans())))
    return told


def _fill_alerts(draw: Any, connection: Any, found: list[dict[str, Any]]) -> None:
    """Give some findings an alert; the last of them may be told within the first."""
    chosen = draw(st.permutations(found))[draw(st.integers(0, 1)) :]
    ids = draw(st.permutations(range(1, len(chosen) + 1)))
    states = ("held", "waiting", "sent", "failed", "dropped")
    for place, (number, about) in enumerate(zip(ids, chosen, strict=True)):
        folds = place >= 2 and draw(st.sampled_from((True, False)))
        connection.execute(
            alert.insert().values(
                id=number,
                finding=about["id"],
                **{name: about[name] for name in ("kind", "subject", "hive", "yard")},
                urgency="today",
                title=draw(texts),
                body=draw(texts),
                state="folded" if folds else draw(st.sampled_from(states)),
                reason=draw(st.sampled_from(("it matters", "snoozed", "given up"))),
                ring=draw(st.integers(1, 3)),
                folded_into=draw(st.sampled_from(ids[:2])) if folds else None,
                created_s=draw(moments),
                due_s=draw(some_moment),
                sent_s=draw(some_moment),
                acknowledged_s=draw(some_moment),
                acknowledged_by=draw(st.none() | texts),
                snoozed_until_s=draw(some_moment),
            )
        )
        for _ in range(draw(st.integers(0, 2))):
            said = {"what": "queued", "reason": "it matters", "why": draw(texts)}
            at = {"at_s": draw(moments), "channel": draw(st.none() | texts)}
            connection.execute(decision.insert().values(alert=number, **said, **at))
        for channel in draw(st.sets(st.sampled_from(("phone", "mail")))):
            state = draw(st.sampled_from(("waiting", "sending", "sent", "failed", "dropped")))
            times = {name: draw(moments) for name in ("since_s", "next_try_s")}
            last = {"sent_s": draw(some_moment), "error": draw(st.none() | texts)}
            row = {"alert": number, "channel": channel, "state": state} | times | last
            connection.execute(delivery.insert().values(row | {"attempts": 2, "interrupted": 1}))


def fill(draw: Any, store: Store) -> None:
    """Put a little of everything into an empty store."""
    with store.write() as connection:
        apiary.load(connection, draw(apiaries()))
        keys = st.tuples(
            st.sampled_from(DEVICES), st.sampled_from((1, 2, 9)), moments, st.integers(0, 999)
        )
        heard: dict[str, int] = {}
        for name, quantity, at_s, ms in draw(st.sets(keys, max_size=12)):
            number = apiary.number_of(connection, name)
            came_s = at_s + draw(st.sampled_from((-500, 0, 5, DAY_S)))
            value = draw(st.floats(1, 40, width=64))
            insert(connection, [(number, quantity, at_s * 1000 + ms, value, came_s)])
            heard[name] = max(came_s, heard.get(name, 0))
        for name, came_s in heard.items():
            last = {"heard_s": came_s + 9, "status": draw(st.none() | st.just("offline"))}
            if last["status"]:
                last["status_s"] = draw(moments)
            connection.execute(device.update().where(device.c.id == name).values(last))
        for place, told in enumerate(draw(st.lists(visits(), max_size=3))):
            for step, (said, withdrawn) in enumerate(told):
                about = {"changed_by": draw(st.none() | st.just("ann")), "withdrawn": withdrawn}
                change = Change(id=f"v{place}", **(about if step else {}))
                told_s = END_S + DAY_S * (step + 1)
                seen = Told(Inspection.model_validate(said | {"key": f"k{place}"}), change)
                inspections.tell(connection, seen, told_s, told_s)
        found = []
        for place in range(draw(st.sampled_from((5, 0, 3)))):
            hive = draw(st.sampled_from((*HIVES, None)))
            row = {
                "id": f"f{place}",
                "kind": draw(st.sampled_from(("swarm", "silent", "dearth"))),
                "subject": f"hive:{hive}" if hive else "yard:mill",
                "hive": hive,
                "yard": hive.partition("-")[0] if hive else "mill",
                "start_s": draw(moments),
                "end_s": draw(some_moment),
                "detected_s": draw(moments),
                "confidence": draw(st.floats(0, 1)),
                "status": draw(st.sampled_from(("open", "ended", "explained"))),
                "measures": json.dumps(draw(st.dictionaries(texts, nested, max_size=3))),
                "evidence": json.dumps(draw(st.lists(texts, max_size=2))),
                "explained_by": draw(st.none() | texts),
                "told_s": draw(moments),
                "changed_s": draw(moments),
            }
            connection.execute(finding.insert().values(row))
            found.append(row)
        _fill_alerts(draw, connection, found)
        raws = st.lists(st.binary(max_size=20), max_size=3, unique=True)
        for raw in draw(raws):
            held = Held(
                source=draw(texts),
                device=draw(st.none() | st.sampled_from(DEVICES)),
                content_type=draw(st.none() | texts),
                raw=raw,
                faults=[
                    (
                        draw(st.none() | st.just(0)),
                        draw(st.sampled_from(("clock", "time"))),
                        draw(texts),
                    )
                ],
                received_s=draw(moments),
            )
            quarantine.add(connection, [held] * draw(st.integers(1, 2)))
