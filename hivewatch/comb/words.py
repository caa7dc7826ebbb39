"""What a keeper would say of one comb count, in sentences."""

from __future__ import annotations

import math

from hivewatch.comb.calendar import EMERGENCY_EGGS_DAYS
from hivewatch.comb.count import OVERSEEN_CELLS
from hivewatch.comb.reading import CombReading, Days, Range

_WHEN = ("in the last 3 days", "4 to 9 days ago", "10 to 21 days ago")
_CLASS = ("eggs", "open brood", "capped brood")

_FEW = 0.2  # of the best day. Own choice: what is called few in the sentence on a gap
_HARDLY = 0.2  # of the laying a week before. Own choice: what is called hardly laying
_TOO_FEW_CELLS = 10 * OVERSEEN_CELLS  # own choice: fewer are soon miscounted, and show no disease


def about(cells: float) -> str:
    """Round as one would say it: hundreds above a thousand, fives below a hundred."""
    for limit, step in ((1000, 100), (200, 50), (100, 10), (20, 5), (0, 1)):
        if cells >= limit:
            return f"{round(cells / step) * step:,.0f}"
    return "0"


def describe(reading: CombReading) -> list[str]:
    """Say in plain sentences what the count means, what to look for and when to look again."""
    if reading.question:
        asked = reading.question[0].upper() + reading.question[1:]
        return [asked, "Nothing is read from this count: set it right, or count again."]
    if reading.queen == "drone-laying":  # how she lays does not matter any more
        return [*_queen(reading), *_figures(reading), *_emergence(reading), *_blanks(reading)]
    verdict = {
        "rising": _rising,
        "steady": _steady,
        "falling": _falling,
        "stopped": _stopped,
        "just started": _just_started,
        "broken": _broken,
        "unknown": _unknown,
    }[reading.trend](reading)
    facts = [*_figures(reading), *_emergence(reading), *_blanks(reading), *_queen(reading)]
    if reading.queen and reading.trend == "steady":
        return [verdict[0], *facts]
    return [verdict[0], *facts, *verdict[1:]]


def _figures(reading: CombReading) -> list[str]:
    """Give eggs a day, and say where so few cells carry no number."""
    rates = [
        f"{_WHEN[i]} about {about(r.median)} ({about(r.low)} to {about(r.high)})"
        for i, r in enumerate(reading.laying)
        if r is not None and r.median >= 1
    ]
    said = [f"Eggs a day: {'; '.join(rates)}."] if rates else []
    if 0 < sum(cells or 0 for cells in reading.count.cells) < _TOO_FEW_CELLS:
        said.append("So few cells are easily miscounted: take this as rough, and count again.")
    return said


def look_again_days(reading: CombReading) -> int:
    """Say in how many days the next look at the comb is worth most.

    Common practice, no source: weekly while queen cells may be started (a queen cell is capped on
    day 8 from the egg); a new queen's first brood is judged when it is capped, nine days from the
    egg; a hive without eggs gets a second look before a week is out.
    """
    if reading.question:
        return 0
    if reading.queen == "drone-laying":
        return 4
    if reading.trend == "just started" and reading.started_between:
        return max(1, 9 - reading.started_between[0])
    return {"stopped": 4, "unknown": 3}.get(reading.trend, 7)


def _rising(reading: CombReading) -> list[str]:
    said = ["She is laying more than she did three weeks ago."]
    middle, old = reading.laying[1], reading.laying[2]
    both = (reading.count.open or 0) >= _TOO_FEW_CELLS and reading.count.capped
    if both and middle and old and middle.median > 2 * old.median:
        said.append(
            "There is little capped brood for so much open brood: either she has just got going, "
            "or larvae are dying before they are capped. If larvae are discoloured or caps sunken, "
            "move no combs and ask your bee inspector: some brood diseases must be reported."
        )
    said.append(
        "See that she has room to lay and the bees room to stand, and look again in 7 days, in "
        "swarming time for queen cells."
    )
    return said


