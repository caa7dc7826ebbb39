"""How the daemon logs: facts in the past, to standard error; text on a terminal, JSON otherwise."""

from __future__ import annotations

import logging
import sys

import structlog


def set_up(level: str = "info") -> None:
    """Send everything from `level` on to standard error.

    Parameters
    ----------
    level : str
        ``debug``, ``info``, ``warning`` or ``error``.
    """
    is_terminal = sys.stderr.isatty()
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            *([] if is_terminal else [structlog.processors.format_exc_info]),
            structlog.dev.ConsoleRenderer(exception_formatter=structlog.dev.plain_traceback)
            if is_terminal
            else structlog.processors.JSONRenderer(),
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=True,
    )
    # Apprise's own lines hold parts of addresses; what they say of a send is in its outcome
    logging.getLogger("apprise").propagate = False
    # A page that was closed while something was written to it is no fault
    logging.getLogger("asyncio").setLevel(logging.ERROR)
    logging.basicConfig(stream=sys.stderr, level=logging.WARNING, format="%(name)s: %(message)s")
