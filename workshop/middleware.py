"""Who is asking: their units and their look, found only when a page uses them."""

from collections.abc import Callable

from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from workshop.models import Preference


class PersonMiddleware:
    """Give each request ``preference`` and ``units``; neither asks the database until it is read."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        preference = SimpleLazyObject(lambda: preference_of(request.user))
        request.preference = preference  # type: ignore[attr-defined]
        request.units = SimpleLazyObject(lambda: preference.units)  # type: ignore[attr-defined]
        return self.get_response(request)


def preference_of(user: AbstractBaseUser | AnonymousUser) -> Preference:
    """Return the preference saved for ``user``, or an unsaved one with the defaults."""
    if user.is_anonymous:
        return Preference()
    return Preference.objects.filter(user_id=user.pk).first() or Preference(user_id=user.pk)