def _steady(_: CombReading) -> list[str]:
    return [
        "She has been laying steadily, as far as the count can tell.",
        "Nothing here asks for a look before your usual round; in swarming time that is 7 days.",
    ]


def _falling(reading: CombReading) -> list[str]:
    young, middle, old = reading.laying
    before = "She is laying less than she did three weeks ago."
    if middle and old and reading.count.open and middle.median > old.high:
        before = "She laid more and more until a week ago or so, and has come down since."
    if young and middle and reading.count.eggs and young.median < _HARDLY * middle.median:
        before = "She has nearly stopped laying: there are few eggs for so much open brood."
    return [
        before,
        (
            "Look whether the cells around the brood are full of nectar, whether there is pollen, "
            "and whether queen cells are started: laying also falls in the days before a swarm and "
            "at the end of the season. Look again for eggs in 7 days."
        ),
    ]


def _stopped(reading: CombReading) -> list[str]:
    between = reading.stopped_between
    if between is None or between[1] is None:
        since = between[0] if between else 0
        looked = [name for name, n in zip(_CLASS, reading.count.cells, strict=True) if n == 0]
        known = f"No {_listed(looked, 'or')} seen"
        if since >= reading.stages.emerge_day:
            known = "There is no worker brood left"
        said = [f"{known}: she has laid nothing for {since} days or more."]
    else:
        said = [f"She stopped laying between {_ago(between)}{_best_guess(reading)}."]
    if reading.count.eggs is None:
        said.append("Whether she has begun again in the last 3 days only a look for eggs can say.")
    older = [r.median for r in reading.laying if r is not None and r.median > 0]
    if older and min(older) * reading.stages.hatch_day < 2 * OVERSEEN_CELLS:
        said.append("There was so little brood before that a few eggs are easily overlooked.")
    said.append(
        "First look for eggs again, with the sun behind you. Then for the queen, for queen cells, "
        "open or capped, and for cells polished ready for eggs."
    )
    if between and between[0] >= reading.stages.cap_day:
        said.append("From late autumn to midwinter a queen rests, and that is as it should be.")
    if between and between[0] >= reading.stages.emerge_day:
        said.append(
            "In the season, several eggs in a cell, eggs on the cell walls or domed drone brood in "
            "worker cells mean that workers have begun to lay."
        )
    elif between and between[1] is not None:
        first = max(0, EMERGENCY_EGGS_DAYS[0] - between[1])
        last = EMERGENCY_EGGS_DAYS[1] - between[0]
        said.append(
            f"If she is lost and the bees are raising another, her first eggs come {first} to "
            f"{last} days from now; once capped queen cells are there, leave them in peace."
        )
    said.append(
        "In the season look again in 4 days. Still no eggs and no cells: give a comb with young "
        "brood from a healthy hive; queen cells on it within 3 days mean that they have no queen. "
        "Bees without a queen can be quick to sting: veil on, smoke ready."
    )
    return said


def _best_guess(reading: CombReading) -> str:
    """Divide the youngest class by the laying before it, where that is known."""
    known = [i for i, cells in enumerate(reading.count.cells) if cells]
    youngest = known[0]
    spans = [r for i, r in enumerate(reading.laying) if i in (youngest, youngest + 1)]
    if youngest + 1 not in known or spans[0] is None or spans[1] is None:
        return ""
    young, old = reading.stages.windows[youngest]
    days = (old - young) * spans[0].median / spans[1].median
    when = round(max(float(young), old - days))
    return f", about {when} days ago if she laid as before until then"


def _just_started(reading: CombReading) -> list[str]:
    between = reading.started_between or (0, reading.stages.emerge_day)
    again = look_again_days(reading)
    return [
        f"A queen has just begun to lay, between {_ago(between)}.",
        (
            f"Look again in {again} days, when the first cells are capped: flat caps are workers "
            "and a well mated queen, domed caps in worker cells are drones and a queen to replace."
        ),
    ]


