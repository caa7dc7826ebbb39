"""The API and the pages as one ASGI app."""

from __future__ import annotations

from importlib.metadata import version
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from hivewatch.api import (
    alerts,
    calendar,
    days,
    events,
    history,
    kinds,
    operations,
    outlook,
    people,
    places,
    problems,
    push,
    quarantine,
    records,
    tags,
    timeline,
)
from hivewatch.api import (
    round as visiting,
)
from hivewatch.api.feed import Feed
from hivewatch.api.rooms import Readmit, Rooms
from hivewatch.api.shell import Shell
from hivewatch.clock import Clock
from hivewatch.health import Told
from hivewatch.outlooks import Outlooks
from hivewatch.settings import Settings
from hivewatch.store.open import Store

ROOT = "/api/v1"


def create_app(
    store: Store,
    settings: Settings,
    clock: Clock,
    health: Told,
    readmit: Readmit,
    outlooks: Outlooks,
) -> FastAPI:
    """Make the app; it starts nothing and keeps nothing but what it is given.

    Parameters
    ----------
    clock : Clock
        Its `now_s()` is the "now" of every answer.
    health : Told
        What `/readyz` tells.
    readmit : Callable
        Tries packs of quarantine again: `hivewatch.ingest.intake.Intake.readmit`.
    outlooks : Outlooks
        Those that stand; somebody else keeps them up to date.
    """
    app = FastAPI(
        title="hivewatch",
        version=version("hivewatch"),
        summary="Yards, hives, devices, what they measured, and what it means.",
        openapi_url=f"{ROOT}/openapi.json",
        docs_url=None,  # the usual page for it loads its scripts from elsewhere
        redoc_url=None,
        redirect_slashes=False,
        generate_unique_id_function=lambda route: route.name,
    )
    app.state.rooms = Rooms(store, settings, clock, health, readmit, Feed(store), outlooks)
    problems.install(app)
    for part in (
        places,
        records,
        kinds,
        history,
        days,
        timeline,
        outlook,
        people,
        events,
        alerts,
        quarantine,
        visiting,
        calendar,
        push,
    ):
        app.include_router(part.router, prefix=ROOT, responses=problems.documented(500, 503))
    app.include_router(operations.router)
    operations.serve_pages(app)
    app.add_middleware(tags.Tags, root=f"{ROOT}/")
    app.add_middleware(Shell, host=settings.api.host, public_url=settings.api.public_url)
    app.openapi = lambda: _described(app)  # type: ignore[method-assign]
    return app


def _described(app: FastAPI) -> dict[str, Any]:
    """Write the OpenAPI document once; every error is a problem document."""
    if app.openapi_schema is None:
        document = get_openapi(
            title=app.title,
            version=app.version,
            summary=app.summary,
            routes=app.routes,
        )
        schemas = document["components"]["schemas"]
        for unused in ("HTTPValidationError", "ValidationError"):
            schemas.pop(unused, None)
        described = problems.Problem.model_json_schema(ref_template="#/components/schemas/{model}")
        schemas |= described.pop("$defs")
        schemas["Problem"] = described
        tags.describe(document["paths"], f"{ROOT}/")
        app.openapi_schema = document
    return app.openapi_schema
