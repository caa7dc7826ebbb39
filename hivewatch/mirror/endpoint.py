"""The server that the mirror writes to, and what its answers mean."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, NoReturn

from hivewatch.errors import DeliveryError, UsageError
from hivewatch.settings import Mirror as MirrorSettings

TIME_OUT_MS = 30_000  # own choice: a slow line out of a yard; far below the watchdog's patience
SAID_CHARS_MAX = 200  # own choice: so much of the server's own words is passed on
RETRY_AFTER_MAX_S = 3600  # own choice: no server makes us wait for longer without asking again
# RFC 9110, section 15.5: 401 and 403 no rights, 404 no such thing: a person has to act.
FOR_GOOD = {
    401: ("refused the token", "check [mirror] token_file"),
    403: ("does not let the token write", "give it the right to write into the bucket"),
    404: ("knows no such organisation or bucket", "check [mirror] url, org and bucket"),
}
TOO_LARGE = 413  # RFC 9110, section 15.5.14
# InfluxDB v2 manual, "Troubleshoot issues writing data": 400 a line is malformed and nothing was
# written; 422 some points were rejected (as older than the bucket keeps), the rest is written.
BAD_LINE, BAD_POINTS = 400, 422


class AwayError(DeliveryError):
    """The server takes nothing now; `permanent` when a person has to act."""

    def __init__(
        self,
        where: str,
        wrong: str,
        remedy: str,
        *,
        permanent: bool = False,
        again_after_s: int | None = None,
    ) -> None:
        """Keep the parts, and when the server wants to be asked again."""
        super().__init__(where, "", wrong, remedy, permanent=permanent)
        self.again_after_s = again_after_s


class RefusedError(DeliveryError):
    """The server takes others, but not these points as they are.

    Parameters
    ----------
    said : str
        The server's own words.
    is_size : bool
        Whether they are only too many at once.
    dropped : int or None
        When the others of the batch were written: how many were not.
    """

    def __init__(self, where: str, said: str, *, is_size: bool, dropped: int | None) -> None:
        """Keep what became of the batch."""
        super().__init__(where, "", f"refused points ({said})", "", permanent=True)
        self.is_size, self.dropped = is_size, dropped


class Endpoint:
    """One bucket of one server."""

    def __init__(self, settings: MirrorSettings) -> None:
        """Make the client; nothing is sent yet.

        Raises
        ------
        UsageError
            If the client's library is not installed.
        """
        try:
            from influxdb_client.client.influxdb_client import InfluxDBClient  # noqa: PLC0415
            from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415
        except ImportError as error:
            wrong = "needs the InfluxDB client, which is not installed"
            remedy = "pip install 'hivewatch[mirror]', or take the section out"
            raise UsageError("[mirror]", "", wrong, remedy) from error
        self.where = f"mirror {settings.url}"
        self._org, self._bucket = settings.org, settings.bucket
        token = settings.token.get_secret_value() if settings.token is not None else ""
        self._client: Any = InfluxDBClient(
            url=settings.url, token=token, org=settings.org, timeout=TIME_OUT_MS, enable_gzip=True
        )
        # The client's batching forgets what it cannot deliver within three minutes.
        self._api = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: Sequence[str]) -> None:
        """Send points in the line protocol, and wait for the server's word.

        Raises
        ------
        AwayError
            If the server cannot be reached, or takes nothing at all.
        RefusedError
            If it is these points that it does not take.
        """
        from influxdb_client.rest import ApiException  # noqa: PLC0415 - an extra
        from urllib3.exceptions import HTTPError  # noqa: PLC0415 - of the same extra

        try:
            self._api.write(self._bucket, self._org, "\n".join(lines))
        except ApiException as error:
            self._explain(error)
        except (HTTPError, OSError) as error:
            wrong = f"cannot be reached ({_reason(error)})"
            raise AwayError(self.where, wrong, "check [mirror] url") from error

    def check(self) -> str:
        """Ask the server whether it would take points from us; none is sent.

        Raises
        ------
        AwayError
            If it would not.
        """
        with suppress(RefusedError):  # it misses the points: address, token, bucket are well
            self.write([])
        return f"{self.where}: takes points for bucket {self._bucket}"

    def close(self) -> None:
        """Close the connections."""
        self._client.close()

    def _explain(self, error: Any) -> NoReturn:  # noqa: ANN401 - the client is untyped
        """Turn an answer into what it means for us."""
        status, said = int(error.status or 0), _words(error.message)
        if status in {BAD_LINE, BAD_POINTS, TOO_LARGE}:
            partial = status == BAD_POINTS or "partial write" in said
            told = re.search(r"dropped=(\d+)", said)
            dropped = int(told[1]) if told else 1
            raise RefusedError(
                self.where, said, is_size=status == TOO_LARGE, dropped=dropped if partial else None
            ) from error
        wrong, remedy = FOR_GOOD.get(status, ("takes nothing now", ""))
        raise AwayError(
            self.where,
            f"{wrong} ({status}: {said})",
            remedy,
            permanent=status in FOR_GOOD,
            again_after_s=_again_after_s(error.headers),
        ) from error


def _words(said: object) -> str:
    """Cut a server's words to one short line."""
    text = " ".join(str(said or "").split())
    text = "".join(char for char in text if char.isprintable())
    return text if len(text) <= SAID_CHARS_MAX else text[: SAID_CHARS_MAX - 1] + "…"


def _again_after_s(headers: Any) -> int | None:  # noqa: ANN401 - the client is untyped
    """Read Retry-After (RFC 9110, section 10.2.3) where it is a number of seconds."""
    said = str((headers or {}).get("Retry-After") or "").strip()
    return min(int(said), RETRY_AFTER_MAX_S) if re.fullmatch(r"\d{1,9}", said) else None


def _reason(error: Exception) -> str:
    """Say in a few words why a server was not reached."""
    from urllib3 import exceptions  # noqa: PLC0415 - of the extra

    if isinstance(error, exceptions.NameResolutionError):
        return "its name is not known"
    if isinstance(error, exceptions.SSLError):
        return "its certificate does not hold"
    is_new = isinstance(error, exceptions.NewConnectionError)  # which calls itself a time-out
    if isinstance(error, exceptions.TimeoutError) and not is_new:
        return "no answer in time"
    return _words(re.split(r"\] |: ", str(error))[-1].strip("()'\" "))
