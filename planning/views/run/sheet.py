"""The run sheet: on paper and on a phone beside the machine."""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_count, read_scale
from inventory.compute.spoken import listed
from inventory.compute.typed.sent_json import NotSoundJson, read_json
from inventory.compute.units import reader
from planning.cutting.cuts import cuts_posted
from planning.facts.layers import with_cautions
from planning.facts.needles import needle_due
from planning.models import Job, RunEvent
from planning.plan.appliques import appliques_said
from planning.run.again import blocks_of, note_told
from planning.run.looked_at import test_to_judge, test_wants_a_change
from planning.run.needle import needle_due_before
from planning.run.promise import machine_of
from planning.run.second_needle import name_needle
from planning.run.sheet import (
    advice,
    coming,
    marked_notes,
    running_stitch,
    sheet_rows,
    soon,
    threading_order,
    threads_are,
    what_changes,
)
from planning.run.sound import corrected_since
from planning.run.standing import Run, run_of, spools_to_swap_in
from planning.run.ticks import Happening, OnceMore, WhatIsLeft, stop_before_the_first, take_back

MOST_EVENTS = 500
SHOWN_EVENTS = 12
# As long as the address in a label's code may be.
MOST_SCANNED = 300


@require_safe
def run_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what is next at the machine, and all of it for paper."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    try:
        run = run_of(job)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job", job.pk)
    if job.state == Job.State.RUNNING:
        for told in corrected_since([job]):
            messages.warning(request, told)
    return render(request, "planning/run_sheet.html", _shown(run))


@require_POST
def happened(request: HttpRequest, pk: int) -> HttpResponse:
    """Note one thing that happened, as a form sends it."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    try:
        note_told(job, _from_form(request), at=timezone.now(), by=request.user)
    except (OnceMore, WhatIsLeft) as question:
        sent = [(name, request.POST[name]) for name in FIELDS if request.POST.get(name) and name != "ran_out"]
        asked = {"job": job, "problem": str(question), "ask": _ask(question), "sent": sent}
        return render(request, "planning/run_asked.html", asked, status=422)
    except WorkshopError as problem:
        messages.error(request, str(problem))
    return redirect("run_sheet", job.pk)


@require_POST
def happenings(request: HttpRequest, pk: int) -> JsonResponse:
    """Note what a phone collected, one after the other, each with its own key; sent twice it counts once."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    try:
        sent = read_json(request.body)["events"]
        if not isinstance(sent, list) or len(sent) > MOST_EVENTS:
            raise ValueError
    except NotSoundJson as problem:
        return JsonResponse({"problem": str(problem)}, status=400)
    except (ValueError, KeyError, TypeError):
        return JsonResponse({"problem": f"Send a list of at most {MOST_EVENTS} events."}, status=400)
    answers = []
    for each in sent:
        try:
            event = note_told(job, _from_data(each), at=timezone.now(), by=request.user)[-1]
        except WorkshopError as problem:
            key = each.get("key") if isinstance(each, dict) else None
            answers.append(
                {"key": key, "problem": str(problem)} | ({"ask": ask} if (ask := _ask(problem)) else {})
            )
        else:
            answers.append({"key": each["key"], "number": event.pk})
    return JsonResponse({"events": answers})


@require_safe
def run_state(request: HttpRequest, pk: int) -> JsonResponse:
    """Tell the last thing that was noted, so that a second device knows when to look anew."""
    job = get_object_or_404(Job.objects.only("state"), pk=pk)
    last = RunEvent.objects.filter(job=job).order_by("-id").values_list("id", flat=True).first()
    return JsonResponse({"last": last or 0, "state": job.state})


@require_POST
def take_back_event(request: HttpRequest, pk: int, event: int) -> HttpResponse:
    """Take back one thing that was noted."""
    found = get_object_or_404(RunEvent.objects.select_related("job__machine"), pk=event, job_id=pk)
    try:
        take_back(found, key=request.POST.get("key", "")[:40], at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, str(problem))
    else:
        messages.success(request, _("Taken back: {what}.").format(what=found.get_kind_display()))
    return redirect("run_sheet", pk)


@require_POST
def second_needle(request: HttpRequest, pk: int) -> HttpResponse:
    """Say on which needle a second spool is."""
    job = get_object_or_404(Job, pk=pk)
    typed = request.POST.get("needle", "").strip()
    try:
        name_needle(
            job,
            label=request.POST.get("label", "")[:24],
            needle=parse_count(typed) if typed else None,
            key=f"needle-{pk}-{request.POST.get('key', '')}"[:80],
            at=timezone.now(),
            by=request.user,
        )
    except WorkshopError as problem:
        messages.error(request, str(problem))
    return redirect("run_sheet", pk)


