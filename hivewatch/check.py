"""Try every part once and say what was found, a line each."""

from __future__ import annotations

import errno
import json
import os
import socket
from collections.abc import Callable, Iterator, Mapping
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import NamedTuple

from paho.mqtt.enums import MQTTProtocolVersion

from hivewatch import settings as settings_room
from hivewatch.alerts import channels, phones, webpush
from hivewatch.errors import HivewatchError, StoreError, UsageError
from hivewatch.ingest.connection import Connection
from hivewatch.mirror import Endpoint
from hivewatch.settings import Api, Broker, Mirror, Settings
from hivewatch.store import apiary
from hivewatch.store.open import Store

ANSWER_S = 3.0  # own choice: the pages answer in milliseconds


class Line(NamedTuple):
    """One part, whether it is well, and what was found."""

    part: str
    is_well: bool
    found: str


def check_all(
    config: Path | None, environ: Mapping[str, str], *, rings: bool = False
) -> Iterator[Line]:
    """Try the settings, the store, the broker, the port of the pages and the delivery channels.

    Nothing is sent to a channel but a test, when it is to ring; and nothing but our own session is
    touched at the broker.
    """
    try:
        settings = settings_room.load(config, environ)
    except HivewatchError as error:
        for line in str(error).splitlines():
            yield Line("settings", is_well=False, found=line)
        return
    file = settings_room.find(config)
    yield Line("settings", is_well=True, found=str(file) if file else "no file; all defaults")
    for remark in settings_room.remarks(settings):
        yield Line("settings", is_well=True, found=remark)
    parts: list[tuple[str, Callable[[], str]]] = [
        ("store", lambda: _store(settings.store.path)),
        ("broker", lambda: _broker(settings.broker)),
        ("api", lambda: _api(settings.api)),
    ]
    if (mirror := settings.mirror) is not None:
        parts.append(("mirror", lambda: _mirror(mirror)))
    for part, ask in parts:
        try:
            is_well, found = True, ask()
        except HivewatchError as error:
            is_well, found = False, str(error)
        yield Line(part, is_well, found.removeprefix(f"{part} "))
    yield from _channels(settings, rings=rings)
    yield from _phones(settings, rings=rings)


def _store(path: Path) -> str:
    """Look at the store; one that is not there is not made."""
    if not path.exists():
        if not path.parent.is_dir():
            raise UsageError(
                f"{path}", "", "its folder is not there", "make it, or correct the path"
            )
        if not os.access(path.parent, os.W_OK):
            raise UsageError(
                f"{path}", "", "its folder cannot be written to", "give this user the right"
            )
        return f"{path}: not there yet; the first command that stores something makes it"
    store = Store(path)
    with store.read() as connection:
        known = apiary.read(connection)
        devices = apiary.devices(connection)
    store.close()
    unplaced = sum(one.hive is None for one in devices)
    counts = ((known.yards, "yard"), (known.hives, "hive"), (devices, "device"))
    found = ", ".join(f"{len(some)} {name}{'s' * (len(some) != 1)}" for some, name in counts)
    more = f", {unplaced} of them unplaced" if unplaced else ""
    return f"{path}: {found}{more}"


def _broker(broker: Broker) -> str:
    """Connect beside the daemon's session, under a name of its own."""
    probe = broker.model_copy(update={"client_id": f"{broker.client_id}-check"})
    connection = Connection(probe, lambda _message: None, session_s=0)
    version = "5" if connection.protocol is MQTTProtocolVersion.MQTTv5 else "3.1.1"
    connection.close()
    return f"{connection.where}: connected with MQTT {version}, subscribed"


def _api(api: Api) -> str:
    """Try to listen where the pages are served; a daemon that runs is there already."""
    where = f"{api.host}:{api.port}"
    try:
        family = socket.AF_INET6 if ":" in api.host else socket.AF_INET
        socket.create_server((api.host, api.port), family=family).close()
    except OSError as error:
        if error.errno == errno.EADDRINUSE and _answers(api):
            return f"{where}: the daemon answers"
        wrong = f"cannot be listened on ({os.strerror(error.errno or 0)})"
        raise UsageError(where, "", wrong, "set another [api] port") from error
    return f"{where}: free"


def _answers(api: Api) -> bool:
    """Say whether a daemon of ours answers there."""
    asked = HTTPConnection(api.host, api.port, timeout=ANSWER_S)
    try:
        asked.request("GET", "/healthz")
        return bool(json.loads(asked.getresponse().read()) == {"status": "alive"})
    except (OSError, HTTPException, ValueError):
        return False
    finally:
        asked.close()


def _mirror(mirror: Mirror) -> str:
    """Ask whether it would take points; none is sent."""
    endpoint = Endpoint(mirror)
    try:
        return endpoint.check()
    finally:
        endpoint.close()


def _channels(settings: Settings, *, rings: bool) -> Iterator[Line]:
    """Read the channels; a test is sent to each when it is to ring, else nothing."""
    test = channels.test_letter() if rings else None
    for line in channels.check(settings.alerts.channels, test=test):
        part, _, found = line.partition(": ")
        yield Line(part, is_well="cannot" not in found and "failed" not in found, found=found)


def _phones(settings: Settings, *, rings: bool) -> Iterator[Line]:
    """Read the phones that asked to ring; a test is sent to each when it is to ring."""
    path = settings.store.path
    try:
        known = phones.asked(path) if path.exists() else []
        if known:
            webpush.own_key(path)
    except StoreError as error:
        yield Line("phones", is_well=False, found=str(error))
        return
    if not known:
        yield Line("phones", is_well=True, found="none has asked to ring")
    for one in known:
        is_well, found = one.ended_s is None, "ready; nothing was sent"
        if one.ended_s is not None:
            found = f"rings no more: {one.error}"
        elif rings:
            outcome = phones.try_out(phones.PhoneChannel(one, path, settings.api.public_url))
            is_well = outcome.state == "sent"
            found = "test sent" if is_well else f"test failed: {outcome.line}"
        yield Line(f"{one.name} ({one.label})", is_well, found)