def _broken(reading: CombReading) -> list[str]:
    said = []
    if reading.stopped_between and reading.started_between:
        stop, start = _ago(reading.stopped_between), _ago(reading.started_between)
        said.append(
            f"There is a gap in the laying: it stopped between {stop}, and began again between "
            f"{start}."
        )
    emerging = reading.emerging
    thin = [day + 1 for day, bees in enumerate(emerging) if bees < _FEW * float(emerging.max())]
    if thin:
        said.append(f"Few young bees will emerge from day {min(thin)} to day {max(thin)} from now.")
    said.append(
        "A week without a queen shows like this, and so does a new queen, a caged one, a swarm or "
        "a hungry spell. Look for emerged queen cells and an unmarked queen, and look again in 7 "
        "days."
    )
    return said


def _unknown(reading: CombReading) -> list[str]:
    cells = reading.count.cells
    missing = [name for name, n in zip(_CLASS, cells, strict=True) if n is None]
    empty = [name for name, n in zip(_CLASS, cells, strict=True) if n == 0]
    said = "One class of brood cannot say whether she lays more or less than before."
    if empty:
        said = (
            f"No {_listed(empty, 'or')} seen: she laid nothing {_nothing_laid(reading)} days ago."
        )
    return [
        said,
        f"Look for {_listed(missing)} within 3 days; eggs show best with the sun behind you.",
    ]


def _nothing_laid(reading: CombReading) -> str:
    """Give the first and last day of the classes that were looked for and found empty."""
    pairs = zip(reading.count.cells, reading.stages.windows, strict=True)
    days = [window for cells, window in pairs if cells == 0]
    return f"{days[0][0] + 1} to {days[-1][1]}"


def _emergence(reading: CombReading) -> list[str]:
    total = float(reading.emerging.sum())
    if total < 1 and None in reading.count.cells:
        return ["What will emerge cannot be said without counting the other brood."]
    if total < 1:
        return ["No young bees will emerge in the next three weeks."]
    week = float(reading.emerging[:7].sum())
    return [
        (
            f"About {about(total)} young bees will emerge in the next three weeks, "
            f"{about(week) if week >= 1 else 'none'} of them in the next 7 days."
        )
    ]


def _blanks(reading: CombReading) -> list[str]:
    """Say which classes were not seen, and what that costs."""
    cells = reading.count.cells
    missing = [i for i, n in enumerate(cells) if n is None]
    if not missing:
        return []
    said = f"{_listed([_CLASS[i] for i in missing]).capitalize()} not counted: "
    told = []
    for i in missing:
        inferred = reading.laying[i]
        counted = [r for k, r in enumerate(reading.laying) if cells[k] and r is not None]
        if inferred is None or inferred.low <= 0 or not counted:
            told.append(f"what was laid {_WHEN[i]} is anybody's guess")
            continue
        off = min(_off(r) for r in counted)
        told.append(
            f"what was laid {_WHEN[i]} is read from the rest, {_off(inferred):.0f} % either way "
            f"instead of {off:.0f} %, and a stop in those days would not show"
        )
    return [said + "; ".join(told) + "."]


def _off(span: Range) -> float:
    return 100.0 * (math.sqrt(span.high / span.low) - 1.0)


def _queen(reading: CombReading) -> list[str]:
    if reading.queen == "drone-laying":
        return [
            (
                "Nearly all of the brood is drones: the queen was badly mated or is spent, or "
                "workers are laying. One egg at the bottom of each cell is a queen's, several are "
                "workers'. Look within 4 days. With a queen, the colony needs another one; with "
                "laying workers, shake it out or unite it, for it takes no new queen then."
            )
        ]
    if reading.queen == "failing":
        return [
            (
                "There are too many drones among the capped brood for a good queen; if they lie in "
                "worker cells she is failing. Look for domed caps scattered among flat ones, "
                "and for queen cells; look again in 7 days."
            )
        ]
    return []


def _ago(days: Days) -> str:
    near, far = days
    if far is None:
        return f"{near} and more days ago"
    return f"{near} and {far} days ago" if near else f"now and {far} days ago"


def _listed(words: list[str], last: str = "and") -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + f" {last} " + words[-1]
