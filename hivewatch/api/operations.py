"""For whoever keeps the machine: is it alive, is it ready, what does it count; and the pages."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Literal

from fastapi import APIRouter, FastAPI
from starlette.responses import JSONResponse, Response
from starlette.routing import Match, Mount
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from hivewatch import metrics
from hivewatch.api.forms import Answer
from hivewatch.api.rooms import Here

OWN = ("/healthz", "/readyz", "/metrics")

router = APIRouter(tags=["operations"])


class Alive(Answer):
    """The process answers."""

    status: Literal["alive"] = "alive"


class PartState(Answer):
    """One part of the daemon and how it is."""

    name: str
    well: bool
    detail: str


class Ready(Answer):
    """Whether everything runs, and what does not."""

    ready: bool
    parts: list[PartState]


@router.get("/healthz")
def healthz() -> Alive:
    """Tell that the process answers; nothing else is looked at."""
    return Alive()


@router.get(
    "/readyz", response_model=Ready, responses={503: {"model": Ready, "description": "Not ready"}}
)
def readyz(here: Here) -> Response:
    """Tell whether every loop lives and the store and the broker are there; if not, which."""
    parts = [
        PartState(name=one.name, well=one.is_well, detail=one.detail) for one in here.health.parts()
    ]
    ready = Ready(ready=all(part.well for part in parts), parts=parts)
    return JSONResponse(ready.model_dump(), 200 if ready.ready else 503)


@router.get(
    "/metrics",
    response_class=Response,
    responses={200: {"content": {"text/plain": {"schema": {"type": "string"}}}}},
)
def read_metrics(here: Here) -> Response:
    """Give what the daemon counts about itself, in the Prometheus text format."""
    return Response(metrics.exposition(here.health.counted()), media_type=metrics.CONTENT_TYPE)


def pages_folder() -> Path:
    """Find the pages: inside an installed package, or beside it in a checkout."""
    package = Path(str(files("hivewatch")))
    inside = package / "pages"
    return inside if inside.is_dir() else package.parent / "dashboards"


class Pages(Mount):
    """The pages at the root; they leave every address of the API and the operations alone."""

    def matches(self, scope: Scope) -> tuple[Match, Scope]:
        """Take what is left."""
        path = scope["path"]
        if path.startswith("/api/") or path in OWN:
            return Match.NONE, {}
        match, child = super().matches(scope)
        return (Match.PARTIAL if scope["method"] != "GET" else match), child


def serve_pages(app: FastAPI) -> None:
    """Serve the pages at the root."""
    app.router.routes.append(Pages("/", StaticFiles(directory=pages_folder(), html=True)))
