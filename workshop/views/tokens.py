"""Tokens of programs: listed, made and shown once, ended; and the help for whoever writes a program."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from inventory.compute.errors import WorkshopError
from workshop.api.problems import KINDS
from workshop.models import Token
from workshop.people.forms import TokenForm
from workshop.people.rights import Right, in_words
from workshop.people.tokens import end_token, make_token

SHOWN_ENDED = 20


@never_cache
def tokens(request: HttpRequest) -> HttpResponse:
    """List the tokens; a POST makes one and shows its secret this once."""
    form = TokenForm(request.POST or None, initial={"user": request.user.pk})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            token, secret = make_token(
                given["name"],
                user=given["user"],
                right=Right(int(given["right"])),
                station=given["station"],
                days=given["days"],
                at=timezone.now(),
                by=request.user,
            )
        except WorkshopError as problem:
            form.add_error(None, str(problem))
        else:
            return render(request, "workshop/people/token_made.html", {"token": token, "secret": secret})
    at = timezone.now()
    rows = Token.objects.select_related("user", "station")
    return render(
        request,
        "workshop/people/tokens.html",
        {
            "form": form,
            "open": [(each, in_words(Right(each.right))) for each in rows.open(at)],
            "ended": rows.exclude(pk__in=rows.open(at)).order_by("-ends_at")[:SHOWN_ENDED],
        },
        status=422 if form.is_bound else 200,
    )


@require_POST
def token_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Let programs in with a token no more."""
    token = get_object_or_404(Token, pk=pk)
    end_token(token, at=timezone.now())
    messages.success(request, _("The token {token} lets no program in any more.").format(token=token))
    return redirect("tokens")


@require_safe
def api_help(request: HttpRequest) -> HttpResponse:
    """Tell how a program weighs a spool, what keys and problems are, and where everything is described."""
    problems = [(slug, status, title, what) for slug, (status, title, what) in KINDS.items()]
    at = request.build_absolute_uri("/")[:-1] + request.META.get("SCRIPT_NAME", "")
    return render(request, "workshop/api_help.html", {"problems": problems, "at": at})
