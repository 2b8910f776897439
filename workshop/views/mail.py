"""A forgotten password, and the address to which a link to a new one is sent."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from inventory.compute.spoken import N_
from inventory.work import ask_for
from workshop.people.address import client_address
from workshop.people.by_mail import MOST_A_MINUTE, asked_key, give_address
from workshop.people.forms import ForgottenForm, MailForm
from workshop.people.tokens import counted
from workshop.tasks import mail_reset_links


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def forgotten(request: HttpRequest) -> HttpResponse:
    """Take an address and have a link sent to whoever gave it; the answer is the same for every address."""
    if not settings.SENDS_MAIL:
        raise Http404(_("This workshop sends no mail. Ask its owner for a link to a new password."))
    form = ForgottenForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        at = timezone.now()
        if counted(f"forgotten {client_address(request)}", at=at, most=MOST_A_MINUTE) > MOST_A_MINUTE:
            form.add_error(None, _("That was asked too often. Wait a minute, and ask again."))
            return render(request, "workshop/people/forgotten.html", {"form": form}, status=429)
        address = form.cleaned_data["email"]
        ask_for(
            mail_reset_links,
            (address,),
            key=asked_key(address, at=at),
            what=N_("Link to a new password by mail"),
            at=at,
        )
        return render(request, "workshop/people/forgotten.html", {"sent": True})
    return render(
        request, "workshop/people/forgotten.html", {"form": form}, status=422 if form.is_bound else 200
    )


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def my_mail(request: HttpRequest) -> HttpResponse:
    """Say to which address a link to a new password may be sent; the password says that it is oneself."""
    user = request.user
    assert user.is_authenticated  # the table of rights lets nobody else in
    form = MailForm(user, request.POST or None, initial={"email": user.email})
    if request.method == "POST" and form.is_valid():
        give_address(user, form.cleaned_data["email"])
        messages.success(
            request, _("Kept.") if form.cleaned_data["email"] else _("No address is kept any more.")
        )
        return redirect("preferences")
    shown = {"form": form, "sends_mail": settings.SENDS_MAIL}
    return render(request, "workshop/people/mail.html", shown, status=422 if form.is_bound else 200)
