"""Jobs: kept questions whose designs have places and whose pieces may have names."""

from uuid import uuid4

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.acting.days import near_day
from inventory.compute.errors import WorkshopError
from inventory.shelf.forms import new_key
from inventory.stocktakes.stocktakes import begin_items
from planning.cutting.outlook import waiting_outlooks
from planning.day.ahead import OpenJob, jobs_ahead
from planning.jobs.forms import JobForm, KeepForm, NamesForm, PlacedForm
from planning.jobs.jobs import (
    change_job,
    delete_job,
    list_names,
    make_job,
    place_design,
    plan_of,
)
from planning.jobs.pinning import ShadeChanges, change_pins
from planning.jobs.season import items_needed
from planning.library.designs import asked_from_record, designs_by_id
from planning.models import Job, PlacedDesign, Promise
from planning.plan.ask import chosen_machine, each_in_its_own_hooping, plan
from planning.plan.forms import QuestionForm
from planning.run.promise import shown_of
from planning.run.sound import corrected_since
from planning.views.plan.ask import plan_context

ENDED_SHOWN = 25
PER_PAGE = 50
# Of more open jobs, the day on which stabilizer runs out is worked out on its own page alone.
MOST_LOOKED_AHEAD = 100


@require_safe
def jobs(request: HttpRequest) -> HttpResponse:
    """Show the days to come by machine, the open jobs in the turn in which they claim stock, and those that ended."""
    now = timezone.now()
    today = timezone.localdate(now)
    ahead = jobs_ahead(today=today, units=request.units)  # type: ignore[attr-defined]
    page: Page[OpenJob] = Paginator(ahead.jobs, PER_PAGE).get_page(request.GET.get("page"))
    outlooks, _unclear = waiting_outlooks(at=now) if 0 < len(ahead.jobs) <= MOST_LOOKED_AHEAD else ([], [])
    shown = {
        "ahead": ahead,
        "today": today,
        "page_obj": page,
        "page_numbers": page.paginator.get_elided_page_range(page.number),
        "looked_ahead": len(ahead.jobs) <= MOST_LOOKED_AHEAD,
        "runs_out": next((each for each in outlooks if each.projection.run_out_on), None),
        "ended": list(Job.objects.ended().order_by("-ended_at")[:ENDED_SHOWN]) if page.number == 1 else [],
        "key": uuid4().hex,
    }
    return render(request, "planning/jobs.html", shown)


@require_http_methods(["GET", "HEAD", "POST"])
def keep_job(request: HttpRequest) -> HttpResponse:
    """Keep the question of a plan sheet as a job."""
    if request.method == "POST":
        form = KeepForm(request.POST)
        if form.is_valid():
            designs = designs_by_id([design.pk for design in form.cleaned_data["design"]])
            copies = form.cleaned_data["copies"]
            if copies == "most":
                asked = each_in_its_own_hooping([asked_from_record(design) for design in designs])
                copies = plan(asked, form.question()).copies_per_hooping
            job = make_job(
                form.wanted(copies=copies),
                designs=designs,
                at=timezone.now(),
                by=request.user,
                key=_key_of(request),
            )
            pins, left_out = request.GET.getlist("pin"), request.GET.getlist("exclude")
            try:
                change_pins(job, ShadeChanges(pin=pins, leave_out=left_out))
            except WorkshopError as problem:
                messages.error(
                    request, _("The job is kept without its pins. {problem}").format(problem=problem)
                )
            said = _("{job} is kept. Say how its designs lie on the piece, if there are several.")
            messages.success(request, said.format(job=job))
            return redirect("job", job.pk)
    else:
        form = KeepForm(initial=request.GET.dict() | {"design": request.GET.getlist("design")})
    shown = {"form": form, "asked": asked_in_words(request.GET), "key": request.POST.get("key") or new_key()}
    return render(request, "planning/keep_job.html", shown, status=422 if form.is_bound else 200)


def asked_in_words(address: QueryDict) -> str:
    """Return what the plan sheet asked, in one line, where its address still asks something that can be kept."""
    question = QuestionForm(address)
    if not question.is_valid():
        return ""
    given = question.cleaned_data
    designs = ", ".join(design.name for design in given["design"])
    parts = [
        f"{given['pieces']} × {designs}",
        *(str(given[each]) for each in ("fabric", "machine") if given[each]),
    ]
    if given["needed_on"]:
        parts.append(_("due {day}").format(day=near_day(given["needed_on"])))
    return " · ".join(parts)


def _key_of(request: HttpRequest) -> str:
    key = request.POST.get("key", "")[:60]
    return f"keep-{key}" if key else ""


