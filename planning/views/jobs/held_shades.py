"""Shades that a job holds on to, changed from its page."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from inventory.compute.errors import WorkshopError
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.jobs.pinning import ShadeChanges, change_pins, pin_all
from planning.models import Job
from planning.plan.pins import full_name, written_block, written_pin
from planning.views.plan.pins import chosen_pins, shade_words


@require_POST
def change_held(request: HttpRequest, pk: int) -> HttpResponse:
    """Pin, unpin, leave out or use again; the page then shows the rest chosen anew."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    sent = request.POST
    try:
        if "hold" in sent:
            pinned = pin_all(job)
            said = ngettext(
                "{number} colour is pinned for this job.", "{number} colours are pinned for this job.", pinned
            )
            messages.success(request, said.format(number=pinned))
        else:
            changes = ShadeChanges(
                pin=[*filter(None, sent.getlist("pin")), *chosen_pins(sent)],
                unpin=sent.getlist("unpin"),
                leave_out=sent.getlist("leave_out"),
                use_again=sent.getlist("use_again"),
            )
            change_pins(job, changes)
            messages.success(request, _("Done; the other colours are chosen anew around it."))
    except WorkshopError as problem:
        messages.error(request, str(problem))
    return redirect("job", job.pk)


def held_by(job: Job, plan: BatchPlan) -> dict[str, Any]:
    """Return what the page of ``job`` shows of its pins, by block as the plan writes them."""
    several = len(plan.designs) > 1
    places = {design.sha256: index for index, design in reversed(list(enumerate(plan.designs)))}
    held = []
    for each in job.pinned_shades.all():
        index = places.get(each.design.sha256)
        if index is not None:
            block = written_block((index, each.block), several=several)
            where = _("block {block}").format(block=block)
            held.append({"block": block, "where": where, "name": str(each.shade)})
    return {"held": held, "held_out": list(job.left_out_shades.all())}


def pin_acts(thread: PlannedThread, *, several: bool) -> dict[str, Any]:
    """Return what one colour of a job's plan offers: its runners-up to pin, its own shade to leave out."""
    shade = thread.choice.shade
    return {
        "is_pinned": thread.is_pinned and not thread.is_remembered,
        "runners_up": [
            {
                "name": shade_words(each.shade),
                "delta_e_00": each.delta_e_00,
                "written": written_pin(thread.blocks[0], each.shade, several=several),
            }
            for each in thread.runners_up
        ],
        "own": full_name(shade) if shade and (thread.is_remembered or not thread.is_pinned) else None,
    }
