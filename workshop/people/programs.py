"""Programs come in by a token in their request, never by a cookie, so many times a minute and as far as it reaches."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from workshop.api.problems import problem
from workshop.people.address import client_address
from workshop.people.refusing import BeyondYourPart, refuse_beyond, refuse_beyond_station
from workshop.people.rights import Right
from workshop.people.tokens import counted, right_of_token, token_of

SCHEME = "bearer"


def let_in(
    request: HttpRequest, route: str, wanted: Right, view_kwargs: dict[str, Any]
) -> HttpResponse | None:
    """Let the request speak for the person of its token, or return what it is refused with."""
    at = timezone.now()
    scheme, _, secret = request.headers.get("Authorization", "").partition(" ")
    token = token_of(secret.strip(), at=at) if scheme.casefold() == SCHEME else None
    if token is None:
        # Whoever has no token costs us a count, and soon not even a look at the tokens' table.
        most = settings.API_REFUSED_PER_MINUTE
        if counted(f"address {client_address(request)}", at=at, most=most) > most:
            return _too_many(
                request, "Too many requests without a token that lets in came from this address.", at
            )
        return problem(
            request,
            401,
            "Send a token: Authorization: Bearer thread_… An owner makes one under People, Tokens.",
        )
    who, most = f"token {token.pk} {token.secret_sha256[:8]}", settings.API_PER_MINUTE
    if counted(who, at=at, most=most) > most:
        told = (
            f"A token is answered {settings.API_PER_MINUTE} times a minute. Wait, and ask for more at once."
        )
        return _too_many(request, told, at)
    person = token.user
    if token.station is not None:
        person.at_station = token.station.name  # type: ignore[attr-defined]
    request.token = token  # type: ignore[attr-defined]
    request.user, request.station = person, token.station  # type: ignore[attr-defined]
    try:
        refuse_beyond(right_of_token(token), wanted)
        if token.station is not None:
            refuse_beyond_station(token.station, route, view_kwargs)
    except BeyondYourPart as why:
        return problem(request, 403, str(why))
    return None


def _too_many(request: HttpRequest, told: str, at: Any) -> HttpResponse:
    answer = problem(request, 429, told)
    answer["Retry-After"] = str(60 - int(at.timestamp()) % 60)
    return answer
