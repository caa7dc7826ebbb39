"""Keeps played seasons, so that a change of the program alone asks them anew and plays none."""

from __future__ import annotations

import hashlib
import pickle
import shutil
from dataclasses import astuple, replace
from pathlib import Path

from simulators.score.play import Order, Season, ask, prepare, scenario_text

MODEL = Path(__file__).parents[1]
SEASON = "season.pickle"  # our own writing, in the folder that its owner named


def play(order: Order, keep: Path) -> Season:
    """Ask anew what the program says of a season; play it first where it is not kept yet."""
    folder = folder_of(order, keep)
    season = _take(folder)
    if season is None:
        shutil.rmtree(folder, ignore_errors=True)  # one that was not played to its end
        season = prepare(order, folder)
        (folder / SEASON).write_bytes(pickle.dumps(season))
    return ask(order, folder, season)


def folder_of(order: Order, keep: Path) -> Path:
    """Name the folder of a season: another scenario or another model, another folder."""
    played = replace(order, outlook_days=0, replay_days=0)
    sources = [path.read_bytes() for path in sorted(MODEL.glob("*.py"))]
    words = [repr(astuple(played)).encode(), scenario_text(order.scenario)[0].encode(), *sources]
    key = hashlib.sha256(b"\0".join(words)).hexdigest()[:12]
    return keep / f"{Path(order.scenario).stem}-{key}"


def _take(folder: Path) -> Season | None:
    try:
        found = pickle.loads((folder / SEASON).read_bytes())  # noqa: S301 - see SEASON
    except (FileNotFoundError, EOFError, pickle.UnpicklingError):
        return None
    return found if isinstance(found, Season) else None
