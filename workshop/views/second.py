"""The second factor: set up and taken away under Settings, asked for after the password, and passkeys by themselves."""

from datetime import timedelta
from typing import Any, cast

import segno
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.models import User
from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from inventory.compute.errors import WorkshopError
from inventory.compute.typed.sent_json import NotSoundJson, read_json
from planning.models import Rules
from workshop.forms import SignInForm
from workshop.models import Passkey, RecoveryCode, SecondFactor
from workshop.people import passkeys, second
from workshop.people.forms import CodeForm, PasswordForm
from workshop.people.guard import MUST_SET_UP

_BACKEND = "django.contrib.auth.backends.ModelBackend"
HALF, PENDING = "half_signed_in", "app_to_set_up"
HALF_LASTS = timedelta(minutes=10)


class AskNameAndPassword(LoginView):
    """The page that asks for name and password, and lets in whoever needs nothing more."""

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"sends_mail": settings.SENDS_MAIL}

    def form_valid(self, form: Any) -> HttpResponse:
        user: User = form.get_user()
        if not second.has_second(user):
            answer = super().form_valid(form)
            if second.must_set_up(user):
                self.request.session[MUST_SET_UP] = True
            return answer
        session = self.request.session
        session.cycle_key()
        session[HALF] = {
            "person": user.pk,
            "mark": user.get_session_auth_hash(),
            "at": timezone.now().timestamp(),
            "next": self.get_redirect_url(),
        }
        return redirect("second_step")


@sensitive_post_parameters()
@never_cache
def second_step(request: HttpRequest) -> HttpResponse:
    """Ask whoever knew the password for a code of their app, or a recovery code."""
    half = request.session.get(HALF) or {}
    user = User.objects.filter(pk=half.get("person", 0), is_active=True).first()
    late = timezone.now().timestamp() - half.get("at", 0) > HALF_LASTS.total_seconds()
    if user is None or late or half.get("mark") != user.get_session_auth_hash():
        request.session.pop(HALF, None)
        return redirect("sign_in")
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            way = second.take_code(user, form.cleaned_data["code"], at=timezone.now())
        except WorkshopError as problem:
            form.add_error("code", str(problem))
        else:
            _let_in(request, user)
            if way == "recovery":
                left = RecoveryCode.objects.filter(user=user, used_at__isnull=True).count()
                messages.warning(
                    request,
                    ngettext(
                        "A recovery code is used up; {left} is left.",
                        "A recovery code is used up; {left} are left.",
                        left,
                    ).format(left=left),
                )
            return redirect(_safe(request, half.get("next", "")))
    shown = {"form": form, "has_app": SecondFactor.objects.filter(user=user).exists()}
    return render(request, "workshop/people/second_step.html", shown, status=422 if form.is_bound else 200)


@require_POST
@never_cache
def passkey_ask(request: HttpRequest) -> HttpResponse:
    """Tell the browser what it signs in with."""
    return JsonResponse(passkeys.sign_in_options(request))


@require_POST
@never_cache
def passkey_sign_in(request: HttpRequest) -> HttpResponse:
    """Sign in whoever answers with a passkey of theirs: the device has asked them who they are."""
    half = request.session.get(HALF) or {}
    try:
        user = passkeys.person_of(request, read_json(request.body), at=timezone.now())
    except (WorkshopError, NotSoundJson) as problem:
        return JsonResponse({"problem": str(problem)}, status=422)
    _let_in(request, user)
    return JsonResponse({"go": _safe(request, half.get("next", ""))})


@never_cache
def second_factor(request: HttpRequest) -> HttpResponse:
    """Show the person's app and passkeys, and what an app is set up with."""
    return _page(request)


@require_POST
@sensitive_post_parameters()
@never_cache
def app_keep(request: HttpRequest) -> HttpResponse:
    """Keep the app that shows the right code now, and show the recovery codes once."""
    form = CodeForm(request.POST)
    secret = request.session.get(PENDING, "")
    if not secret:
        return redirect("second_factor")
    if form.is_valid():
        try:
            codes = second.keep_app(
                _person(request), secret, code=form.cleaned_data["code"], at=timezone.now()
            )
        except WorkshopError as problem:
            form.add_error("code", str(problem))
        else:
            request.session.pop(PENDING)
            request.session.pop(MUST_SET_UP, None)
            return _codes(request, codes)
    return _page(request, form=form)


