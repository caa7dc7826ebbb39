"""How the commands print what they find."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from hivewatch.apiary import Apiary, stands
from hivewatch.comb.outlook import Outlook
from hivewatch.comb.outlook_words import describe_outlook
from hivewatch.comb.reading import Range
from hivewatch.comb.words import about
from hivewatch.detect.finding import Finding
from hivewatch.moments import written_s
from hivewatch.store.quarantine import Held

UNITS = {
    "kg": "kg",
    "cel": "°C",
    "k": "K",
    "v": "V",
    "min": "min",
    "hours": "h",
    "days": "days",
    "percent": "%",
}
"""Of measures, by the part of a name that says it."""


def zone_of(one: Finding, apiary: Apiary) -> ZoneInfo:
    """Give the zone of the yard that a finding is of."""
    what, _, name = one.subject.partition(":")
    if what == "device":
        what, name = "hive", stands(apiary.placements, name, one.start_s) or ""
    home = name if what == "yard" else getattr(apiary.hive.get(name), "yard", "")
    return ZoneInfo(getattr(apiary.yard.get(home), "timezone", "UTC"))


def finding_text(one: Finding, zone: ZoneInfo) -> str:
    """Give a finding as a few words on a line, its evidence below; times are those of the yard."""
    begun = datetime.fromtimestamp(one.start_s, zone)
    until = ""
    if one.end_s is not None and one.end_s != one.start_s:
        end = datetime.fromtimestamp(one.end_s, zone)
        until = f" to {end:%H:%M}" if end.date() == begun.date() else f" to {end:%Y-%m-%d %H:%M}"
    who = one.subject.removeprefix("hive:").replace(":", " ")
    status = {"ended": "over"}.get(one.status, one.status)
    head = f"{begun:%Y-%m-%d %H:%M}{until}  {who}: {one.kind}, {status}, {one.confidence:.0%} sure"
    measures = [measure(name, value) for name, value in one.measures.items() if value is not None]
    lines = [head, *([", ".join(measures)] if measures else []), *one.evidence]
    return "\n    ".join(lines)


def measure(name: str, value: float | str) -> str:
    """Say a measure, whose unit stands in its name: "kg_lost" is "2.01 kg lost"."""
    shown = value if isinstance(value, str) else f"{value:,.10g}"
    parts = name.split("_")
    at = next((i for i, part in enumerate(parts) if part in UNITS), None)
    if at is None:  # counts of something are named first, too: "bees_left"
        return f"{' '.join(parts)} {shown}" if isinstance(value, str) else _first(shown, parts)
    unit = UNITS[parts[at]]
    if at == 0:
        return _first(f"{shown} {unit}", parts[1:])
    return f"{' '.join(parts[:at] + parts[at + 1 :])} {shown} {unit}"


def _first(amount: str, rest: list[str]) -> str:
    if rest[-1:] == ["error"]:
        return " ".join(["give or take", amount, *rest[:-1]])
    return " ".join([amount, *rest])


def outlook_text(seen: Outlook) -> str:
    """Give an outlook in sentences, with a small table of the weeks back and ahead."""
    rows = ["", "days from now   eggs laid      adults (8 in 10 times)   foragers   emerging a day"]
    for day in range(-21, 22, 7):
        known = [seen.figures[name].get(day) for name in ("adults", "foragers", "emerging")]
        adults, foragers, young = ("-" if one is None else about(one.median) for one in known)
        span = "" if known[0] is None else _span(known[0])
        laid = about(seen.laying[day].median)
        rows.append(f"{day:>13} {laid:>11} {adults:>11} {span:<20} {foragers:>9} {young:>12}")
    return "\n".join([*describe_outlook(seen), *rows])


def _span(of: Range) -> str:
    return f"({about(of.low)} to {about(of.high)})"


def held_json(one: Held) -> dict[str, Any]:
    """Give a pack or line in quarantine, without its bytes."""
    return {
        "id": one.id,
        "received_at": written_s(one.received_s),
        "source": one.source,
        "device": one.device,
        "times": one.times,
        "bytes": len(one.raw),
        "faults": [
            {"index": index, "reason": reason, "detail": detail}
            for index, reason, detail in one.faults
        ],
    }


def held_text(one: Held) -> str:
    """Give a pack or line in quarantine on one line."""
    index, reason, detail = one.faults[0]
    place = "" if index is None else f"record {index + 1}: "
    more = f", and {len(one.faults) - 1} more" if len(one.faults) > 1 else ""
    times = f" ({one.times} times)" if one.times > 1 else ""
    return (
        f"{one.id:>5}  {written_s(one.received_s)}  {one.source}{times}:"
        f" {place}{reason}: {detail}{more}"
    )