@require_safe
def job(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a job with its plan against the shelf as it stands."""
    found = get_object_or_404(Job.objects.with_everything(), pk=pk)
    if found.state in (Job.State.PROMISED, Job.State.RUNNING):
        for told in corrected_since([found]):
            messages.warning(request, told)
    if not found.is_waiting or found.state == Job.State.RUNNING:
        return render(request, "planning/job_ended.html", {"job": found, "promise": _promise(found)})
    try:
        answer = plan_of(found)
    except WorkshopError as problem:
        return render(request, "planning/job_unclear.html", {"job": found, "problem": problem}, status=422)
    shown = plan_context(
        answer,
        units=request.units,  # type: ignore[attr-defined]
        machine=found.machine or chosen_machine(None),
        fabric=found.fabric,
        job=found,
        seen=request.GET,
    )
    lacking = answer.verdict in ("short", "unknown")
    return render(
        request,
        "planning/job.html",
        {
            "job": found,
            "promise": _promise(found),
            "earlier": _earlier(found),
            "lacking": lacking,
            "key": new_key(),
            "shown": shown_of(answer),
            **shown,
        },
    )


def _promise(job: Job) -> Promise | None:
    """The promise of a job with all that its record shows."""
    return Promise.objects.filter(job=job).prefetch_related("threads__spools__item").first()


def _earlier(job: Job) -> Promise | None:
    """The promise of the job that this one repeats, so that makers, codes and lots can be matched."""
    return _promise(job.repeats) if job.repeats_id and job.repeats else None


@require_http_methods(["GET", "HEAD", "POST"])
def edit_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Change the facts of a job, where its designs lie, and the names on its pieces: one form each."""
    found = get_object_or_404(Job.objects.with_everything(), pk=pk)
    sent = request.POST.get("form", "") if request.method == "POST" else ""
    facts = JobForm(request.POST if sent == "facts" else None, instance=found)
    places = [
        (
            each,
            PlacedForm(
                request.POST if sent == f"place-{each.pk}" else None, instance=each, prefix=f"p{each.pk}"
            ),
        )
        for each in found.placed.all()
    ]
    written = "\n".join(f"{each.text}: {each.design.name}" for each in found.names.all())
    names = NamesForm(request.POST if sent == "names" else None, initial={"names": written})
    if request.method == "POST" and _saved(found, sent, facts, places, names):
        messages.success(request, _("Changed."))
        return redirect("job", found.pk)
    return render(
        request,
        "planning/edit_job.html",
        {"job": found, "facts": facts, "places": places, "names": names},
        status=422 if sent else 200,
    )


def _saved(
    found: Job,
    sent: str,
    facts: JobForm,
    places: list[tuple[PlacedDesign, PlacedForm]],
    names: NamesForm,
) -> bool:
    """Return whether the form that was sent could be saved; if not, the form says why."""
    try:
        if sent == "facts" and facts.is_valid():
            # The form has written on its record already: what stands is read anew.
            change_job(Job.objects.get(pk=found.pk), facts.wanted())
            return True
        for placed, form in places:
            if sent == f"place-{placed.pk}" and form.is_valid():
                given = form.cleaned_data
                place_design(placed, form.placement, hooping=given["hooping"], order=given["order"])
                return True
        if sent == "names" and names.is_valid():
            list_names(found, names.cleaned_data["names"])
            return True
    except WorkshopError as problem:
        form_sent = {"facts": facts, "names": names} | {f"place-{each.pk}": form for each, form in places}
        form_sent[sent].add_error(None, str(problem))
    return False


@require_http_methods(["GET", "HEAD"])
def confirm_delete(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask before a job is deleted."""
    return render(request, "planning/delete_job.html", {"job": get_object_or_404(Job, pk=pk)})


@require_POST
def delete(request: HttpRequest, pk: int) -> HttpResponse:
    """Delete a draft."""
    found = get_object_or_404(Job, pk=pk)
    try:
        delete_job(found)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job", pk)
    messages.success(request, _("{job} is deleted; its designs are still kept.").format(job=found))
    return redirect("jobs")


@require_POST
def count_needed(request: HttpRequest) -> HttpResponse:
    """Begin a stocktake of only what the jobs need."""
    wanted = list(items_needed(*Job.WAITING))
    if not wanted:
        said = _("Nothing on the shelf is needed by these jobs, so there is nothing to count.")
        messages.error(request, said)
        return redirect("jobs")
    key = request.POST.get("key", "")[:60] or uuid4().hex
    begun = begin_items(wanted, what="what the open jobs need", key=key, at=timezone.now(), by=request.user)
    return redirect("stocktake", begun.pk)
