"""A hive's daily figures, by the yard's local days."""

from __future__ import annotations

from datetime import date
from itertools import pairwise
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Query
from pydantic import AfterValidator, Field

from hivewatch.api.forms import Answer, Asked, LocalDay, Page, Time, moment, page_of, seconds
from hivewatch.api.places import HiveId, must_know
from hivewatch.api.problems import documented
from hivewatch.api.rooms import Here
from hivewatch.signals.daily import daily_of
from hivewatch.signals.dawn import dawn_departures_of
from hivewatch.signals.days import DAY_S, days_of
from hivewatch.signals.window import Floats, HiveWindow
from hivewatch.store import apiary
from hivewatch.store.windows import read_part

USUAL_DAYS = 14  # own choice: a fortnight, when nobody says from when on
DAYS_MAX, PAGE_DAYS = 92, 21  # own choice: a page holds three weeks; for more there is `next`
LEAD_S = dict.fromkeys(("nest", "ambient", "bees-in", "bees-out", "rain"), 3 * DAY_S)
LEAD_S["weight"] = 43 * DAY_S
"""How long before its first day each quantity is read: what a hive eats rests on six weeks."""
TAIL_S = 36 * 3600  # the night after a day belongs to its figures

router = APIRouter(tags=["history"])


class Day(Answer):
    """One local day; null where the readings do not tell, or not yet."""

    day: date
    sunrise: Time | None
    sunset: Time | None
    dawn_kg: float | None = Field(description="weight before sunrise, all bees at home")
    dusk_kg: float | None = Field(description="weight after sunset, all bees at home")
    gain_kg: float | None = Field(description="from this dawn to the next, without steps")
    day_kg: float | None = Field(description="from dawn to dusk, without steps")
    night_kg: float | None = Field(description="lost from dusk to the next dawn")
    step_kg: float | None = Field(description="what was put on or taken off, and what went at once")
    income_kg: float | None = Field(description="what came in, less what of it dried before dusk")
    ripening_kg: float | None = Field(description="what the night took beyond the usual")
    departure_kg: float | None = Field(description="mass of the bees that left in the morning")
    departure_error_kg: float | None
    departure_bees: float | None
    departure_error_bees: float | None
    nest_cel: float | None = Field(description="mean warmth of the nest")
    nest_sd_k: float | None = Field(description="its standard deviation within the day")
    ambient_cel: float | None = Field(description="mean of the air outside")
    nest_coupling: float | None = Field(description="degrees the nest follows one of the air")
    rain_mm: float | None
    bees_in: float | None
    bees_out: float | None
    balance_bees: float | None = Field(description="came home less left")
    first_flight: Time | None = Field(description="when a fiftieth of the day's bees had left")
    last_flight: Time | None = Field(description="when all but a fiftieth had left")
    flying_h: float | None = Field(description="hours of light and over 12 degrees outside")


class DaysAsked(Asked):
    """Which days of a hive."""

    from_: Annotated[
        Time | None, Field(alias="from", description="the local day of it, too; else two weeks ago")
    ] = None
    to: Annotated[Time | None, Field(description="the local day of it, too; else today")] = None
    limit: Annotated[
        int,
        Field(ge=1, le=DAYS_MAX, description=f"how many days at most; a page holds {PAGE_DAYS}"),
        AfterValidator(lambda limit: min(limit, PAGE_DAYS)),
    ] = PAGE_DAYS
    after: Annotated[LocalDay | None, Field(description="only later days")] = None


@router.get("/hives/{hive_id}/days", responses=documented(404, 422))
def daily_figures(here: Here, hive_id: HiveId, asked: Annotated[DaysAsked, Query()]) -> Page[Day]:
    """Give a hive's daily figures: gains, warmth, traffic, what left at dawn."""
    now_s = here.clock.now_s()
    to_s = min(now_s, now_s if asked.to is None else seconds(asked.to))
    from_s = to_s - USUAL_DAYS * DAY_S if asked.from_ is None else seconds(asked.from_)
    if asked.after is not None:
        from_s = max(from_s, (asked.after - date(1970, 1, 1)).days * DAY_S)
    with here.store.read() as connection:
        must_know(connection, hive_id)
        known = apiary.read_around(connection, hive_id)
        stood_s = [one.since_s for one in known.placements if one.hive == hive_id]
        from_s = max(from_s, min(stood_s, default=to_s))
        last_s = min(to_s, from_s + (asked.limit + 2) * DAY_S)  # no more than a page is worked out
        until_s = min(now_s, last_s + TAIL_S)
        since_s = {name: max(0, from_s - lead_s) for name, lead_s in LEAD_S.items()}
        window = read_part(connection, known, hive_id, since_s, until_s)
    shown = [
        one
        for (start_s, end_s), one in figures(window)
        if end_s > from_s and start_s <= last_s and (asked.after is None or one.day > asked.after)
    ]
    page = page_of(shown, asked.limit, now_s, lambda one: one.day.isoformat())
    if page.next is None and last_s < to_s:
        seen = [one.day for one in shown] + [moment(last_s - DAY_S).date()]
        page.next = max(seen).isoformat()
    return page


def figures(window: HiveWindow) -> list[tuple[tuple[int, int], Day]]:
    """Give the figures of each day of a window, with its first and last moment [s]."""
    if not any(len(series) for series in window.series.values()):
        return []
    days, daily, left = days_of(window), daily_of(window), dawn_departures_of(window)
    kg, kelvin, bees = 3, 2, 0  # digits
    columns: dict[str, list[float | None]] = {
        "dawn_kg": _rounded(days.dawn_kg, kg),
        "dusk_kg": _rounded(days.dusk_kg, kg),
        "gain_kg": _rounded(days.gain_kg, kg),
        "day_kg": _rounded(days.day_kg, kg),
        "night_kg": _rounded(days.night_kg, kg),
        "step_kg": _rounded(days.step_kg, kg),
        "income_kg": _rounded(daily.income_kg, kg),
        "ripening_kg": _rounded(daily.ripening_kg, kg),
        "departure_kg": _rounded(left.kg, kg),
        "departure_error_kg": _rounded(left.error_kg, kg),
        "departure_bees": _rounded(left.bees, bees),
        "departure_error_bees": _rounded(left.error_bees, bees),
        "nest_cel": _rounded(days.nest_cel, kelvin),
        "nest_sd_k": _rounded(days.nest_sd_k, kelvin),
        "ambient_cel": _rounded(days.ambient_cel, kelvin),
        "nest_coupling": _rounded(daily.coupling, kelvin),
        "rain_mm": _rounded(days.rain_mm, 1),
        "bees_in": _rounded(days.bees_in, bees),
        "bees_out": _rounded(days.bees_out, bees),
        "balance_bees": _rounded(daily.balance_bees, bees),
        "flying_h": _rounded(days.flying_h, 1),
    }
    times = {
        "sunrise": _rounded(days.rise_s, 0),
        "sunset": _rounded(days.set_s, 0),
        "first_flight": _rounded(days.flight_s, 0),
        "last_flight": _rounded(days.home_s, 0),
    }
    found = []
    for i, (day, span) in enumerate(zip(days.day, pairwise(days.start_s.tolist()), strict=True)):
        row = {name: values[i] for name, values in columns.items()}
        at = {
            name: None if (time_s := values[i]) is None else moment(int(time_s))
            for name, values in times.items()
        }
        found.append((span, Day.model_validate({"day": day} | row | at)))
    return found


def _rounded(values: Floats, digits: int) -> list[float | None]:
    """Give figures for an answer; null where there is none."""
    return [None if np.isnan(one) else round(one, digits) for one in values.tolist()]
