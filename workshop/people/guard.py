"""The guard at the door: who is asking, and whether the table of rights lets them."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, cast

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.models import AnonymousUser, User
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from workshop.models import Station
from workshop.people.guessing import DEVICE_COOKIE
from workshop.people.members import role_of
from workshop.people.rights import IN_WORDS, STATION_ROUTES, Right, asks, right_of
from workshop.people.sign_ins import note_seen
from workshop.people.stations import STATION_COOKIE, STAYS_CHOSEN, is_about, station_of

CHANGES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
CHOSEN, CHOSEN_AT = "station_person", "station_person_at"


class BeyondYourPart(PermissionDenied):
    """The person may not do this; the text says who may."""


class GuardMiddleware(LoginRequiredMiddleware):
    """Let a request through to its view only where the table of rights says so.

    Gives each request ``role`` (empty for nobody) and ``station`` (None but on a station's tablet).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        super().__init__(get_response)

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        request.station = SimpleLazyObject(lambda: _station(request))  # type: ignore[attr-defined]
        request.role = SimpleLazyObject(lambda: _role(request))  # type: ignore[attr-defined]
        response = cast(HttpResponseBase, self.get_response(request))
        secret = getattr(request, "device_secret", None)
        if secret:
            response.set_cookie(
                DEVICE_COOKIE, secret, max_age=timedelta(days=400), httponly=True, samesite="Lax",
                secure=request.is_secure(),
            )  # fmt: skip
        return response

    def process_view(
        self, request: HttpRequest, view_func: Any, view_args: Any, view_kwargs: dict[str, Any]
    ) -> HttpResponseBase | None:
        match = request.resolver_match
        route = match.url_name if match else None
        wanted = asks(route, changes=request.method in CHANGES)
        if wanted is None:
            raise BeyondYourPart(
                f"The page {request.path} is in no row of the table of rights, so it is closed."
            )
        if wanted == Right.ANYONE:
            return None
        if request.user.is_authenticated:
            note_seen(request, at=timezone.now())
            _refuse_beyond(right_of(request.role), wanted)  # type: ignore[attr-defined]
            return None
        if request.station:  # type: ignore[attr-defined]
            return _for_station(request, route or "", wanted, view_kwargs)
        return self.handle_no_permission(request, view_func)


def _for_station(
    request: HttpRequest, route: str, wanted: Right, view_kwargs: dict[str, Any]
) -> HttpResponseBase | None:
    station: Station = request.station  # type: ignore[attr-defined]
    if route not in STATION_ROUTES:
        raise BeyondYourPart(
            f"The tablet {station} shows runs of {station.machine}; for this, sign in elsewhere."
        )
    job_id = view_kwargs.get("pk") if route not in ("design_picture", "needle") else None
    if job_id is not None and not is_about(station, job_id):
        raise BeyondYourPart(f"This job is not stitched at {station.machine}, where this tablet stands.")
    if route == "needle" and view_kwargs.get("pk") != station.machine_id:
        raise BeyondYourPart(f"This tablet tells of the needle of {station.machine} alone.")
    if wanted <= Right.SEE:
        _take_chosen(request)
        return None
    if not _take_chosen(request):
        return redirect("station_here")
    _refuse_beyond(min(right_of(role_of(request.user)), Right.STITCH), wanted)  # type: ignore[arg-type]
    return None


def _take_chosen(request: HttpRequest) -> bool:
    """Let the request speak for whoever chose themselves on this tablet; return whether somebody did."""
    now = timezone.now().timestamp()
    if now - request.session.get(CHOSEN_AT, 0.0) > STAYS_CHOSEN.total_seconds():
        request.session.pop(CHOSEN, None)
        return False
    person = User.objects.filter(pk=request.session.get(CHOSEN) or 0, is_active=True).first()
    if person is None:
        return False
    request.session[CHOSEN_AT] = now
    request.user = person
    return True


def _refuse_beyond(right: Right, wanted: Right) -> None:
    if right >= max(wanted, Right.SEE) or wanted == Right.SELF:
        return
    raise BeyondYourPart(
        f"Your part in this workshop does not reach that far: it takes the right to {IN_WORDS[wanted]}. "
        "An owner can give you another part."
    )


def _station(request: HttpRequest) -> Station | None:
    return station_of(request.COOKIES.get(STATION_COOKIE, ""))


def _role(request: HttpRequest) -> str:
    user = request.user
    return "" if isinstance(user, AnonymousUser) or user.is_anonymous else role_of(user)
