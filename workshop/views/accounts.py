"""Signing in and out, the first account, preferences and passwords."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import User
from django.contrib.auth.views import LogoutView
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST
from django_htmx.http import HttpResponseClientRefresh

from workshop.forms import ChangePasswordForm, PreferenceForm
from workshop.middleware import preference_of
from workshop.views.second import ask_name_and_password

_forget_session = LogoutView.as_view()


@login_not_required
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """Ask for name and password; in a workshop that nobody opened yet, lead to its first account."""
    if not User.objects.exists():
        return redirect("welcome")
    if "HX-Request" in request.headers:
        # A part of a page was asked for after the session ended: the whole page must go and sign in.
        return HttpResponseClientRefresh()
    return ask_name_and_password(request)


@login_not_required
@require_POST
def sign_out(request: HttpRequest) -> HttpResponseBase:
    """Forget who is signed in on this device."""
    return _forget_session(request)


@login_not_required
@never_cache
def welcome(request: HttpRequest) -> HttpResponse:
    """Tell how a workshop that nobody opened yet is opened."""
    if User.objects.exists():
        return redirect("sign_in")
    return render(request, "workshop/welcome.html")


def preferences(request: HttpRequest) -> HttpResponse:
    """Choose units and look."""
    form = PreferenceForm(request.POST or None, instance=preference_of(request.user))
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, _("Saved. Every page now uses these units and this look."))
        return redirect("preferences")
    return render(request, "workshop/preferences.html", {"form": form})


@sensitive_post_parameters()
@never_cache
def change_password(request: HttpRequest) -> HttpResponse:
    """Take a new password; other devices of this person are signed out, this one stays."""
    form = ChangePasswordForm(request.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        form.save()
        update_session_auth_hash(request, form.user)
        messages.success(request, _("The new password is in force. Your other devices are signed out."))
        return redirect("preferences")
    return render(request, "workshop/change_password.html", {"form": form})
