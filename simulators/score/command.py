"""The command `python -m simulators score`."""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

from simulators import scenario
from simulators.plans import ScenarioError
from simulators.score import accepted, baselines, kept, live, outlook, recording, report, small
from simulators.score.kinds import BY_NAME, Kind, chosen
from simulators.score.play import Order, ProgramError, Season, orders, play
from simulators.score.recorded import GROUPS
from simulators.score.tally import Tally, tally, totals

PLAYERS = 2  # own choice: processes side by side


def add(command: argparse.ArgumentParser) -> None:
    """Describe the command's words."""
    command.add_argument("scenarios", nargs="*", metavar="SCENARIO", help="name, or a .toml file")
    command.add_argument("--all", action="store_true", help="every scenario of the library")
    command.add_argument("--small", action="store_true", help="the fixed small set of the tests")
    command.add_argument("--seeds", type=int, default=1, help="seasons of each scenario")
    command.add_argument("--days", type=int, help="only so many days of each")
    command.add_argument("--every", type=float, metavar="MIN", help="minutes between readings")
    command.add_argument("--kinds", nargs="+", choices=BY_NAME, metavar="KIND", help="only these")
    command.add_argument(
        "--without", nargs="+", choices=GROUPS, default=[], help="as if nobody measured these"
    )
    command.add_argument(
        "--first-count", action="store_true", help="as if nobody counted a hive a second time"
    )
    command.add_argument(
        "--replay-every", type=int, default=0, metavar="DAYS",
        help="ask again as of every so many days, and count what was told and taken back",
    )  # fmt: skip
    command.add_argument(
        "--outlook-every", type=int, default=21, metavar="DAYS", help="0 leaves outlooks out"
    )
    command.add_argument("--live", action="store_true", help="through a broker and the daemon")
    command.add_argument("--pace", type=float, default=4.0, help="days a second, live")
    command.add_argument(
        "--keep", type=Path, metavar="FOLDER", help="keep played seasons there, and play none twice"
    )
    command.add_argument("--wrong", action="store_true", help="name each miss and false alarm")
    command.add_argument("--out", type=Path, help="folder for tables, plots and all the misses")
    command.add_argument("--markdown", action="store_true", help="print Markdown")
    command.add_argument("--players", type=int, default=PLAYERS, help="processes side by side")
    command.add_argument("--accepted", type=Path, help="fail where worse than this board")
    command.add_argument("--accept", action="store_true", help="write that board anew")
    command.add_argument("--recording", type=Path, help="readings of real hives (CSV)")
    command.add_argument("--labels", type=Path, help="labelled days: Date,Hives,Comment")
    command.add_argument("--apiary", type=Path, help="apiary file of the recording")
    command.add_argument("--inspections", type=Path, help="inspections of the recording (JSON)")
    command.add_argument(
        "--never", nargs="+", choices=BY_NAME, metavar="KIND", help="did not happen in it"
    )
    command.set_defaults(run=run)


def run(told: argparse.Namespace) -> int:
    """Score a recording, or scenarios."""
    try:
        if told.recording is not None:
            return recording.run(told)
        return _run(told)
    except ProgramError as wrong:
        raise ScenarioError(str(wrong)) from wrong


def _run(told: argparse.Namespace) -> int:
    kinds = chosen(told.kinds)
    if told.accept and told.accepted is None:
        raise ScenarioError("--accept: say --accepted FILE, too")
    if told.live:
        kinds = tuple(kind for kind in kinds if kind.name not in live.BY_THE_CLOCK)
    parts: list[dict[str, Tally]] = []
    scales: list[dict[str, dict[str, baselines.Scale]]] = []
    looks: list[outlook.Look] = []
    played: list[dict[str, Any]] = []
    faults: list[str] = []
    for season in _seasons(told, _orders(told)):
        if isinstance(season, str):
            faults.append(season)
            print(f"# FAULT {season}", file=sys.stderr, flush=True)
            continue
        parts.append(tally(season, kinds, is_live=told.live))
        scales.append(_scales(season, kinds))
        looks += outlook.looks(season, season.outlook_days)
        note = {"season": season.label, "took_s": season.took_s}
        played.append(note | ({"live": season.same} if season.same else {}))
        print(f"# {season.label}: {_took(season)}", file=sys.stderr, flush=True)
    board = report.Board.of(totals(parts, kinds), scales, looks, played)
    print(board.markdown() if told.markdown else board.text())
    if told.wrong:
        print(board.wrong())
    if told.out is not None:
        try:
            files = board.write(told.out)
        except ImportError as missing:
            raise ScenarioError(f"--out: {missing}; pip install matplotlib") from missing
        print("\n".join(f"# {path}" for path in files), file=sys.stderr)
    if faults:
        raise ScenarioError(f"{len(faults)} seasons could not be played: {faults[0]}")
    return _held(told, board.as_json()) if told.accepted is not None else 0


def _orders(told: argparse.Namespace) -> list[Order]:
    if told.small:
        return list(small.ORDERS)
    like = Order(
        "", None, told.days, told.every, tuple(told.without),
        outlook_days=told.outlook_every, first_count=told.first_count,
        replay_days=told.replay_every,
    )  # fmt: skip
    names = scenario.names() if told.all else told.scenarios
    if not names:
        raise ScenarioError("score: name a scenario, or say --all or --small")
    return orders(names, told.seeds, like)


def _seasons(told: argparse.Namespace, wanted: list[Order]) -> Iterator[Season | str]:
    """Play the seasons, two at a time, in order; a fault comes as its text."""
    playing = partial(_play, pace=told.pace if told.live else None, keep=told.keep)
    if told.live or told.players < 2 or len(wanted) < 2:
        yield from map(playing, wanted)
    else:
        with ProcessPoolExecutor(min(told.players, len(wanted))) as players:
            yield from players.map(playing, wanted)


def _play(order: Order, pace: float | None, keep: Path | None) -> Season | str:
    with tempfile.TemporaryDirectory(prefix="hivewatch-score-") as folder:
        try:
            if pace is not None:
                return live.play(order, Path(folder), pace)
            if keep is not None:
                return kept.play(order, keep)
            return play(order, Path(folder))
        except (ProgramError, ScenarioError) as wrong:
            return f"{order.label}: {wrong}"


def _scales(season: Season, kinds: tuple[Kind, ...]) -> dict[str, dict[str, baselines.Scale]]:
    return {
        "nothing": baselines.nothing(season, kinds),
        "always": baselines.always(season, kinds),
    }


def _took(season: Season) -> str:
    words = [f"{name} {took:.1f} s" for name, took in season.took_s.items()]
    words += [f"{n} {name}" for name, n in season.same.items()]
    return ", ".join(words)


def _held(told: argparse.Namespace, board: dict[str, Any]) -> int:
    """Hold the board against the accepted one, or accept it."""
    if told.accept:
        accepted.write(told.accepted, board)
        print(f"# accepted: {told.accepted}")
        return 0
    fallen = accepted.worse(board, accepted.read(told.accepted))
    for line in fallen:
        print(f"WORSE {line}")
    print(json.dumps({"worse": len(fallen)}))
    return 1 if fallen else 0
