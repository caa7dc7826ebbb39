"""Files: the apiary, the readings, the inspections and the truth."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from simulators.plans import Ints, Scenario, instant
from simulators.season import HiveSeason
from simulators.sensors import DECIMALS, Feed
from simulators.truth import of_hive, of_yard


def write(
    scenario: Scenario, seasons: Iterable[HiveSeason], out: Path, form: str
) -> dict[str, int]:
    """Write a season into a folder; return what was written."""
    out.mkdir(parents=True, exist_ok=True)
    hives: list[HiveSeason] = []
    feeds: list[Feed] = []
    inspections: list[dict[str, Any]] = []
    truth: dict[str, Any] = {
        "scenario": scenario.name,
        "title": scenario.title,
        "seed": scenario.seed,
        "start": scenario.start.isoformat(),
        "days": scenario.days,
        "events": [],
        "inspections_recorded": [],
        "yards": {},
        "hives": {},
    }
    for season in seasons:
        told = of_hive(season, scenario)
        truth["events"] += told.pop("events")
        truth["inspections_recorded"] += told.pop("inspections_recorded")
        truth["hives"][season.told.life.plan.id] = told
        inspections += season.told.life.inspections
        feeds += season.watched.feeds
        hives.append(season)
    for yard in scenario.yards:
        told = of_yard([season for season in hives if season.yard.id == yard.id])
        truth["events"] += told.pop("events")
        truth["yards"][yard.id] = told
    truth["events"].sort(key=lambda event: str(event["start"]))
    (out / "apiary.toml").write_text(apiary(hives), encoding="utf-8")
    (out / "inspections.json").write_text(json.dumps(inspections, indent=1), encoding="utf-8")
    (out / "truth.json").write_text(json.dumps(truth), encoding="utf-8")
    order = in_sending_order(feeds)
    if form == "csv":
        rows = _csv(feeds, order, out / "readings.csv")
    else:
        rows = _senml(feeds, order, out / "readings.senml.jsonl")
    return {"hives": len(hives), "readings": rows, "inspections": len(inspections)}


def in_sending_order(feeds: list[Feed]) -> tuple[Ints, Ints, Ints]:
    """Order all records by when they were sent: feed number, place in the feed, sent time."""
    number = np.concatenate([np.full(feed.time_s.size, i) for i, feed in enumerate(feeds)])
    place = np.concatenate([np.arange(feed.time_s.size) for feed in feeds])
    sent = np.concatenate([feed.sent_s for feed in feeds])
    time = np.concatenate([feed.time_s for feed in feeds])
    order = np.lexsort((number, time, sent))
    return number[order], place[order], sent[order]


def _words(feed: Feed) -> list[str]:
    return [f"{value:.{DECIMALS.get(feed.quantity, 2)}f}" for value in feed.value]


def _csv(feeds: list[Feed], order: tuple[Ints, Ints, Ints], path: Path) -> int:
    number, place, _ = order
    times = np.unique(np.concatenate([feed.time_s for feed in feeds]))
    stamp = np.datetime_as_string(times.astype("datetime64[s]"), unit="s")
    lines = []
    for feed in feeds:
        at = stamp[np.searchsorted(times, feed.time_s)]
        middle = f"Z,{feed.device},{feed.quantity},"
        lines.append([t + middle + w for t, w in zip(at, _words(feed), strict=True)])
    with path.open("w", encoding="utf-8") as file:
        file.write("time,device,quantity,value\n")
        file.writelines(
            lines[i][j] + "\n" for i, j in zip(number.tolist(), place.tolist(), strict=True)
        )
    return int(number.size)


def _senml(feeds: list[Feed], order: tuple[Ints, Ints, Ints], path: Path) -> int:
    from simulators.packs import packs  # noqa: PLC0415 - packs needs in_sending_order

    rows = 0
    with path.open("w", encoding="utf-8") as file:
        for pack in packs(feeds, order, 7_200):
            rows += len(pack.records)
            line = {"device": pack.device, "sent": instant(pack.sent_s), "senml": pack.records}
            file.write(json.dumps(line) + "\n")
    return rows


def apiary(hives: list[HiveSeason]) -> str:
    """Write the apiary file."""
    lines: list[str] = []
    yards = {season.yard.id: season.yard for season in hives}
    for yard in yards.values():
        lines += ["[[yard]]", f'id = "{yard.id}"', f'name = "{yard.name}"']
        lines += [f"latitude = {yard.latitude}", f"longitude = {yard.longitude}"]
        lines += [f'timezone = "{yard.timezone}"', ""]
    for season in hives:
        plan = season.told.life.plan
        lines += ["[[hive]]", f'id = "{plan.id}"', f'yard = "{season.yard.id}"']
        lines += [f'frame = "{plan.frame}"', f"frames = {plan.frames}", f"boxes = {plan.boxes}"]
        lines += [f"empty_kg = {plan.empty_kg}", ""]
    for season in hives:
        for device in season.watched.devices:
            lines += ["[[device]]", f'id = "{device.id}"', f'hive = "{device.hive}"']
            lines += [f'since = "{instant(device.since_s)}"', ""]
    return "\n".join(lines)
