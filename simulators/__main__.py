"""Commands: play a scenario to a broker, write it into files, list what there is."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from simulators import files, invent, plans, publish, scenario, season
from simulators.diary import Diary
from simulators.score import command as score_command


def main(words: list[str] | None = None) -> int:
    """Run one command; 0 when done, 2 on a wrong word or an unreachable broker."""
    told = _parser().parse_args(words)
    try:
        return int(told.run(told) or 0)
    except (plans.ScenarioError, publish.BrokerError, OSError) as wrong:
        print(f"simulators: {wrong}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m simulators",
        description="A model apiary: seasons played over MQTT or written down.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    play = commands.add_parser("play", help="publish a season to a broker")
    _common(play)
    play.add_argument("--broker", default="mqtt://127.0.0.1:1883", help="mqtt://HOST:PORT")
    play.add_argument("--root", default="hivewatch", help="first level of the topics")
    play.add_argument("--days-per-second", type=float, default=0.5, help="pace")
    play.add_argument("--until", type=date.fromisoformat, help="last day (YYYY-MM-DD)")
    play.add_argument("--apiary", type=Path, help="write the apiary into this file first")
    play.add_argument("--diary", help="http://HOST:PORT that takes the keeper's inspections")
    play.add_argument(
        "--hourly", action="store_true", help="wait for a line on stdin before each hour"
    )
    play.set_defaults(run=_play)

    write = commands.add_parser("write", help="write a season into files")
    _common(write)
    write.add_argument("--out", type=Path, required=True, help="folder")
    write.add_argument("--format", choices=("csv", "senml"), default="csv", help="of the readings")
    write.set_defaults(run=_write)

    draw = commands.add_parser("draw", help="draw a season, one picture a hive")
    _common(draw)
    draw.add_argument("--out", type=Path, default=Path("pictures"), help="folder")
    draw.add_argument("--hive", help="this hive only")
    draw.add_argument("--week", help="month-day of the week drawn close up")
    draw.set_defaults(run=_draw)

    new = commands.add_parser("invent", help="draw a scenario by chance, print it as TOML")
    new.add_argument("seed", type=int, help="the same number gives the same scenario")
    new.set_defaults(run=_invent)

    score = commands.add_parser("score", help="play seasons through the program, count its hits")
    score_command.add(score)

    known = commands.add_parser("list", help="the scenarios, one a line")
    known.set_defaults(run=_list)
    return parser


def _common(command: argparse.ArgumentParser) -> None:
    command.add_argument("scenario", nargs="?", default="spring", help="name, or a .toml file")
    command.add_argument("--seed", type=int, help="another season of the same kind")
    command.add_argument("--from", dest="start", type=date.fromisoformat, help="first day")


def _load(told: argparse.Namespace) -> plans.Scenario:
    today = datetime.now(tz=UTC).date()  # noqa: TID251 - the simulators' clock starts here
    return scenario.load(told.scenario, today, told.seed, told.start)


def _play(told: argparse.Namespace) -> None:
    chosen = _load(told)
    if told.days_per_second <= 0:
        raise plans.ScenarioError("--days-per-second: must be above 0")
    until = datetime.combine(told.until, time.max, UTC).timestamp() if told.until else None
    publisher = publish.Publisher(publish.Broker.at(told.broker), told.root)
    seasons = list(season.play(chosen))
    if told.apiary:
        told.apiary.write_text(files.apiary(seasons), encoding="utf-8")
    begin = datetime.combine(chosen.start, time.min, UTC)
    _tell({"ready": chosen.name, "start": begin.isoformat(), "days": chosen.days})
    diary = Diary(told.diary, seasons) if told.diary else None
    hour = _next_hour if told.hourly else None
    publish.play(chosen, seasons, publisher, told.days_per_second, until, _tell, diary, hour)


def _tell(line: dict[str, Any]) -> None:
    print(json.dumps(line), flush=True)


def _next_hour(end_s: int, sent: int) -> None:
    """Tell the hour that begins, and go on when a line comes back."""
    _tell({"now": datetime.fromtimestamp(end_s, UTC).isoformat(), "packs": sent})
    if not sys.stdin.readline():
        raise KeyboardInterrupt


def _write(told: argparse.Namespace) -> None:
    chosen = _load(told)
    _tell(files.write(chosen, season.play(chosen), told.out, told.format))


def _draw(told: argparse.Namespace) -> None:
    try:
        from simulators import draw  # noqa: PLC0415 - matplotlib is needed here only
    except ImportError as missing:
        raise plans.ScenarioError(f"draw: {missing}; pip install matplotlib") from missing
    chosen = _load(told)
    for picture in draw.pictures(chosen, told.out, told.hive, told.week):
        print(picture, flush=True)


def _invent(told: argparse.Namespace) -> None:
    sys.stdout.write(invent.toml(invent.scenario(told.seed)))


def _list(_told: argparse.Namespace) -> None:
    today = datetime.now(tz=UTC).date()  # noqa: TID251 - the simulators' clock starts here
    for name in scenario.names():
        print(f"{name:18} {scenario.load(name, today).title}")


if __name__ == "__main__":
    sys.exit(main())
