"""What a tablet at a machine shows of itself: who is stitching, and the jobs of its machine."""

from datetime import timedelta

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from inventory.compute.errors import WorkshopError
from planning.models import Job
from workshop.models import Station
from workshop.people import stations
from workshop.people.guard import CHOSEN, CHOSEN_AT
from workshop.people.stations import STATION_COOKIE


@never_cache
def station_here(request: HttpRequest) -> HttpResponse:
    """Take the station's secret from its link once; after that, ask who is stitching."""
    secret = request.GET.get("let", "")
    if secret:
        return _let_in(request, secret)
    station: Station | None = request.station or None  # type: ignore[attr-defined]
    if station is None:
        return render(request, "workshop/people/no_station.html", status=403)
    Station.objects.filter(pk=station.pk).update(seen_at=timezone.now())
    chosen = request.session.get(CHOSEN)
    everybody = stations.people_at_stations()
    return render(
        request,
        "workshop/people/station.html",
        {
            "station": station,
            "everybody": everybody,
            "chosen": next((each for each in everybody if each.pk == chosen), None),
            "jobs": [
                job
                for job in Job.objects.filter(state=Job.State.RUNNING).order_by("pk")
                if job.machine_id in (None, station.machine_id)
            ],
        },
    )


@require_POST
@sensitive_post_parameters()
@never_cache
def choose_person(request: HttpRequest) -> HttpResponse:
    """Take the PIN of whoever stands at the tablet."""
    if not request.station:  # type: ignore[attr-defined]
        return redirect("sign_in")
    try:
        number = request.POST.get("person", "")
        person = stations.choose_person(
            int(number) if number.isdecimal() and len(number) < 10 else 0,
            request.POST.get("pin", ""),
            at=timezone.now(),
        )
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("station_here")
    request.session.cycle_key()
    request.session[CHOSEN], request.session[CHOSEN_AT] = person.pk, timezone.now().timestamp()
    messages.success(request, _("{person} is stitching.").format(person=person))
    return redirect("station_here")


@require_POST
def let_go_person(request: HttpRequest) -> HttpResponse:
    """Forget who is stitching at this tablet."""
    request.session.pop(CHOSEN, None)
    return redirect("station_here" if request.station else "sign_in")  # type: ignore[attr-defined]


def _let_in(request: HttpRequest, secret: str) -> HttpResponse:
    if request.user.is_authenticated:
        messages.error(request, _("Sign out first: a tablet at a machine belongs to nobody."))
        return redirect("preferences")
    let_in = stations.let_tablet_in(secret)
    if let_in is None:
        return render(request, "workshop/people/no_station.html", status=403)
    response = redirect("station_here")
    response.set_cookie(
        STATION_COOKIE, let_in[1], max_age=timedelta(days=400), httponly=True, samesite="Lax",
        secure=request.is_secure(), path=settings.SESSION_COOKIE_PATH,
    )  # fmt: skip
    return response
