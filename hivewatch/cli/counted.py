"""One comb count as it is typed: in cells, in sides of comb, or in a file, side by side."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from hivewatch.cli.words import read_text
from hivewatch.comb import CombCount, count_sides
from hivewatch.errors import UsageError
from hivewatch.frames import FRAMES, Frame
from hivewatch.inspections import brood_counts, read_comb_sides
from hivewatch.mistakes import check_known

CELLS_MOST = 1_000_000  # own choice: more than ten boxes of comb have
SIDES_MOST = 60  # [sides] own choice: three boxes of ten frames, all brood; more are cells


def counted(
    told: Mapping[str, float | None], file: Path | None, frame_name: str | None, *, in_sides: bool
) -> CombCount:
    """Make a count of what was typed.

    Parameters
    ----------
    told : Mapping[str, float or None]
        Option -> number, in the order of `CombCount`.
    file : Path or None
        With the shares of each side instead.
    frame_name : str or None
        Kind of frame, where shares are to become cells.
    in_sides : bool
        Whether the numbers are sides covered.
    """
    typed = [option for option, number in told.items() if number is not None]
    if file is not None:
        if typed or in_sides:
            option = typed[0] if typed else "--sides"
            wrong, remedy = "given beside a file", f"leave it out, or leave {file} out"
            raise UsageError(option, "", wrong, remedy)
        seen = read_comb_sides(*read_text(file))
        frame = _frame(frame_name, str(file))
        return CombCount(*brood_counts(seen, frame), frame=frame)
    if in_sides:
        for option in typed:
            if (told[option] or 0) > SIDES_MOST:
                wrong = "more sides than brood can cover"
                raise UsageError(option, f"{told[option]:g}", wrong, "for cells leave --sides out")
        return count_sides(_frame(frame_name, "--sides"), *told.values())
    if frame_name is not None and typed:
        remedy = "add --sides, or leave it out: a count of cells needs no frame"
        raise UsageError("--frame", frame_name, "says nothing of cells", remedy)
    for option in typed:
        number = told[option] or 0.0
        if not float(number).is_integer():
            remedy = "for frame sides covered add --sides"
            raise UsageError(option, f"{number:g}", "not a whole number of cells", remedy)
        if number > CELLS_MOST:
            wrong = "more cells than a hive has"
            raise UsageError(option, f"{number:g}", wrong, "count once more")
    eggs, open_, capped, drone_open, drone_capped = told.values()
    return CombCount(eggs, open_, capped, drone_open, drone_capped)


def _frame(name: str | None, what: str) -> Frame:
    """Find the frame whose sides were judged."""
    if name is None:
        remedy = f"give --frame with one of {', '.join(FRAMES)}"
        raise UsageError(what, "", "the kind of frame is not said", remedy)
    check_known("--frame", name, FRAMES)
    return FRAMES[name]
