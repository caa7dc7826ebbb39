"""What a colony eats: in the next three weeks, and until the spring after."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from hivewatch.comb.held import Held
from hivewatch.comb.reading import Range
from hivewatch.comb.stages import WORKER
from hivewatch.comb.start import BEE_LIFE_DAYS
from hivewatch.signals import appetite
from hivewatch.signals.season import laying_level, northern_day, seasons_weight, usual_flying

ACTIVE_FLYING = 0.4  # part of a full flying day from which bees live as in summer. Own choice

OWN_SCALE = (0.5, 1.25)
"""How far what a hive's own scale shows moves the published figures. Own choice: scales show less
in winter, too, and what nights show lags behind a colony that grows."""

CLUSTER_BEES = 12_000.0  # own choice: where the winter is still to come
INCOME_ENDS, INCOME_BEGINS = 258.0, 105.0
"""Day of the year, as at 47 degrees north: 15 September, 15 April. Common practice, no source."""

LAYING_TO_SEASON = 1.2  # as `start` has it: laying of so many bees by season


@dataclass(frozen=True)
class Winter:
    """The winter that is, or that comes: its days without income, and what it takes. [kg]."""

    since: date
    until: date
    need_kg: float


@dataclass(frozen=True)
class Need:
    """What there is against what is needed.

    Parameters
    ----------
    held : Held
        With the stores.
    need_kg : float
        Eaten in the days looked at. [kg]
    lasts_until : date or None
        The day on which the stores are eaten, if nothing comes in; None when they last longer than
        the days looked at, or nobody knows them.
    winter : Winter or None
        None where there are no seasons.
    """

    held: Held
    need_kg: float
    lasts_until: date | None
    winter: Winter | None


def need_of(
    held: Held,
    adults: Mapping[int, Range],
    laying: Mapping[int, Range],
    as_of: date,
    latitude: float,
) -> Need:
    """Set what a hive has against what it needs.

    Parameters
    ----------
    held : Held
        With the stores.
    adults : Mapping[int, Range]
        Bees, by days ahead.
    laying : Mapping[int, Range]
        Eggs a day, from three weeks back on.
    as_of : date
        Today.
    latitude : float
        Of the yard. [deg]
    """
    eaten, lasts_until, own = 0.0, None, 1.0
    for ahead in range(max(adults)):
        day = as_of + timedelta(days=ahead)
        open_cells, cells = _brood(laying, ahead)
        a_day = eaten_kg(adults[ahead].median, open_cells, cells, day, latitude)
        if ahead == 0 and held.eaten_kg is not None and a_day > 0:
            own = min(OWN_SCALE[1], max(OWN_SCALE[0], held.eaten_kg / a_day))
        eaten += own * a_day
        if held.stores_kg is not None and lasts_until is None and eaten > held.stores_kg:
            lasts_until = day
    return Need(held, eaten, lasts_until, _winter(adults[0].median, as_of, latitude))


def eaten_kg(bees: float, open_cells: float, cells: float, day: date, latitude: float) -> float:
    """Give the honey that bees and brood take in a day. [kg]."""
    active = min(1.0, usual_flying(day, latitude) / ACTIVE_FLYING)
    return appetite.eaten_kg(bees, open_cells, cells, appetite.bee_mg(active))


def _brood(laying: Mapping[int, Range], ahead: int) -> tuple[float, float]:
    """Give open brood and all brood of a day ahead, from the laying before it."""
    alive = WORKER.survival(0.5)
    cells = [
        laying[ahead - 1 - age].median * float(alive[age]) if ahead - 1 - age in laying else 0.0
        for age in range(WORKER.emerge_day)
    ]
    return sum(cells[WORKER.hatch_day : WORKER.cap_day]), sum(cells)


def _winter(bees: float, as_of: date, latitude: float) -> Winter | None:
    """Give the time without income that is, or comes next, and what it takes.

    Brood as a colony of so many bees has it in that season; no income at all is counted, though
    some comes before and after.
    """
    if seasons_weight(latitude) == 0.0:
        return None
    since = as_of
    while not _is_winter(since, latitude):
        since += timedelta(days=1)
    cluster = bees if since == as_of else CLUSTER_BEES
    until, need_kg = since, 0.0
    while _is_winter(until, latitude):
        level = min(1.0, LAYING_TO_SEASON * laying_level(until, latitude))
        eggs = cluster / BEE_LIFE_DAYS * level
        open_cells = eggs * (WORKER.cap_day - WORKER.hatch_day)
        cells = eggs * WORKER.emerge_day
        need_kg += eaten_kg(cluster, open_cells, cells, until, latitude)
        until += timedelta(days=1)
    return Winter(since, until, need_kg)


def _is_winter(day: date, latitude: float) -> bool:
    return not INCOME_BEGINS <= northern_day(day, latitude) < INCOME_ENDS
