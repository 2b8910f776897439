"""Who is asking: from where, in which units, with which look."""

from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers
from django.utils.functional import SimpleLazyObject

from inventory.compute.units import IMPERIAL, METRIC, read_in
from workshop.models import Preference
from workshop.people.address import address_behind

API_PATH = "/api/"


class ClientAddressMiddleware:
    """Let REMOTE_ADDR be the visitor's own address behind the proxies that the settings trust."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if settings.TRUSTED_PROXIES:
            request.META["REMOTE_ADDR"] = address_behind(
                request.META.get("REMOTE_ADDR", ""),
                request.headers.get("X-Forwarded-For", ""),
                trusted=settings.TRUSTED_PROXIES,
            )
        return self.get_response(request)


class NothingKeptMiddleware:
    """Have no cache keep what a signed-in person was shown, unless the page itself says how long it may."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        # Cookies first: to ask who it is may have to wait for a database that has just been waited for in vain.
        if not response.has_header("Cache-Control") and (request.COOKIES or request.user.is_authenticated):
            response["Cache-Control"] = "no-store, private"
        return response


class PersonMiddleware:
    """Give each request ``preference`` and ``units``, and the language in which it is answered.

    What programs read stays in English, and metric.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        preference = SimpleLazyObject(lambda: preference_of(request.user))
        request.preference = preference  # type: ignore[attr-defined]
        request.units = SimpleLazyObject(lambda: preference.units)  # type: ignore[attr-defined]
        language = _language_for(request, preference)
        # Found out only where something is said in them: a page may ask the database for nothing.
        units = METRIC if request.path_info.startswith(API_PATH) else lambda: preference.units
        with translation.override(language), read_in(units):
            response = self.get_response(request)
        response.headers.setdefault("Content-Language", language)
        patch_vary_headers(response, ["Accept-Language"])
        return response


def _language_for(request: HttpRequest, preference: Any) -> str:
    if request.path_info.startswith(API_PATH):
        return settings.LANGUAGE_CODE if settings.LANGUAGE_CODE.startswith("en") else "en-gb"
    chosen = preference.language if request.user.is_authenticated else ""
    return chosen or translation.get_language_from_request(request)


def language_of(user: AbstractBaseUser | AnonymousUser | None) -> str:
    """Return the language that a person chose, or the workshop's: for what is written while they are not there."""
    return (preference_of(user).language if user is not None else "") or settings.LANGUAGE_CODE


def preference_of(user: AbstractBaseUser | AnonymousUser) -> Preference:
    """Return the preference saved for ``user``, or an unsaved one with the defaults."""
    if user.is_anonymous:
        return _unsaved()
    return Preference.objects.filter(user_id=user.pk).first() or _unsaved(user_id=user.pk)


def _unsaved(**of: Any) -> Preference:
    units = IMPERIAL if settings.UNITS == "imperial" else METRIC
    return Preference(length_unit=units.length, weight_unit=units.weight, size_unit=units.size, **of)
