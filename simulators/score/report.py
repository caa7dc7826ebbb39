"""The whole board: tables, plots and the list of all that was missed or said wrongly."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from simulators.score import figures, outlook, table
from simulators.score.baselines import Scale
from simulators.score.play import written
from simulators.score.tally import Tally

NOTES = (
    "Intervals are 95 % (Wilson, Garwood). A season is 180 days of one hive; of one yard for flows"
    " and dearths. Handling counts from 1 kg. The watcher that always says everything raises each"
    " kind about each subject once an hour."
)


@dataclass(frozen=True)
class Board:
    """A board ready to be shown."""

    tallies: Mapping[str, Tally]
    kinds: list[figures.KindFigures]
    scales: Mapping[str, Mapping[str, Scale]]
    looks: Sequence[outlook.Look]
    played: Sequence[Mapping[str, Any]]

    @staticmethod
    def of(
        tallies: Mapping[str, Tally],
        scales: Iterable[Mapping[str, Mapping[str, Scale]]],
        looks: Sequence[outlook.Look],
        played: Sequence[Mapping[str, Any]],
    ) -> Board:
        """Sum up what was played."""
        whole: dict[str, dict[str, Scale]] = {"nothing": {}, "always": {}}
        for part in scales:
            for who, by_kind in part.items():
                for name, scale in by_kind.items():
                    whole[who].setdefault(name, Scale()).add(scale)
        return Board(tallies, figures.board(dict(tallies)), whole, looks, played)

    def _tables(self) -> list[tuple[str, table.Cells, list[table.Cells]]]:
        scale = table.scale_rows(self.scales["nothing"], self.scales["always"])
        found = [
            ("Findings", table.HEAD, table.rows(self.kinds)),
            ("For scale: watchers that do not look", table.SCALE_HEAD, scale),
        ]
        if self.looks:
            rows = table.outlook_rows(outlook.figures(self.looks))
            found.append(("Outlooks", table.OUTLOOK_HEAD, rows))
        return found

    def text(self) -> str:
        """Give the board for a terminal."""
        parts = [f"{name}\n{table.text(head, rows)}" for name, head, rows in self._tables()]
        return "\n\n".join([*parts, self._unseen(), NOTES])

    def markdown(self) -> str:
        """Give the board in Markdown."""
        tables = self._tables()
        parts = [f"**{name}**\n\n{table.markdown(head, rows)}" for name, head, rows in tables]
        return "\n\n".join([*parts, self._unseen(), NOTES])

    def as_json(self) -> dict[str, Any]:
        """Give the figures as counts."""
        return {
            "played": [one["season"] for one in self.played],
            "kinds": figures.as_json(self.kinds),
            "outlook": outlook.as_json(outlook.figures(self.looks)),
        }

    def _found(self) -> str:
        """List every finding that met an event, with its errors."""
        lines = ["kind,season,subject,event,start_off_s,told_after_s,measures said/true"]
        for name, one in self.tallies.items():
            for pair in one.pairs:
                both = [f"{key} {said:g}/{true:g}" for key, (said, true) in pair.measures.items()]
                words = [name, f'"{pair.season}"', pair.subject, written(pair.start_s)]
                words += [f"{pair.start_error_s:.0f}", f"{pair.told_after_s:.0f}", "; ".join(both)]
                lines.append(",".join(words))
        return "\n".join(lines) + "\n"

    def wrong(self) -> str:
        """Name each miss and each false alarm, a line each."""
        lines = []
        for name, one in self.tallies.items():
            for what, found in (("missed", one.missed), ("false", one.false)):
                lines += [f"{what} {name}: {', '.join(map(str, part.values()))}" for part in found]
        return "\n".join(lines) or "nothing missed, no false alarm"

    def _unseen(self) -> str:
        """Say what happened and is not counted."""
        words = [f"{row.kind.name} {row.unseen}" for row in self.kinds if row.unseen]
        return f"Happened and not counted (see README): {', '.join(words) or 'nothing'}."

    def write(self, folder: Path) -> list[Path]:
        """Write tables, figures, plots, and each miss and each false alarm."""
        from simulators.score import plots  # noqa: PLC0415 - matplotlib is needed here only

        folder.mkdir(parents=True, exist_ok=True)
        wrong = {
            name: {"missed": one.missed, "false": one.false}
            for name, one in self.tallies.items()
            if one.missed or one.false
        }
        texts = {
            "score.txt": self.text() + "\n",
            "score.md": self.markdown() + "\n",
            "score.json": json.dumps(self.as_json() | {"took": list(self.played)}, indent=1),
            "found.csv": self._found(),
            "wrong.json": json.dumps(wrong, indent=1),
        }
        for name, words in texts.items():
            (folder / name).write_text(words, encoding="utf-8")
        drawn = plots.draw(self.kinds, self.looks, folder)
        return [folder / name for name in texts] + drawn
