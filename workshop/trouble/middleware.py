"""Answers trouble with a page in words, and what a person typed with what was wrong about it."""

import json
import logging
from collections.abc import Callable

from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import translation

from inventory.acting import Busy
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.schema.unchanged import let_go
from workshop.trouble.kinds import BUSY, Trouble, trouble_of

logger = logging.getLogger(__name__)
UNCLEAR = N_("This could not be done")


class TroubleMiddleware:
    """Stands around every page. It asks nothing of the database, which may be the trouble."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            return self.get_response(request)
        except Exception as problem:
            # Whoever asks is not known out here, only what their browser asks for.
            with translation.override(translation.get_language_from_request(request)):
                answer = self.process_exception(request, problem)
            if answer is None:
                raise
            return answer

    def process_exception(self, request: HttpRequest, problem: Exception) -> HttpResponse | None:
        """Answer what is trouble or a refusal; the rest is a fault, and stays one."""
        if isinstance(problem, Busy):
            return answer_trouble(request, BUSY)
        if isinstance(problem, WorkshopError):
            return answer_trouble(
                request, Trouble("refused", UNCLEAR, str(problem), N_("Nothing was changed."), status=422)
            )
        trouble = trouble_of(problem)
        if trouble is None:
            return None
        logger.error("%s: %s %s: %s", trouble.name, request.method, request.path, problem)
        let_go()  # what only looks must not stand in the way of whoever mends it
        if connection.connection is not None and not connection.in_atomic_block:
            connection.close_if_unusable_or_obsolete()
        return answer_trouble(request, trouble)


def answer_trouble(request: HttpRequest, trouble: Trouble) -> HttpResponse:
    """Return the page, or JSON for a script; neither asks the database."""
    trouble = trouble.said()
    if "application/json" in (request.headers.get("Accept", ""), request.content_type):
        body = json.dumps({"problem": f"{trouble.what} {trouble.do}", "kind": trouble.name})
        answer = HttpResponse(body, status=trouble.status, content_type="application/json")
    else:
        answer = HttpResponse(
            render_to_string("workshop/trouble.html", {"trouble": trouble}), status=trouble.status
        )
    if trouble.status == 503:
        answer["Retry-After"] = "5"
    return answer
