"""People and their parts, links for those who come, and where everybody is signed in."""

from typing import Any

from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from inventory.compute.errors import WorkshopError
from workshop.models import Link, Member, Passkey, Role, SecondFactor, SignIn, SignInRule, Station
from workshop.people import members, sign_ins, stations
from workshop.people.forms import InviteForm, JoinForm, NewPasswordForm, PinForm, RoleForm, StationForm
from workshop.people.guessing import guesses
from workshop.people.members import LinkSpent, link_of, role_of
from workshop.people.rights import RIGHTS_OF, Right, in_words
from workshop.people.second import require_of_owners, take_second_away

_BACKEND = "django.contrib.auth.backends.ModelBackend"


@never_cache
def people(request: HttpRequest) -> HttpResponse:
    """Show who belongs to the workshop, open links, stations and wrong passwords."""
    return _people(request)


@require_POST
@never_cache
def invite(request: HttpRequest) -> HttpResponse:
    """Make a link for one person and show it once."""
    form = InviteForm(request.POST)
    if not form.is_valid():
        return _people(request, invite=form)
    secret = members.invite(
        form.cleaned_data["role"], what=form.cleaned_data["what"], at=timezone.now(), by=request.user
    )
    return _link_made(
        request,
        reverse("join", args=[secret]),
        _("Give this to {user}").format(user=form.cleaned_data["what"]),
    )


