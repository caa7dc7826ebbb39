"""What the detectors find in the stored history, at any moment of it.

The same look as the daemon's, so a replay says what the daemon said.
"""

from __future__ import annotations

from hivewatch.ahead import outlook_of
from hivewatch.comb.outlook import Outlook
from hivewatch.detect import run
from hivewatch.detect.finding import KINDS, Finding
from hivewatch.errors import UsageError
from hivewatch.looks import look_at_yard
from hivewatch.mistakes import check_known
from hivewatch.rounds import given_away
from hivewatch.settings import Alerts
from hivewatch.signals.days import days_of
from hivewatch.signals.weighed import as_weighed
from hivewatch.store import apiary as apiary_rows
from hivewatch.store import windows
from hivewatch.store.open import Store
from hivewatch.watch import Known, look


def find(
    store: Store,
    settings: Alerts,
    *,
    as_of_s: int,
    is_replay: bool,
    hive: str | None = None,
    yard: str | None = None,
    kind: str | None = None,
    since_s: int | None = None,
    until_s: int | None = None,
) -> list[Finding]:
    """Say what the detectors find in the stored history.

    Parameters
    ----------
    as_of_s : int
        The moment. [s]
    is_replay : bool
        As it would have been told at that moment: from what had been received by then, and without
        what was withdrawn since.
    hive, yard, kind : str or None
        Only of these.
    since_s, until_s : int or None
        Only what was not over before, and what began before. [s]

    Returns
    -------
    list[Finding]
        By start; what was told before carries the id it was told by.

    Raises
    ------
    UsageError
        If there is no such hive, yard or kind.
    """
    found: list[Finding] = []
    with store.read() as connection:
        apiary = apiary_rows.read(connection)
        if hive is not None:
            check_known("--hive", hive, [one.id for one in apiary.hives])
        if yard is not None:
            check_known("--yard", yard, [one.id for one in apiary.yards])
        if kind is not None:
            check_known("--kind", kind, KINDS)
        received_by_s = as_of_s if is_replay else None
        for place in apiary.yards:
            here = apiary.hives_of.get(place.id, ())
            if yard not in {None, place.id} or hive not in {None, *here}:
                continue
            days, noted, left = {}, {}, list[Finding]()
            for one in here:
                window = windows.read_window(connection, apiary, one, as_of_s, received_by_s)
                days[one] = as_weighed(days_of(window))
                known = Known.read(connection, one, received_by_s)
                noted[one] = [visit for visit in known.noted if visit.at_s <= as_of_s]
                if hive in {None, one}:
                    seen = look(connection, window, settings, as_of_s, known=known)
                    found += seen.settled
                    left += seen.left
            together = run.detect_yard(place, days)
            of_yard = look_at_yard(connection, place, [*together, *left], noted).settled
            found += [one for one in of_yard if hive is None or one.subject == f"hive:{hive}"]
    return sorted(
        (
            one
            for one in found
            if kind in {None, one.kind}
            and (since_s is None or one.end_s is None or one.end_s >= since_s)
            and (until_s is None or one.start_s < until_s)
            and not (is_replay and one.status == "withdrawn")
        ),
        key=lambda one: (one.start_s, one.kind, one.subject),
    )


def ahead(store: Store, hive: str, as_of_s: int, *, is_replay: bool) -> Outlook:
    """Look three weeks back and ahead at one hive, at any moment.

    Raises
    ------
    UsageError
        If there is no such hive, its colony was given away, or nothing was counted that an outlook
        could start from.
    """
    with store.read() as connection:
        apiary = apiary_rows.read(connection)
        check_known("hive", hive, [one.id for one in apiary.hives])
        recorded_by_s = as_of_s if is_replay else None
        seen = outlook_of(connection, apiary, hive, as_of_s, recorded_by_s=recorded_by_s)
        is_gone = hive in given_away(connection, [hive], as_of_s, recorded_by_s)
    if is_gone:
        remedy = "a visit that is written down later says that there is one again"
        raise UsageError("outlook", hive, "its colony was given away or sold", remedy)
    if seen is None:
        wrong = "nothing was counted here in the last sixty days that an outlook could start from"
        remedy = "write down an inspection with brood or bees counted: hivewatch inspections load"
        raise UsageError("outlook", hive, wrong, remedy)
    return seen
