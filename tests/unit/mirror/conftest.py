"""A mirror, its server and its store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from mirror_story import TOKEN, Clock, Server
from pydantic import SecretStr
from pytest_httpserver import HTTPServer

from hivewatch.mirror import Mirror
from hivewatch.settings import Mirror as MirrorSettings
from hivewatch.store.open import Store


@pytest.fixture
def server(httpserver: HTTPServer) -> Server:
    return Server(httpserver)


@pytest.fixture
def settings(server: Server) -> MirrorSettings:
    return MirrorSettings(url=server.url, org="bees", bucket="hivewatch", token=SecretStr(TOKEN))


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store(tmp_path / "hivewatch.db")
    yield opened
    opened.close()


@pytest.fixture
def make(store: Store, settings: MirrorSettings, clock: Clock) -> Iterator[Callable[[], Mirror]]:
    made: list[Mirror] = []

    def new(**changed: str) -> Mirror:
        made.append(Mirror(store, settings.model_copy(update=changed), clock))
        return made[-1]

    yield new
    for one in made:
        one._endpoint.close()