@require_POST
def not_begun(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back the beginning of a run in which nothing has happened."""
    job = get_object_or_404(Job, pk=pk)
    try:
        stop_before_the_first(job, at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("run_sheet", pk)
    return redirect("job", pk)


# How the back of a satin column is drawn: where the strip of bobbin thread begins in a column 60 wide, and its width.
BACKS = (
    (RunEvent.Showing.MORE, 10, 40),
    (RunEvent.Showing.THIRDS, 20, 20),
    (RunEvent.Showing.LESS, 27, 6),
)


def _ask(problem: WorkshopError) -> str:
    """Return what a person is asked where something was not noted: whether it was again, or what is left."""
    return {OnceMore: "again", WhatIsLeft: "left"}.get(type(problem), "")


def _shown(run: Run) -> dict[str, Any]:
    spare = spools_to_swap_in(run)
    left = run.left
    rows = sheet_rows(run)
    threads = threading_order(run, spare=spare)
    machine = machine_of(run.job)
    stitches, pieces_a_stitch = running_stitch(run)
    return {
        "job": run.job,
        "stitches": stitches,
        "pieces_a_stitch": pieces_a_stitch,
        "run": run,
        "promise": run.promise,
        "machine": machine,
        "position": left[0] if left else None,
        "called": run.called(left[0]) if left else "",
        "left": left,
        "done": len(run.done),
        "coming": [(listed(numbers), notes) for numbers, notes in coming(run, rows)],
        "soon": soon(run, rows),
        "threads": threads,
        "threads_are": threads_are(threads),
        "following": [
            (label, needle, each.record.name or each.record.code)
            for each in threads
            for needle, label in each.then
        ],
        "rows": rows,
        "marked": marked_notes(rows),
        "changing": what_changes(run),
        "last_position": rows[-1].position if rows else 0,
        "advice": advice(run, machine),
        "needle": needle_due(machine) if machine.pk else None,
        "needle_due_before": run.called(due) if (due := needle_due_before(run)) else "",
        "backs": [
            {"value": showing.value, "words": showing.label, "left": left, "width": width}
            for showing, left, width in BACKS
        ],
        "last_event": RunEvent.objects.filter(job=run.job)
        .order_by("-id")
        .values_list("id", flat=True)
        .first(),
        "appliques": appliques_said(
            run.promise.answer.get("applique", ()), several=len(run.promise.answer["designs"]) > 1
        ),
        "layers": with_cautions(run.promise.answer["stabilizer"]),
        "is_cut": bool(cuts_posted(run.job)),
        "events": [
            (event, run.called(event.position)) for event in list(reversed(run.events))[:SHOWN_EVENTS]
        ],
        "for_script": {
            "left": [
                {"position": row.position, "called": row.called, "notes": row.notes}
                for row in rows
                if row.position in run.left_with_spares
            ],
            "wanted": len(left),
            "tests": run.promise.tests,
            "done": len(run.done),
        },
        "to_judge": run.called(judge) if (judge := test_to_judge(run)) else "",
        "judge_position": judge,
        "to_change": test_wants_a_change(run),
        "keys": [uuid4().hex for _each in range(9)],
        "parts": _parts(run),
        "key": uuid4().hex,
        "is_running": run.job.state == Job.State.RUNNING,
    }


def _parts(run: Run) -> list[tuple[int, str, list[int], int]]:
    """Return the designs of a piece, each with its number, its name, its blocks and how many stitches it has."""
    found = []
    for number, design in enumerate(run.promise.answer["designs"], 1):
        blocks = blocks_of(run, number)
        if blocks:
            numbers = [each.number for each in blocks]
            found.append((number, design["name"], numbers, sum(each.stitches for each in blocks)))
    return found


FIELDS = (
    "kind", "key", "position", "thread", "label", "share", "ran_out", "left", "gross", "again", "showing", "note",
    "instead_of", "test_verdict", "design", "block", "from_stitch", "to_stitch",
)  # fmt: skip


def _tapped(sent: Any) -> datetime | None:
    """Return when a device says that it was tapped: milliseconds since 1970."""
    if not isinstance(sent, int | float) or isinstance(sent, bool):
        return None
    return datetime.fromtimestamp(sent / 1000, tz=UTC)


def _from_form(request: HttpRequest) -> Happening:
    return _from_data({name: request.POST.get(name) for name in FIELDS})


def _from_data(sent: Any) -> Happening:
    if not isinstance(sent, dict):
        raise WorkshopError(_("This was not understood. Open the run sheet again and repeat the step."))

    def whole(name: str) -> int | None:
        return int(sent[name]) if sent.get(name) not in (None, "") else None

    try:
        return Happening(
            kind=str(sent.get("kind") or ""),
            key=str(sent.get("key") or "")[:40],
            position=whole("position"),
            thread=whole("thread"),
            label=str(sent.get("label") or "")[:MOST_SCANNED],
            share=float(sent.get("share") or 1.0),
            ran_out=sent.get("ran_out") in (True, "yes", "on"),
            left=str(sent.get("left") or "")[:10],
            gross=read_scale(str(sent["gross"])[:40], unit=reader().weight) if sent.get("gross") else None,
            again=sent.get("again") in (True, "yes", "on"),
            tapped_at=_tapped(sent.get("tapped_at")),
            showing=str(sent.get("showing") or "")[:10],
            test_verdict=str(sent.get("test_verdict") or "")[:10],
            note=str(sent.get("note") or "")[:200],
            instead_of=str(sent.get("instead_of") or "")[:MOST_SCANNED],
            design=whole("design") or 1,
            block=whole("block"),
            from_stitch=whole("from_stitch"),
            to_stitch=whole("to_stitch"),
        )
    except WorkshopError:
        raise
    except (TypeError, ValueError, OverflowError, OSError):
        raise WorkshopError(
            _("This was not understood. Open the run sheet again and repeat the step.")
        ) from None
