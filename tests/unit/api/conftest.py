"""A server with an apiary that nothing has happened to."""

from __future__ import annotations

import pytest
from served import Served, served


@pytest.fixture(scope="module")
def here(tmp_path_factory) -> Served:
    """Give one server to a module whose tests change nothing."""
    with served(tmp_path_factory.mktemp("store")) as one:
        one.load_apiary()
        yield one


@pytest.fixture
def fresh(tmp_path) -> Served:
    """Give each test a server of its own."""
    with served(tmp_path) as one:
        one.load_apiary()
        yield one
