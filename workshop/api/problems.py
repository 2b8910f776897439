"""What is refused to a program, in the one shape of RFC 9457 (application/problem+json)."""

import json
from collections.abc import Callable, Sequence
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse

MEDIA_TYPE = "application/problem+json"
BENEATH = "/api/"

# What each kind of problem means, by the anchor of the help page that its type leads to.
KINDS: dict[str, tuple[int, str, str]] = {
    "not-understood": (400, "Not understood", "The request is no sound JSON, or its Idempotency-Key is missing."),
    "no-token": (401, "No token", "There is no token, or it has ended, or nobody made it."),
    "beyond-its-part": (403, "Beyond its part", "The token's right, or its person's part, does not reach so far."),
    "not-found": (404, "Not found", "Nothing has this number, label or address."),
    "no-such-way": (405, "No such way", "The address is right, and is not asked in this way; Allow says how."),
    "changed-meanwhile": (
        409, "Changed meanwhile", "As it stands now this cannot be done, or it is not as it was shown. Look again.",
    ),
    "too-large": (413, "Too large", "What was sent is larger than anything that is taken here."),
    "other-kind": (415, "Another kind of content", "What is sent is JSON, and says so in Content-Type."),
    "refused": (422, "Refused", "A value cannot be used, or the workshop refuses it: the detail says which and why."),
    "too-many": (429, "Too many requests", "More in a minute than is answered; Retry-After says when to go on."),
    "fault": (500, "A fault of the program", "It is written down under the request's id."),
    "busy": (503, "Busy or in trouble", "The database is busy or in trouble; nothing was changed. Try again."),
}  # fmt: skip
_BY_STATUS = {status: slug for slug, (status, _, _) in KINDS.items()}


def problem(
    request: HttpRequest, status: int, detail: str, *, errors: Sequence[dict[str, str]] = (), kind: str = ""
) -> HttpResponse:
    """Return the answer that tells a program what was refused, and why in words for the person behind it."""
    slug = kind or _BY_STATUS.get(status, "refused" if status < 500 else "fault")
    told = KINDS[slug]
    body = {
        "type": f"{request.build_absolute_uri(reverse('api_help'))}#{slug}",
        "title": told[1] if told[0] == status else HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
    }
    number = getattr(request, "id", "")
    if number:
        body["instance"] = f"urn:request:{number}"
    if errors:
        body["errors"] = list(errors)
    answer = HttpResponse(json.dumps(body, ensure_ascii=False), status=status, content_type=MEDIA_TYPE)
    if status == HTTPStatus.UNAUTHORIZED:
        answer["WWW-Authenticate"] = 'Bearer realm="workshop"'
    return answer


class ProblemMiddleware:
    """Give whatever is refused beneath ``/api/`` the one shape, whoever refused it: Django, a middleware, a fault."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        answer = self.get_response(request)
        if not request.path_info.startswith(BENEATH) or answer.status_code < 400:
            return answer
        if answer.headers.get("Content-Type", "").startswith(MEDIA_TYPE):
            return answer
        told = problem(request, answer.status_code, _said(answer))
        for name in ("Allow", "Retry-After", "WWW-Authenticate"):
            if name in answer:
                told[name] = answer[name]
        return told


def _said(answer: HttpResponse) -> str:
    """Return the words of an answer of TroubleMiddleware, or what its status means."""
    if answer.headers.get("Content-Type", "").startswith("application/json"):
        try:
            said = json.loads(answer.content)
        except ValueError:
            said = None
        if isinstance(said, dict) and isinstance(said.get("problem"), str):
            return str(said["problem"])
    slug = _BY_STATUS.get(answer.status_code)
    return KINDS[slug][2] if slug else HTTPStatus(answer.status_code).description
