"""A fault that repeats: told when it comes, every hour while it lasts, and when it is over."""

from __future__ import annotations

import structlog

LOG = structlog.get_logger(__name__)
EVERY_S = 3600.0  # own choice: a day's outage is two dozen lines


class Told:
    """What was told of one fault."""

    def __init__(self, event: str) -> None:
        """Name the event; its end is `EVENT_over`."""
        self._event, self._over = event, f"{event}_over"
        self._since_s: float | None = None
        self._told_s = 0.0
        self._is_grave: bool | None = None
        self._times = 0

    def again(self, now_s: float, said: str, *, is_grave: bool, times: int = 1) -> None:
        """Note the fault; it is logged when it is new, another in kind, or an hour has gone by.

        Parameters
        ----------
        now_s : float
            A time that never jumps. [s]
        said : str
            What is wrong and what to do.
        is_grave : bool
            Whether it ends only when a person acts.
        times : int
            How often it happened since the last call.
        """
        self._times += times
        if self._since_s is None:
            self._since_s = now_s
        if is_grave != self._is_grave or now_s - self._told_s >= EVERY_S:
            self._is_grave, self._told_s = is_grave, now_s
            log = LOG.error if is_grave else LOG.warning
            log(self._event, said=said, times=self._times)

    def over(self, now_s: float) -> None:
        """Note that all is well; it is logged when it was not."""
        if self._since_s is not None:
            lasted_s = round(now_s - self._since_s)
            LOG.info(self._over, lasted_s=lasted_s, times=self._times)
        self._since_s, self._is_grave, self._times = None, None, 0
