"""The round from the store: what is known of every hive, brought to the rule that orders it."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import Any, NamedTuple

from sqlalchemy import Connection, select, text

from hivewatch.ahead import Beside
from hivewatch.alerts.phrases import phrase
from hivewatch.alerts.rules import RULES
from hivewatch.apiary import Apiary, Placement, stands
from hivewatch.detect.finding import Finding
from hivewatch.inspections import Inspection
from hivewatch.outlooks import told_of
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import inspections, standing
from hivewatch.store.schema import finding as finding_table
from hivewatch.store.schema import inspection as inspection_table
from hivewatch.timeline.dates import OVER_DAYS
from hivewatch.timeline.gone import is_given, of_this_colony
from hivewatch.timeline.round import plan_round
from hivewatch.timeline.visits import Round
from hivewatch.timeline.wants import Advice, Facts

DAY_S = 86_400
BACK_S = (OVER_DAYS + 1) * DAY_S

ADVICE: Mapping[str, Advice] = MappingProxyType(
    {
        kind: Advice(
            urgency=rule.urgency,
            tell_once_over=rule.once_over == "tell",
            head=phrase(kind).head,
            why=rule.why,
            do=phrase(kind).do,
            mind=phrase(kind).mind,
        )
        for kind, rule in RULES.items()
    }
)


class Known(NamedTuple):
    """An inspection and its id."""

    id: str
    inspection: Inspection


def plan(
    connection: Connection,
    apiary: Apiary,
    findings: Iterable[Finding],
    as_of_s: int,
    *,
    recorded_by_s: int | None = None,
    outlooks: Mapping[str, Mapping[str, Any]] | None = None,
) -> Round:
    """Make the round.

    Parameters
    ----------
    findings : Iterable[Finding]
        As told at the moment.
    as_of_s : int
        The moment. [s]
    recorded_by_s : int or None
        For a replay: no inspection written down later counts.
    outlooks : Mapping or None
        Hive -> its outlook, in the form of the contract, where there is one.
    """
    facts, of_yard = facts_of(
        connection, apiary, findings, as_of_s, recorded_by_s=recorded_by_s, outlooks=outlooks
    )
    return plan_round(apiary.yards, facts, of_yard, ADVICE, as_of_s)


def facts_of(
    connection: Connection,
    apiary: Apiary,
    findings: Iterable[Finding],
    as_of_s: int,
    *,
    recorded_by_s: int | None = None,
    outlooks: Mapping[str, Mapping[str, Any]] | None = None,
) -> tuple[Mapping[str, Sequence[Facts]], Mapping[str, Sequence[Finding]]]:
    """Gather what is known of every hive, by yard, and the findings of yards as a whole.

    A hive whose colony was given away is left out, until somebody writes of a visit again.
    """
    seen = inspections_since(connection, as_of_s - BACK_S, as_of_s, recorded_by_s)
    unseen = [hive.id for hive in apiary.hives if hive.id not in seen]
    gone = given_away(connection, unseen, as_of_s, recorded_by_s)
    of_hive: defaultdict[str, list[Finding]] = defaultdict(list)
    of_yard: defaultdict[str, list[Finding]] = defaultdict(list)
    places: defaultdict[str, list[Placement]] = defaultdict(list)
    for place in apiary.placements:
        places[place.device].append(place)
    for one in findings:
        what, _, name = one.subject.partition(":")
        if what == "yard":
            of_yard[name].append(one)
        else:
            at = name if what == "hive" else stands(places[name], name, as_of_s)
            of_hive[at or ""].append(one)
    facts: defaultdict[str, list[Facts]] = defaultdict(list)
    for hive in apiary.hives:
        visits = of_this_colony(seen.get(hive.id, ()))
        if hive.id in gone or (hive.id in seen and not visits):
            continue
        outlook = (outlooks or {}).get(hive.id)
        facts[hive.yard].append(Facts(hive, of_hive.get(hive.id, ()), visits, outlook))
    return facts, of_yard


def given_away(
    connection: Connection, hives: Sequence[str], as_of_s: int, recorded_by_s: int | None = None
) -> Collection[str]:
    """Name those of some hives whose colony was given away, and that nobody wrote of since."""
    if recorded_by_s is None:
        return standing.given_away(connection, as_of_s, hives).keys()
    told = inspections.read(connection, recorded_by_s=recorded_by_s)
    last = {
        one.inspection.hive: one.inspection
        for one in told
        if one.at_s <= as_of_s and one.inspection.opened
    }
    return {hive for hive, one in last.items() if is_given(one)}


def version_of(connection: Connection, kind: str | None = None) -> tuple[int, ...]:
    """Give numbers that differ once anything that the round rests on has changed.

    With a `kind`, of all findings only those of that kind count. The first two are the times of the
    last changes, in s: what changes within that second may not show in the numbers.
    """
    told = "WHERE kind = :kind" if kind is not None else ""
    row = connection.execute(
        text(
            f"SELECT (SELECT coalesce(max(changed_s), 0) FROM finding {told}),"  # noqa: S608
            " (SELECT coalesce(max(recorded_s), 0) FROM inspection_version),"
            f" (SELECT count(*) FROM finding {told}),"
            " (SELECT count(*) FROM inspection_version), (SELECT count(*) FROM hive),"
            " (SELECT count(*) FROM placement), (SELECT coalesce(max(since_s), 0) FROM placement)"
        ),
        {"kind": kind} if kind is not None else {},
    ).one()
    return tuple(int(one) for one in row)


def told_lately(connection: Connection, as_of_s: int) -> list[Finding]:
    """Read what may ask for a visit: what is open, what ended lately, and the swarms since spring.

    Their evidence is left out, for the round does not show it.
    """
    c = finding_table.c
    lately = c.end_s.is_(None) | (c.end_s >= as_of_s - 3 * DAY_S)
    swarms = (c.kind == "swarm") & (c.start_s >= as_of_s - BACK_S)
    asked = c.kind, c.subject, c.start_s, c.end_s, c.detected_s, c.confidence, c.measures
    query = select(*asked, c.status, c.id).where(
        c.status.in_(["open", "ended"]), lately | swarms, c.start_s + 0 <= as_of_s
    )
    rows = connection.execute(query)  # by place: a third of the time that names take
    return [
        Finding(kind, subject, start_s, end_s, at_s, sure, json.loads(said), (), status, None, name)
        for kind, subject, start_s, end_s, at_s, sure, said, status, name in rows
    ]


def apiary_for(connection: Connection, told: Iterable[Finding]) -> Apiary:
    """Read yards, hives, and where the devices stood that something was told of."""
    subjects = (one.subject.partition(":") for one in told)
    return apiary_rows.read(connection, {name for what, _, name in subjects if what == "device"})


def inspections_since(
    connection: Connection, from_s: int, until_s: int, recorded_by_s: int | None = None
) -> dict[str, list[Known]]:
    """Read the visits to all hives in a span of time, by hive."""
    seen: defaultdict[str, list[Known]] = defaultdict(list)
    if recorded_by_s is not None:
        for one in inspections.read(connection, recorded_by_s=recorded_by_s, from_s=from_s):
            if one.at_s <= until_s and one.inspection.opened:
                seen[one.inspection.hive].append(Known(one.id, one.inspection))
        return seen
    c = inspection_table.c
    query = select(c.id, c.hive, c.body).where(c.at_s >= from_s, c.at_s <= until_s)
    query = query.where(c.withdrawn == 0)
    for name, hive, body in connection.execute(query.order_by(c.at_s, c.id)):
        said = inspections.parsed(body)
        if said.opened:
            seen[hive].append(Known(name, said))
    return seen


def outlooks(
    connection: Connection, apiary: Apiary, as_of_s: int, recorded_by_s: int | None = None
) -> dict[str, Mapping[str, Any]]:
    """Work out the outlook of every hive that was counted in the last sixty days.

    This takes a tenth of a second or more a hive: for the command, not for a request.
    """
    seen = inspections_since(connection, as_of_s - BACK_S, as_of_s, recorded_by_s)
    beside: Beside = {}
    told = {
        hive: told_of(connection, apiary, hive, as_of_s, recorded_by_s, beside=beside)
        for hive in seen
    }
    return {hive: one for hive, one in told.items() if one is not None}
