"""The guard at the door: who is asking, and whether the table of rights lets them."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any, cast

from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.models import AnonymousUser, User
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext as _

from workshop.models import Station
from workshop.people.guessing import DEVICE_COOKIE
from workshop.people.members import role_of
from workshop.people.programs import let_in
from workshop.people.refusing import BeyondYourPart, refuse_beyond, refuse_beyond_station
from workshop.people.rights import API, Right, asks, right_of
from workshop.people.sign_ins import note_seen
from workshop.people.stations import STATION_COOKIE, STAYS_CHOSEN, station_of

CHANGES = frozenset({"POST", "PUT", "PATCH", "DELETE"})
# In the session of whoever has to set a second factor up before anything else, and where they may go meanwhile.
MUST_SET_UP = "must_set_up_second"
SETTING_UP = frozenset({"second_factor", "app_keep", "passkey_make", "passkey_keep", "sign_out"})
CHOSEN, CHOSEN_AT = "station_person", "station_person_at"


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
                secure=request.is_secure(), path=settings.SESSION_COOKIE_PATH,
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
                _("The page {path} is in no row of the table of rights, so it is closed.").format(
                    path=request.path
                )
            )
        if wanted == Right.ANYONE:
            return None
        if route and route.startswith(API):
            return let_in(request, route, wanted, view_kwargs)
        if request.user.is_authenticated:
            note_seen(request, at=timezone.now())
            if route not in SETTING_UP and request.session.get(MUST_SET_UP):
                return redirect("second_factor")
            refuse_beyond(right_of(request.role), wanted)  # type: ignore[attr-defined]
            return None
        if request.station:  # type: ignore[attr-defined]
            return _for_station(request, route or "", wanted, view_kwargs)
        return self.handle_no_permission(request, view_func)


def _for_station(
    request: HttpRequest, route: str, wanted: Right, view_kwargs: dict[str, Any]
) -> HttpResponseBase | None:
    station: Station = request.station  # type: ignore[attr-defined]
    refuse_beyond_station(station, route, view_kwargs)
    if wanted <= Right.SEE:
        _take_chosen(request)
        return None
    if not _take_chosen(request):
        return redirect("station_here")
    refuse_beyond(min(right_of(role_of(request.user)), Right.STITCH), wanted)  # type: ignore[arg-type]
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
    person.at_station = request.station.name  # type: ignore[attr-defined]
    request.user = person
    return True


def _station(request: HttpRequest) -> Station | None:
    return station_of(request.COOKIES.get(STATION_COOKIE, ""))


def _role(request: HttpRequest) -> str:
    user = request.user
    return "" if isinstance(user, AnonymousUser) or user.is_anonymous else role_of(user)