@require_POST
def end_link(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a link in no more."""
    get_object_or_404(Link, pk=pk)
    Link.objects.filter(pk=pk).open(timezone.now()).update(ends_at=timezone.now())
    messages.success(request, _("That link lets nobody in any more."))
    return redirect("people")


@require_POST
@never_cache
def member(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a member another role, a link to a new password, or let them leave or come back."""
    user = get_object_or_404(User, pk=pk)
    try:
        match request.POST.get("do"):
            case "role":
                form = RoleForm(request.POST)
                if form.is_valid():
                    members.give_role(user, form.cleaned_data["role"])
                    messages.success(
                        request,
                        _("{user} is {role} now.").format(
                            user=user, role=Role(form.cleaned_data["role"]).label
                        ),
                    )
            case "reset":
                secret = members.reset_link(user, at=timezone.now(), by=request.user)
                return _link_made(
                    request,
                    reverse("reset_password", args=[secret]),
                    _("Give this to {user}").format(user=user),
                )
            case "second":
                take_second_away(user)
                messages.success(
                    request,
                    _("{user} signs in with the password alone until they set another one up.").format(
                        user=user
                    ),
                )
            case "leave":
                members.leave(user, at=timezone.now())
                messages.success(
                    request, _("{user} has left and is signed out everywhere.").format(user=user)
                )
            case "back":
                members.come_back(user)
                messages.success(request, _("{user} may sign in again.").format(user=user))
            case _:
                messages.error(request, _("Nothing was chosen."))
    except WorkshopError as problem:
        messages.error(request, str(problem))
    return redirect("people")


@sensitive_post_parameters()
@never_cache
def join(request: HttpRequest, secret: str, purpose: str = Link.Purpose.JOIN) -> HttpResponse:
    """Make the account of whoever followed a link, and sign them in."""
    try:
        link = link_of(secret, purpose=purpose, at=timezone.now())
    except LinkSpent as problem:
        return render(request, "workshop/people/spent.html", {"problem": problem}, status=410)
    form = JoinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        name, password = form.cleaned_data["username"], form.cleaned_data["password1"]
        try:
            user = members.join(secret, name=name, password=password, purpose=purpose, at=timezone.now())
        except WorkshopError as problem:
            messages.error(request, str(problem))
            return redirect("sign_in")
        login(request, user, backend=_BACKEND)
        opened = purpose == Link.Purpose.OPEN
        welcome = (
            _("Welcome, {user}. The workshop is yours.") if opened else _("Welcome, {user}. You are in.")
        )
        messages.success(request, welcome.format(user=user))
        return redirect("today")
    may = in_words(RIGHTS_OF[Role(link.role)])
    return render(request, "workshop/people/join.html", {"form": form, "link": link, "may": may})


@sensitive_post_parameters()
@never_cache
def reset_password(request: HttpRequest, secret: str) -> HttpResponse:
    """Take a new password from whoever followed a link for it."""
    try:
        link = link_of(secret, purpose=Link.Purpose.RESET, at=timezone.now())
    except LinkSpent as problem:
        return render(request, "workshop/people/spent.html", {"problem": problem}, status=410)
    assert link.user is not None  # a reset is for somebody
    form = NewPasswordForm(link.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            members.reset_password(secret, password=form.cleaned_data["new_password1"], at=timezone.now())
        except LinkSpent as problem:
            messages.error(request, str(problem))
        else:
            messages.success(request, _("The new password is in force. Sign in with it."))
        return redirect("sign_in")
    return render(request, "workshop/people/reset.html", {"form": form, "name": link.user.get_username()})


def rights(request: HttpRequest) -> HttpResponse:
    """Show who may do what."""
    rows = [
        (in_words(right), [(role.label, RIGHTS_OF[role] >= right) for role in Role])
        for right in (Right.SEE, Right.STITCH, Right.PLAN, Right.OWN)
    ]
    return render(request, "workshop/people/rights.html", {"rows": rows, "roles": Role.labels})


@never_cache
def my_sign_ins(request: HttpRequest) -> HttpResponse:
    """Show where the person is signed in."""
    return render(
        request,
        "workshop/people/sign_ins.html",
        {
            "sign_ins": list(SignIn.objects.filter(user_id=request.user.pk or 0, ended_at__isnull=True)),
            "here": request.session.session_key,
        },
    )


@require_POST
def end_sign_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign one of the person's own devices out."""
    found = get_object_or_404(SignIn, pk=pk, user_id=request.user.pk)
    sign_ins.end_sign_in(found, at=timezone.now())
    messages.success(request, _("That device is signed out."))
    return redirect("my_sign_ins")


@require_POST
def end_anyones_sign_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign anybody's device out."""
    found = get_object_or_404(SignIn, pk=pk)
    sign_ins.end_sign_in(found, at=timezone.now())
    messages.success(request, _("That device of {user} is signed out.").format(user=found.user))
    return redirect("people")


@sensitive_post_parameters()
@never_cache
def my_pin(request: HttpRequest) -> HttpResponse:
    """Set the PIN by which the person chooses themselves at a station, or take it away."""
    form = PinForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            stations.set_pin(request.user, form.cleaned_data["pin"])  # type: ignore[arg-type]
        except WorkshopError as problem:
            form.add_error("pin", str(problem))
        else:
            messages.success(
                request, _("Your PIN is set.") if form.cleaned_data["pin"] else _("You have no PIN now.")
            )
            return redirect("preferences")
    return render(request, "workshop/people/pin.html", {"form": form})


@require_POST
@never_cache
def station_add(request: HttpRequest) -> HttpResponse:
    """Make this very browser the tablet of a machine: it carries the station's secret from now on."""
    form = StationForm(request.POST)
    if not form.is_valid():
        return _people(request, station=form)
    try:
        station, secret = stations.set_up_station(
            form.cleaned_data["name"],
            machine=form.cleaned_data["machine"],
            at=timezone.now(),
            by=request.user,
        )
    except WorkshopError as problem:
        form.add_error("name", str(problem))
        return _people(request, station=form)
    return _link_made(
        request,
        reverse("station_here", query={"let": secret}),
        _("Open this once on the tablet {station}; it stays signed in at {machine}").format(
            station=station, machine=station.machine
        ),
    )


@require_POST
def second_rule(request: HttpRequest) -> HttpResponse:
    """Say whether owners need a second factor; those without one are signed out and set it up first."""
    required = request.POST.get("required") == "yes"
    out = [str(user) for user in require_of_owners(required, at=timezone.now())]
    if required:
        told = (
            _("Owners need a second factor from now on. Signed out until they set it up: {names}.")
            if out
            else _("Owners need a second factor from now on.")
        )
        messages.success(request, told.format(names=", ".join(out)))
    else:
        messages.success(request, _("Owners may sign in with the password alone."))
    return redirect("people")


@require_POST
def station_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Let a station's tablet in no more."""
    station = get_object_or_404(Station, pk=pk)
    stations.end_station(station, at=timezone.now())
    messages.success(request, _("The tablet {station} is let in no more.").format(station=station))
    return redirect("people")


def _people(
    request: HttpRequest, *, invite: InviteForm | None = None, station: StationForm | None = None
) -> HttpResponse:
    roles = dict(Member.objects.values_list("user_id", "role"))
    everybody: list[dict[str, Any]] = [
        {"user": user, "role": roles.get(user.pk) or role_of(user)}
        for user in User.objects.order_by("-is_active", "username")
    ]
    return render(
        request,
        "workshop/people/people.html",
        {
            "members": everybody,
            "roles": Role.choices,
            "links": Link.objects.exclude(purpose=Link.Purpose.OPEN)
            .open(timezone.now())
            .select_related("user"),
            "sign_ins": list(SignIn.objects.filter(ended_at__isnull=True).select_related("user")[:50]),
            "stations": Station.objects.filter(ended_at__isnull=True).select_related("machine"),
            "invite": invite or InviteForm(),
            "station": station or StationForm(),
            "failures": guesses(timezone.now()),
            "owners_need_second": SignInRule.current().owners_need_second,
            "with_second": {
                *SecondFactor.objects.values_list("user_id", flat=True),
                *Passkey.objects.values_list("user_id", flat=True),
            },
        },
        status=422 if invite or station else 200,
    )


def _link_made(request: HttpRequest, path: str, what: str) -> HttpResponse:
    return render(
        request, "workshop/people/link.html", {"address": request.build_absolute_uri(path), "what": what}
    )
