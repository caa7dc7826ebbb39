"""All detectors over one hive: what there is to say of it at one moment."""

from __future__ import annotations

from collections.abc import Sequence

from hivewatch.detect import device
from hivewatch.detect.finding import Finding
from hivewatch.detect.limits import Limits
from hivewatch.inspections import Inspection
from hivewatch.signals.window import HiveWindow

DETECTORS = (device,)


def detect(
    window: HiveWindow, inspections: Sequence[Inspection], limits: Limits, as_of_s: int
) -> list[Finding]:
    """Say all there is to say of a hive and its devices at one moment.

    Parameters
    ----------
    window : HiveWindow
        The hive's whole history; what is later than `as_of_s` is not looked at.
    inspections : Sequence[Inspection]
        What people saw and did at the hive, recorded by `as_of_s`.
    limits : Limits
        The `[alerts]` settings.
    as_of_s : int
        The moment. [s]

    Returns
    -------
    list[Finding]
        By start, kind and subject, without ids: `finding.settle` gives them.
    """
    then = window.at(as_of_s)
    found = [one for detector in DETECTORS for one in detector.find(then, inspections, limits)]
    return sorted(found, key=lambda one: (one.start_s, one.kind, one.subject))


def look_again_s(window: HiveWindow, limits: Limits) -> int | None:
    """Give the next moment at which time alone would change the findings; None if never [s]."""
    return device.next_silence_s(window, limits)
