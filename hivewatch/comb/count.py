"""One comb count: what was seen, how well it was counted, and whether it can be true."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hivewatch.comb.stages import Stages
from hivewatch.errors import UsageError
from hivewatch.frames import Frame

COUNTING_ERROR = 0.175
"""One standard deviation of a person's count, as a fraction. Own choice: the middle of the 10 to
25 % that an eye is commonly said to be off (common practice, no source; no published figure was
found, only that estimates vary with the observer: Delaplane et al. 2013, J. Apic. Res. 52(1), 4.2).
tests/property/test_comb_truth.py draws errors from the whole range."""

OVERSEEN_CELLS = 30.0
"""Cells of one class that a person may miss who looked and found none: the mean of an exponential.
Own choice: a patch of about the size of a thumbnail on both sides of one comb; from memory."""

MOST_EGGS = 2050.0
"""What the best queens lay, eggs a day. Published: the curve of McLellan et al. 1978 peaks at
2,047 (as a published model's code restates it); Khoury et al. 2011 take 2,000, Becher et al. 2014
1,600."""

ALLOWED_ERRORS = 2.0
"""Counting errors on top of `MOST_EGGS` before a count is asked about. Own choice: one honest count
in forty of the very best queen."""

NAMES = ("eggs", "open", "capped")
DRONES = ("drone_open", "drone_capped")


@dataclass(frozen=True)
class CombCount:
    """What somebody counted: cells, None where nobody looked or could see, 0 where none were found.

    Parameters
    ----------
    eggs, open, capped : float or None
        Worker cells of each class on all combs.
    drone_open, drone_capped : float or None
        Drone brood, wherever it lies.
    counting_error : float or None
        One standard deviation of the count as a fraction; None for `COUNTING_ERROR`.
    survival : float or None
        Part of the eggs that become bees; None for "between the published loss and none at all".
    frame : Frame or None
        Whose sides were judged, where cells follow from shares of them.
    """

    eggs: float | None = None
    open: float | None = None
    capped: float | None = None
    drone_open: float | None = None
    drone_capped: float | None = None
    counting_error: float | None = None
    survival: float | None = None
    frame: Frame | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be a count at all."""
        for name in (*NAMES, *DRONES):
            cells = getattr(self, name)
            if cells is not None and not (math.isfinite(cells) and cells >= 0):
                raise UsageError(
                    name.replace("_", "-"), f"{cells:g}", "not a count of cells", "give 0 or more"
                )
        error = self.counting_error
        if error is not None and not 0 <= error <= 1:
            remedy = "give a fraction from 0 to 1, such as 0.15"
            raise UsageError("counting error", f"{error:g}", "not a fraction", remedy)
        survival = self.survival
        if survival is not None and not 0 < survival <= 1:
            remedy = "give a fraction above 0 and up to 1, such as 0.9"
            raise UsageError("survival", f"{survival:g}", "not a fraction", remedy)
        if all(cells is None for cells in self.cells):
            remedy = "give at least one of eggs, open and capped, 0 if you looked and found none"
            raise UsageError("comb count", "", "nothing was counted", remedy)

    @property
    def cells(self) -> tuple[float | None, float | None, float | None]:
        """Eggs, open and capped brood, youngest first."""
        return (self.eggs, self.open, self.capped)

    @property
    def error(self) -> float:
        """The counting error in use."""
        return COUNTING_ERROR if self.counting_error is None else self.counting_error

    def loss(self, stages: Stages) -> tuple[float, float]:
        """Give the mean and the spread of the loss, as multiples of the published hazards.

        Without a survival given, any loss from none to the published one is as likely as any
        other: published losses were measured on whole patches, and a good queen's patch misses
        fewer cells than that (common practice, no source).
        """
        if self.survival is None:
            return 0.5, 1.0 / math.sqrt(12.0)
        return stages.share_of_loss(self.survival), 0.0

    def question(self, stages: Stages) -> str | None:
        """Ask back when a count needs more eggs than a queen can lay."""
        limit = MOST_EGGS * (1.0 + ALLOWED_ERRORS * self.error)
        asked = []
        for name, cells, (young, old) in zip(NAMES, self.cells, stages.windows, strict=True):
            if cells is not None and cells / (old - young) > limit:
                what = "eggs" if name == "eggs" else f"{name} cells"
                asked.append(
                    f"{cells:,.0f} {what} would take {cells / (old - young):,.0f} eggs a day for "
                    f"{old - young} days, and the best queens lay about 2,000: "
                )
        if not asked:
            return None
        return (
            "".join(asked)
            + "was a side counted twice, honey counted as brood, or are there two queens?"
        )


def count_sides(
    frame: Frame,
    eggs: float | None = None,
    open_: float | None = None,
    capped: float | None = None,
    drone_open: float | None = None,
    drone_capped: float | None = None,
) -> CombCount:
    """Turn shares of frame sides into cells: 1.5 are a side and a half, None nobody looked at.

    Drone brood is taken to lie in drone comb, whose cells are wider.
    """

    def cells(sides: float | None, a_side: int) -> float | None:
        return None if sides is None else round(sides * a_side)

    worker, drone = frame.side_cells, frame.side_drone_cells
    return CombCount(
        eggs=cells(eggs, worker),
        open=cells(open_, worker),
        capped=cells(capped, worker),
        drone_open=cells(drone_open, drone),
        drone_capped=cells(drone_capped, drone),
        frame=frame,
    )
