"""Stands around everything: gives each request an id, counts it, notes what is slow, and writes its line of the log."""

import logging
import re
import time
from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django.conf import settings
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from workshop.people.address import is_trusted
from workshop.watching.logs import about_request, answering
from workshop.watching.numbers import HERE, SlowQuery

requests, slow = logging.getLogger("workshop.requests"), logging.getLogger("workshop.slow")
HEADER = "X-Request-ID"
# What a proxy of ours may have called the request.
SOUND_ID = re.compile(r"[A-Za-z0-9._-]{8,64}")
MOST_SQL = 400


class WatchMiddleware:
    """Comes first, so that whatever the others do is seen."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        request.id = _id_of(request)  # type: ignore[attr-defined]
        marked = answering.set(request)
        asked = Queries(request)
        begun = time.perf_counter()
        try:
            with connection.execute_wrapper(asked):
                response = self.get_response(request)
            seconds = time.perf_counter() - begun
            response[HEADER] = request.id  # type: ignore[attr-defined]
            HERE.note_answer(
                route_of(request),
                request.method or "",
                response.status_code,
                seconds=seconds,
                queries=asked.count,
            )
            _write(request, response, seconds=seconds, queries=asked.count)
            return response
        finally:
            answering.reset(marked)


class Queries:
    """Counts the statements of one request, and notes those that take long."""

    def __init__(self, request: HttpRequest) -> None:
        self.request, self.count = request, 0

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        begun = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            self.count += 1
            seconds = time.perf_counter() - begun
            if seconds > settings.SLOW_QUERY_MS / 1000:
                route = route_of(self.request)
                # Without its values, which may be anybody's.
                HERE.note_slow(SlowQuery(timezone.now(), route, seconds, sql[:MOST_SQL]))
                slow.warning(
                    "%.0f ms on %s: %s", seconds * 1000, route, sql[:MOST_SQL], extra={"route": route}
                )


def route_of(request: HttpRequest) -> str:
    """Return the name of the page that is asked for; unknown addresses are all one."""
    match = request.resolver_match
    return (match.url_name or "unnamed") if match else "unknown"


def _write(request: HttpRequest, response: HttpResponse, *, seconds: float, queries: int) -> None:
    match = request.resolver_match
    # A link's secret is no line for a log.
    path = match.route if match and "secret" in match.kwargs else request.path
    requests.info(
        "%s %s %s",
        request.method,
        path,
        response.status_code,
        extra=dict(about_request(request))
        | {
            "method": request.method,
            "path": path,
            "route": route_of(request),
            "status": response.status_code,
            "ms": round(seconds * 1000, 1),
            "queries": queries,
            "address": request.META.get("REMOTE_ADDR", ""),
        },
    )


def _id_of(request: HttpRequest) -> str:
    given = request.headers.get(HEADER, "")
    if SOUND_ID.fullmatch(given) and is_trusted(
        request.META.get("REMOTE_ADDR", ""), settings.TRUSTED_PROXIES
    ):
        return given
    return uuid4().hex[:16]
