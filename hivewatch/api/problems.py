"""Errors as problem documents, RFC 9457: what is wrong, where, and what to do."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from sqlalchemy.exc import OperationalError
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.routing import Match

from hivewatch.errors import HivewatchError, StoreError, UsageError

MEDIA_TYPE = "application/problem+json"  # RFC 9457 section 3


class Fault(BaseModel):
    """One wrong part of a request."""

    where: str = Field(description="`query.limit`, `body.brood.eggs`, `header.idempotency-key`")
    detail: str


class Problem(BaseModel):
    """A problem document, RFC 9457 section 3.1, with the faults one by one."""

    type: str = Field(default="about:blank", description="`about:blank`: the status says it all")
    title: str
    status: int = Field(ge=400, le=599)
    detail: str
    errors: list[Fault] = Field(default_factory=list)


class ProblemError(Exception):
    """Raised by an endpoint that cannot do what was asked."""

    def __init__(self, status: int, detail: str, faults: list[Fault] | None = None) -> None:
        """Keep the status and the sentence."""
        super().__init__(detail)
        self.status, self.detail, self.faults = status, detail, faults or []


def respond(
    status: int,
    detail: str,
    faults: list[Fault] | None = None,
    headers: dict[str, str] | None = None,
) -> Response:
    """Write one problem document."""
    problem = Problem(
        title=HTTPStatus(status).phrase, status=status, detail=detail, errors=faults or []
    )
    body = problem.model_dump_json().encode()
    return Response(body, status, headers=headers, media_type=MEDIA_TYPE)


def documented(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Describe these statuses for the OpenAPI document."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {
        status: {"description": HTTPStatus(status).phrase, "content": content}
        for status in statuses
    }


def install(app: FastAPI) -> None:
    """Answer every error of this app with a problem document."""
    app.add_exception_handler(ProblemError, _told)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(UsageError, _usage)
    app.add_exception_handler(StoreError, _store)
    app.add_exception_handler(OperationalError, _store)


async def _told(_request: Request, error: Exception) -> Response:
    if not isinstance(error, ProblemError):
        raise error
    return respond(error.status, error.detail, error.faults)


async def _http(request: Request, error: Exception) -> Response:
    if not isinstance(error, HTTPException):
        raise error
    if error.status_code == HTTPStatus.NOT_FOUND:
        return respond(404, "There is nothing at this address.")
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        allowed = ", ".join(sorted(_methods(request)))
        return respond(405, f"This address takes {allowed}.", headers={"allow": allowed})
    return respond(error.status_code, str(error.detail), headers=dict(error.headers or {}))


def _methods(request: Request) -> set[str]:
    """Gather the methods of all routes of an address (RFC 9110 section 15.5.6)."""
    methods: set[str] = set()
    for method in ("GET", "POST", "PUT", "PATCH", "DELETE"):
        scope = {**request.scope, "method": method}
        if any(route.matches(scope)[0] is Match.FULL for route in request.app.routes):
            methods.add(method)
    return methods | {"HEAD"} if "GET" in methods else methods


async def _invalid(_request: Request, error: Exception) -> Response:
    if not isinstance(error, RequestValidationError):
        raise error
    faults = [_fault(one) for one in error.errors()]
    return respond(422, "; ".join(f"{one.where}: {one.detail}" for one in faults), faults)


_SAID = {
    "missing": "missing; give it",
    "int_parsing": "must be a whole number",
    "float_parsing": "must be a number",
    "bool_parsing": "must be true or false",
}


def _fault(one: Mapping[str, Any]) -> Fault:
    """Say in our own words what pydantic found."""
    loc = [str(part) for part in one["loc"]]
    if one["type"] == "json_invalid":
        return Fault(
            where="body", detail=f"not JSON, from character {loc[-1]} on; correct it there"
        )
    if one["type"] == "extra_forbidden":
        return Fault(where=".".join(loc), detail="no such key; /api/v1/openapi.json names them")
    if one["type"] == "model_attributes_type":
        said = "not a JSON object; send one, with content-type: application/json"
        return Fault(where=".".join(loc), detail=said)
    if one["type"] == "string_pattern_mismatch":
        pattern = one["ctx"]["pattern"]
        return Fault(where=".".join(loc), detail=f"not in the right form; it must match {pattern}")
    said = _SAID.get(one["type"]) or str(one["msg"]).removeprefix("Value error, ")
    return Fault(where=".".join(loc), detail=said.replace("Input should be", "must be"))


async def _usage(_request: Request, error: Exception) -> Response:
    if not isinstance(error, HivewatchError):
        raise error
    return respond(422, str(error))


async def _store(_request: Request, error: Exception) -> Response:
    if isinstance(error, StoreError):
        return respond(503, str(error))
    return respond(503, "The store does not answer now; try again.", headers={"retry-after": "5"})
