"""Draw what findings rest on: one picture a finding, into a folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import Connection

from hivewatch.apiary import Apiary
from hivewatch.apiary.places import stands
from hivewatch.detect.evidence import Evidence, evidence_of, evidence_of_yard, plot
from hivewatch.detect.finding import Finding
from hivewatch.detect.run import rests_on_yard
from hivewatch.errors import UsageError
from hivewatch.signals.days import days_of
from hivewatch.signals.window import HiveWindow
from hivewatch.store import apiary as apiary_rows
from hivewatch.store.open import Store
from hivewatch.store.windows import read_window


def draw(
    store: Store, found: Sequence[Finding], folder: Path, *, as_of_s: int, is_replay: bool
) -> list[Path]:
    """Draw the evidence of findings.

    Parameters
    ----------
    found : sequence of Finding
        As `replay.find` gave them for the same moment.
    folder : Path
        Made if it is not there; a picture that is there is written over.
    as_of_s : int
        The moment; nothing later is shown. [s]
    is_replay : bool
        Only from what had been received by then.

    Raises
    ------
    UsageError
        If matplotlib is not installed, or the folder cannot be written.
    """
    files: list[Path] = []
    with store.read() as connection:
        curves = _Curves(connection, as_of_s, as_of_s if is_replay else None)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for one in found:
                files.append(folder / _name(one))
                plot(curves.behind(one)).savefig(files[-1], dpi=110)
        except ImportError as error:
            remedy = "pip install 'hivewatch[pictures]'"
            raise UsageError("--pictures", "", "needs matplotlib", remedy) from error
        except OSError as error:
            wrong = f"cannot be written ({error.strerror})"
            raise UsageError("--pictures", str(folder), wrong, "name another folder") from error
    return files


def _name(one: Finding) -> str:
    """Name a finding's picture so that a folder sorts by time."""
    subject = one.subject.replace(":", "-")
    return f"{one.start_s}-{one.kind}-{subject}-{one.id}.png"


class _Curves:
    """The curves behind findings; each hive's window is read once."""

    def __init__(self, connection: Connection, as_of_s: int, received_by_s: int | None) -> None:
        self._connection, self._as_of_s, self._received_by_s = connection, as_of_s, received_by_s
        self._apiary: Apiary = apiary_rows.read(connection)
        self._windows: dict[str, HiveWindow] = {}

    def behind(self, one: Finding) -> Evidence:
        """Give the curves behind a finding."""
        kind, _, name = one.subject.partition(":")
        if kind == "hive" and not rests_on_yard(one):
            return evidence_of(self._window(name), one)
        if kind == "device":
            places = self._apiary.placements
            hive = stands(places, name, one.start_s) or stands(places, name, one.detected_s)
            return evidence_of(self._window(hive or ""), one)
        of_hive = {hive.id: hive.yard for hive in self._apiary.hives}
        yard_id = of_hive[name] if kind == "hive" else name
        yard = next(yard for yard in self._apiary.yards if yard.id == yard_id)
        hives = [hive for hive, place in of_hive.items() if place == yard_id]
        days = {hive: days_of(self._window(hive)) for hive in hives}
        return evidence_of_yard(yard.timezone, days, one, self._as_of_s)

    def _window(self, hive: str) -> HiveWindow:
        if hive not in self._windows:
            self._windows[hive] = read_window(
                self._connection, self._apiary, hive, self._as_of_s, self._received_by_s
            )
        return self._windows[hive]
