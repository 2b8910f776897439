"""The one API: its rooms brought together, its refusals in one shape, and its description.

Only the addresses import this module, and those are loaded with the first page: no command waits for it.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.urls import URLPattern, URLResolver, path, reverse
from django.views.decorators.csrf import csrf_exempt
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError
from ninja.openapi.schema import OpenAPISchema
from ninja.operation import Operation
from ninja.parser import Parser

from inventory.acting import Busy, PlanHasChanged
from inventory.compute.errors import WorkshopError
from inventory.compute.typed.sent_json import NotSoundJson, read_json
from inventory.ledger import CannotReverse
from inventory.shelf.labelled import NoSuchLabel
from planning.jobs.jobs import NotInThisState
from planning.run.ticks import AlreadyTicked, OnceMore, WhatIsLeft
from workshop.api import buying, catalogue, cutting, deliveries, endings, jobs, runs, stock
from workshop.api.once import HEADER, KeyMissing
from workshop.api.problems import KINDS, MEDIA_TYPE, problem

VERSION = "1"
# What a moment's standing refuses: asked again later, or of another thing, the same request may be right.
CONFLICTS = (PlanHasChanged, NotInThisState, AlreadyTicked, OnceMore, WhatIsLeft, CannotReverse)
PROBLEMS_OF_ALL = (
    "no-token",
    "beyond-its-part",
    "not-found",
    "changed-meanwhile",
    "refused",
    "too-many",
    "fault",
    "busy",
)
PROBLEMS_OF_ACTS = ("not-understood", "too-large", "other-kind")


class SoundBody(Parser):
    """Reads a body as every page of the house reads JSON: bounded in depth and in its numbers."""

    def parse_body(self, request: HttpRequest) -> dict[str, Any]:
        """Return what was sent. Raises HttpError 415 for what is not called JSON."""
        if request.content_type != "application/json":
            raise HttpError(415, "Send JSON, and say so: Content-Type: application/json.")
        return cast(dict[str, Any], read_json(request.body))


class WorkshopAPI(NinjaAPI):
    """The API with what every operation shares in its description: the token, the key, the problems."""

    def get_openapi_schema(self, **options: Any) -> OpenAPISchema:
        """Return the description, with the problems and the header that operations share written into each."""
        schema = super().get_openapi_schema(path_prefix=reverse("api_description").rpartition("/")[0] + "/")
        components = schema.setdefault("components", {})
        components["securitySchemes"] = {
            "token": {"type": "http", "scheme": "bearer", "description": "A token that an owner made."}
        }
        components["schemas"]["Problem"] = _PROBLEM
        components["responses"] = {slug: _answer(slug) for slug in KINDS}
        for ways in schema["paths"].values():
            for way, operation in ways.items():
                slugs = [*PROBLEMS_OF_ALL, *(PROBLEMS_OF_ACTS if way == "post" else ())]
                for slug in slugs:
                    answer = {"$ref": f"#/components/responses/{slug}"}
                    operation["responses"].setdefault(KINDS[slug][0], answer)
                operation["security"] = [{"token": []}]
                if way == "post":
                    operation["parameters"] = [*operation.get("parameters", []), _KEY]
        return schema


_PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "What was refused, as RFC 9457 has it.",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "format": "uri", "description": "The help about problems of this kind."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string", "description": "What was wrong, and what to do, for a person to read."},
        "instance": {"type": "string", "description": "The request, as the workshop's log names it."},
        "errors": {
            "type": "array",
            "description": "Field by field, where it is a matter of fields.",
            "items": {
                "type": "object",
                "required": ["where", "what"],
                "properties": {"where": {"type": "string"}, "what": {"type": "string"}},
            },
        },
    },
}
_KEY: dict[str, Any] = {
    "name": HEADER,
    "in": "header",
    "required": True,
    "description": "Another one for each thing that is done; sent again, it is answered as before and nothing is done.",
    "schema": {"type": "string", "minLength": 1, "maxLength": 64, "pattern": "^[!-~]{1,64}$"},
}


def _answer(slug: str) -> dict[str, Any]:
    return {
        "description": KINDS[slug][2],
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }


api = WorkshopAPI(
    title="Enough Thread",
    version=VERSION,
    description="Stock, plans, jobs, runs, buying and the catalogue of one workshop. Lengths are in mm, weights in mg.",
    urls_namespace="api",
    openapi_url=None,
    docs_url=None,  # the page that comes with the library loads scripts from elsewhere; the help page stands for it
    parser=SoundBody(),
)
for room in (
    stock.router,
    deliveries.router,
    catalogue.router,
    jobs.plans,
    jobs.router,
    cutting.router,
    runs.router,
    endings.router,
    buying.router,
):
    api.add_router("", room)


@api.exception_handler(WorkshopError)
def refused(request: HttpRequest, why: WorkshopError) -> HttpResponse:
    """Answer what the workshop refuses, in its own words."""
    if isinstance(why, Busy):
        busy = problem(request, 503, str(why))
        busy["Retry-After"] = "5"
        return busy
    if isinstance(why, KeyMissing | NotSoundJson):
        return problem(request, 400, str(why))
    if isinstance(why, NoSuchLabel):
        return problem(request, 404, str(why))
    return problem(request, 409 if isinstance(why, CONFLICTS) else 422, str(why))


@api.exception_handler(Http404)
def not_found(request: HttpRequest, why: Http404) -> HttpResponse:
    """Answer that nothing has this number."""
    return problem(request, 404, str(why) or KINDS["not-found"][2])


@api.exception_handler(HttpError)
def not_understood(request: HttpRequest, why: HttpError) -> HttpResponse:
    """Answer what could not be read at all, in the words of whoever could not."""
    cause = why.__cause__
    if isinstance(cause, HttpError):
        return problem(request, cause.status_code, cause.message)
    return problem(request, why.status_code, str(cause) if isinstance(cause, WorkshopError) else why.message)


@api.exception_handler(ValidationError)
def not_valid(request: HttpRequest, why: ValidationError) -> HttpResponse:
    """Answer field by field what cannot be used."""
    errors = [
        {"where": ".".join(str(part) for part in each["loc"]), "what": str(each["msg"])}
        for each in why.errors
    ]
    told = "; ".join(f"{each['where']}: {each['what']}" for each in errors[:5])
    return problem(request, 422, f"Not everything that was sent can be used. {told}", errors=errors)


@api.exception_handler(Exception)
def fault(request: HttpRequest, why: Exception) -> HttpResponse:
    """Let trouble and faults be answered where those of pages are; the shape is given to them on their way out."""
    raise why


def description(request: HttpRequest) -> HttpResponse:
    """Describe every operation, as OpenAPI 3.1 has it."""
    return JsonResponse(api.get_openapi_schema())


def addresses() -> list[URLPattern | URLResolver]:
    """Return the addresses of the API, each by the name that the table of rights has."""
    found: list[URLPattern | URLResolver] = [path("openapi.json", description, name="api_description")]
    for room in api._get_bound_routers():
        asked = {
            operation.url_name: _names_asked(operation)
            for view in room.path_operations.values()
            for operation in view.operations
            if "GET" in operation.methods
        }
        for pattern in room.urls_paths(room.prefix):
            # Tokens and no cookies let in, so that nothing can be forged in a person's browser.
            pattern.callback = csrf_exempt(
                _nothing_else_asked(pattern.callback, asked.get(pattern.name or "", set()))
            )
            found.append(pattern)
    return found


def _names_asked(operation: Operation) -> set[str]:
    queries = [model for model in operation.models if model.__ninja_param_source__ == "query"]
    return {name for model in queries for name in model.__ninja_flatten_map__}


def _nothing_else_asked(view: Callable[..., HttpResponse], names: set[str]) -> Callable[..., HttpResponse]:
    """Refuse what an address asks that the operation does not know: a misspelt filter would answer everything."""

    @wraps(view)
    def strict(request: HttpRequest, **kwargs: Any) -> HttpResponse:
        unknown = [name for name in request.GET if name not in names]
        if not unknown:
            return view(request, **kwargs)
        known = ", ".join(sorted(names)) or "nothing"
        errors = [{"where": f"query.{name}", "what": "is not asked here"} for name in unknown]
        return problem(request, 422, f"This address asks {known}, and not {unknown[0]!r:.60}.", errors=errors)

    return strict