@require_POST
@sensitive_post_parameters()
@never_cache
def second_away(request: HttpRequest) -> HttpResponse:
    """Take the second factor away, or make new recovery codes: both after the password once more."""
    form = PasswordForm(_person(request), request.POST)
    if not form.is_valid():
        return _page(request, password=form)
    if request.POST.get("do") == "codes":
        return _codes(request, second.new_recovery_codes(_person(request)))
    second.take_second_away(_person(request))
    if second.must_set_up(_person(request)):
        request.session[MUST_SET_UP] = True
    messages.success(request, _("From now on the password alone is asked for."))
    return redirect("second_factor")


@require_POST
@never_cache
def passkey_make(request: HttpRequest) -> HttpResponse:
    """Tell the browser what a passkey is made with."""
    return JsonResponse(passkeys.registration_options(request, _person(request)))


@require_POST
@never_cache
def passkey_keep(request: HttpRequest) -> HttpResponse:
    """Keep the passkey that the browser made."""
    try:
        sent = read_json(request.body)
        if not isinstance(sent, dict):
            raise NotSoundJson(_("What was sent is no passkey."))
        name = str(sent.get("name", ""))
        codes = passkeys.make_passkey(
            request, _person(request), sent.get("made"), name=name, at=timezone.now()
        )
    except WorkshopError as problem:
        return JsonResponse({"problem": str(problem)}, status=422)
    request.session.pop(MUST_SET_UP, None)
    return JsonResponse({"codes": codes, "go": reverse("second_factor")})


@require_POST
def passkey_away(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one passkey of the person's away."""
    found = get_object_or_404(Passkey, pk=pk, user_id=request.user.pk)
    found.delete()
    messages.success(request, _("The passkey {found} signs nobody in any more.").format(found=found))
    return redirect("second_factor")


def _page(
    request: HttpRequest, *, form: CodeForm | None = None, password: PasswordForm | None = None
) -> HttpResponse:
    user = _person(request)
    app = SecondFactor.objects.filter(user=user).first()
    shown: dict[str, Any] = {
        "app": app,
        "passkeys": Passkey.objects.filter(user=user),
        "codes_left": RecoveryCode.objects.filter(user=user, used_at__isnull=True).count(),
        "must": request.session.get(MUST_SET_UP, False),
        "password": password or PasswordForm(user),
    }
    if app is None:
        secret = request.session.setdefault(PENDING, second.new_secret())
        address = second.address_of(secret, user=user, workshop=Rules.current().workshop_name)
        # Drawn here, so that the secret goes nowhere else.
        qr = segno.make(address, error="m").svg_inline(
            scale=5, border=4, dark="#000", light="#fff", omitsize=False
        )
        shown |= {"form": form or CodeForm(), "qr": qr, "secret": secret}
    return render(request, "workshop/people/second.html", shown, status=422 if form or password else 200)


def _codes(request: HttpRequest, codes: list[str]) -> HttpResponse:
    return render(request, "workshop/people/recovery_codes.html", {"codes": codes})


def _let_in(request: HttpRequest, user: User) -> None:
    request.session.pop(HALF, None)
    login(request, user, backend=_BACKEND)


def _safe(request: HttpRequest, address: str) -> str:
    allowed = {request.get_host()}
    if address and url_has_allowed_host_and_scheme(address, allowed, require_https=request.is_secure()):
        return address
    return reverse("today")


def _person(request: HttpRequest) -> User:
    return User.objects.get(pk=cast(User, request.user).pk)


ask_name_and_password = AskNameAndPassword.as_view(
    template_name="workshop/sign_in.html",
    authentication_form=SignInForm,
    redirect_authenticated_user=True,
)
