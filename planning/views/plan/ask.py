"""Today: ask whether there is enough; the plan sheet answers."""

from collections.abc import Hashable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.compute.colour.seen import difference_seen
from inventory.compute.errors import WorkshopError
from inventory.compute.left_out import left_out_in_words
from inventory.compute.spoken import as_written_here
from inventory.compute.spraying import USUAL_COAT_G_M2
from inventory.compute.units import Units, told_area_weight
from inventory.models import Spool
from inventory.shelf.forms import new_key
from planning.compute.batch.copies_compared import CopiesOption
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.stabilizer.cautions import each_once
from planning.day.agenda import agenda
from planning.facts.recipes import densest, worked_before
from planning.library.designs import asked_from_record, designs_by_id
from planning.library.pictures import plan_pictures
from planning.library.uploads import Refusal, keep_uploads
from planning.models import Design, Fabric, Job, Machine, Rules, Strictness
from planning.plan.appliques import appliques_as_data
from planning.plan.ask import chosen_machine, each_in_its_own_hooping, plan
from planning.plan.banner import banner_of
from planning.plan.data import on_order_rows, shopping_rows
from planning.plan.forms import AskForm, QuestionForm
from planning.plan.json_keys import PLAN, READ_DESIGN, SHADE
from planning.plan.settling import look_first_in_words
from planning.plan.words import (
    answer_in_words,
    asked_name,
    between_in_words,
    colour_word,
    instead_in_words,
    pins_to_type,
    shown_verdict,
)
from planning.views.jobs.held_shades import held_by, pin_acts
from planning.views.plan.pins import (
    left_out,
    opened_first,
    pin_links,
    shades_to_choose,
    to_keep,
    to_remember,
    with_choices,
)
from planning.views.plan.seen import pictures_seen, viewers
from planning.views.plan.shown import fold_lines, found_context, lasting_rows, plan_folds
from planning.views.plan.ways import ways_on

RECENT = 12
# Beside a busy day stand the newest of them; the library has all.
FEW = 3
# What an address says of shades, and of which designs it was said, where a question is changed.
PIN_FIELDS, PINNED_FOR = ("pin", "exclude"), "pinned_for"
# A page lists so many rethreads; from there on the hoopings repeat themselves.
MOST_RETHREADS = 60
# So many jobs at machines have a picture each; of more, the first two, and the others a row.
MOST_CARDS = 3


@require_http_methods(["GET", "HEAD", "POST"])
def today(request: HttpRequest) -> HttpResponse:
    """Ask the question: stitch files or kept designs, pieces, fabric, machine."""
    refusals: list[Refusal] = []
    kept: list[Design] = []
    if request.method == "POST":
        form = AskForm(request.POST, request.FILES)
        too_large = getattr(request, "upload_refused", "")
        if too_large:
            form.add_error("stitch_files", too_large)
        elif form.is_valid():
            given = form.cleaned_data
            machine = given["machine"] or chosen_machine(None)
            kept, refusals = keep_uploads(
                given["stitch_files"], trim_at_jumps=machine.trim_at_jumps, at=timezone.now()
            )
            designs = [*given["design"], *kept]
            if not refusals:
                return redirect(sheet_address(form, designs, pins=_pins_kept(request.POST, designs)))
            for refusal in refusals:
                form.add_error("stitch_files", refusal.reason)
    else:
        form = AskForm(initial=request.GET.dict() | {"design": request.GET.getlist("design")})
    chosen = {str(each) for each in form["design"].value() or []} | {str(design.pk) for design in kept}
    # What was asked and not understood is put right before the day goes on.
    day = {} if form.is_bound else _day(request)
    busy = bool(day) and not day["agenda"].is_empty
    return render(
        request,
        "planning/today.html",
        {
            "form": form,
            "recent": _to_tick(chosen, most=FEW if busy else RECENT),
            "is_part": busy,
            "chosen": chosen,
            "refusals": refusals,
            "pins": _pins(request),
            **day,
        },
        status=422 if form.is_bound else 200,
    )


def _day(request: HttpRequest) -> dict[str, Any]:
    today = timezone.localdate()
    asked = agenda(today=today, units=request.units)  # type: ignore[attr-defined]
    running = [(each, new_key()) for each in asked.running]
    cards = running if len(running) <= MOST_CARDS else running[:2]
    return {
        "agenda": asked,
        "today": today,
        "running": running,
        "cards": cards,
        "rows": running[len(cards) :],
        "nothing_owned": asked.is_empty and not Spool.objects.on_the_shelf().exists(),
    }


def _to_tick(chosen: set[str], *, most: int) -> list[Design]:
    """Return the designs to tick: those that are chosen, however old, and then the newest ones."""
    listed = Design.objects.listed().order_by("-added_at", "-id")
    ticked = list(listed.filter(pk__in=[pk for pk in chosen if pk.isdecimal()]))
    return ticked + list(listed.exclude(pk__in=[design.pk for design in ticked])[:most])


def _pins(request: HttpRequest) -> list[tuple[str, str]]:
    """Return what the question's address pins and leaves out, and which designs that was said of."""
    sent = request.POST if request.method == "POST" else request.GET
    pins = [(name, value) for name in PIN_FIELDS for value in sent.getlist(name) if value]
    if not pins:
        return []
    of = sent.get(PINNED_FOR) or ",".join(sent.getlist("design"))
    return [*pins, (PINNED_FOR, of)]


def _pins_kept(sent: QueryDict, designs: list[Design]) -> list[tuple[str, str]]:
    """Return the pins of a question that was changed, as long as it asks for the same designs: they name blocks."""
    if set(sent.get(PINNED_FOR, "").split(",")) != {str(design.pk) for design in designs}:
        return []
    return [(name, value) for name in PIN_FIELDS for value in sent.getlist(name) if value]


def sheet_address(form: QuestionForm, designs: list[Design], *, pins: Sequence[tuple[str, str]] = ()) -> str:
    """Return the address of the plan sheet that answers the form for ``designs``."""
    given = form.cleaned_data
    fields: list[tuple[str, object]] = [("design", design.pk) for design in dict.fromkeys(designs)]
    fields += [("pieces", given["pieces"])]
    fields += [(name, given[name].pk) for name in ("fabric", "machine", "hoop") if given[name]]
    fields += [("tests", given["tests"])] if given["tests"] is not None else []
    fields += [("copies", given["copies"])] if given["copies"] != 1 else []
    fields += [("needed_on", given["needed_on"].isoformat())] if given["needed_on"] else []
    fields += [("strictness", given["strictness"])] if given["strictness"] != Strictness.PICTURE else []
    return f"{reverse('plan_sheet')}?{urlencode([*fields, *pins])}"


@require_safe
def plan_sheet(request: HttpRequest) -> HttpResponse:
    """Answer the question in the page's address; nothing is saved, so the page can be kept and sent."""
    chosen = with_choices(request.GET)
    if chosen is not None:
        return redirect(f"{reverse('plan_sheet')}{chosen}")
    form = QuestionForm(request.GET)
    if not form.is_valid():
        return render(request, "planning/question_unclear.html", {"form": form}, status=422)
    designs = designs_by_id([design.pk for design in form.cleaned_data["design"]])
    try:
        asked = each_in_its_own_hooping([asked_from_record(design) for design in designs])
        pinned = replace(
            form.question(),
            pins=tuple(filter(None, request.GET.getlist("pin"))),
            exclude=tuple(request.GET.getlist("exclude")),
        )
        answer = plan(asked, pinned)
    except WorkshopError as problem:
        return render(
            request, "planning/question_unclear.html", {"form": form, "problem": problem}, status=422
        )
    shown = plan_context(
        answer,
        units=request.units,  # type: ignore[attr-defined]
        machine=form.cleaned_data["machine"] or chosen_machine(None),
        fabric=form.cleaned_data["fabric"],
        address=request.GET,
    )
    return render(request, "planning/plan_sheet.html", shown)


def plan_context(
    plan: BatchPlan,
    *,
    units: Units,
    machine: Machine,
    fabric: Fabric | None,
    address: QueryDict | None = None,
    job: Job | None = None,
    seen: QueryDict | None = None,
) -> dict[str, Any]:
    """Return what a page that shows a plan needs.

    With the ``address`` that asks come links that change the shades; with the ``job``, buttons that change what it
    holds on to. ``seen`` is the address that may name whose eyes the pictures are for.
    """
    looking = seen if seen is not None else address if address is not None else QueryDict()
    several = len(plan.designs) > 1
    bare = [thread for thread in plan.threads if not thread.is_asked]
    told = [warning for design in plan.designs for warning in design.graded_warnings]
    rows = [
        thread_row(thread, several=several) | {"remember": to_remember(thread, plan)}
        for thread in plan.threads
    ]
    banner, shopping = banner_of(plan), [_with_day(row) for row in shopping_rows(plan)]
    appliques = appliques_as_data(plan.designs)
    pictures = pictures_seen(plan_pictures(plan), looking.get("seen") or "")
    grave = [
        f"{design.name}: {warning.text}"
        for design in plan.designs
        for warning in design.graded_warnings
        if warning.is_grave
    ]
    by_number: dict[Hashable, dict[str, Any]] = dict(enumerate(rows))

    def pins(thread: PlannedThread) -> dict[str, Any] | None:
        if job is not None:
            return pin_acts(thread, several=several)
        return pin_links(thread, address, several=several) if address else None

    return {
        **(held_by(job, plan) if job is not None else {}),
        "banner": banner,
        "ways": ways_on(plan, banner, units=units, address=address, job=job),
        "lasting": lasting_rows(plan, banner, units=units),
        "folds": plan_folds(
            fold_lines(plan, banner, shopping=shopping, notes=len(plan.notes) + len(told), units=units),
            grave=grave,
            pictures=bool(pictures),
            appliques=bool(appliques),
            unfolded=_unfolded(looking, address, job),
        ),
        **found_context(plan, banner, machine=machine, fabric=fabric, units=units),
        "look_first": [(each, look_first_in_words(each)) for each in plan.look_first],
        "instead": [
            instead_in_words(each, currency=plan.cost.currency, now=plan.verdict) for each in plan.instead
        ],
        "left_out": left_out(address) if address else [],
        "not_considered": left_out_in_words(plan.left_out),
        "choose": opened_first(
            [
                shades_to_choose(thread, units, number=number, of=len(bare), several=several)
                for number, thread in enumerate(bare, 1)
            ]
        )
        if job is None or job.state == Job.State.DRAFT
        else [],
        "choose_fields": [
            (name, value) for name, values in (address or QueryDict()).lists() for value in values if value
        ],
        "pins_to_type": pins_to_type(plan),
        "to_keep": to_keep(plan),
        "pinned_here": bool(address and (address.getlist("pin") or address.getlist("exclude"))),
        "plan": plan,
        "pictures": pictures,
        "viewers": viewers(looking),
        "answer": answer_in_words(plan, units=units),
        "threads": [row | {"pins": pins(row["thread"])} for row in rows],
        "differences": [row for row in rows if row["seen"]],
        "grave": grave,
        "informed": not all(warning.is_grave for warning in told),
        "shopping": shopping,
        "on_order": [
            row | {"day": date.fromisoformat(row["comes_on"]) if row["comes_on"] else None}
            for row in on_order_rows(plan)
        ],
        "today": timezone.localdate(),
        "machine": machine,
        "fabric": fabric,
        "worked": worked_before(
            fabric,
            density=max(map(densest, plan.designs), default=0.0),
            designs=[design.sha256 for design in plan.designs],
            limit=3,
        )
        if fabric
        else [],
        "appliques": appliques,
        "layer_cautions": each_once(layer.cautions for layer in plan.stabilizer if layer.kind != "fabric"),
        "needles": [(needle, by_number[thread]) for needle, thread in plan.needles.start.items()],
        "second_needles": [
            {"change": each, "row": by_number[each.end.thread]}
            for each in plan.spool_changes
            if each.is_ready
        ][:MOST_RETHREADS],
        "spool_stops": sum(each.stops for each in plan.spool_changes),
        "rethreads": [
            {"change": each, "off": by_number[each.off], "on": by_number[each.on]}
            for each in plan.needles.rethreads[:MOST_RETHREADS]
        ],
        "copies": [_copies_row(option, plan, address) for option in plan.copies],
    }


def _unfolded(looking: QueryDict, address: QueryDict | None, job: Job | None) -> set[str]:
    """Return the folds in which a person has just changed something."""
    held = bool(job and (job.pinned_shades.exists() or job.left_out_shades.exists()))
    said = bool(address and (address.getlist("pin") or address.getlist("exclude")))
    return ({"pictures"} if looking.get("seen") else set()) | ({"threads"} if held or said else set())


def _copies_row(option: CopiesOption, plan: BatchPlan, address: QueryDict | None) -> dict[str, Any]:
    """Return one line of the comparison, its stabilizer as a share of the first line's, and a link to plan so."""
    one_up = plan.copies[0].stabilizer_mm2
    asked = None
    if address is not None and not option.is_planned:
        changed = address.copy()
        changed["copies"] = str(option.copies)
        asked = f"?{changed.urlencode()}"
    return {
        "option": option,
        "share": option.stabilizer_mm2 / one_up if one_up else None,
        "href": asked,
    }


def thread_row(thread: PlannedThread, *, several: bool) -> dict[str, Any]:
    """Return one colour as the page shows it: words beside every swatch, a dash where nothing is known."""
    shade = thread.choice.shade
    return {
        "thread": thread,
        "blocks": ", ".join(
            f"{design + 1}.{number}" if several else str(number) for design, number in thread.blocks
        ),
        "asked_name": asked_name(thread),
        "asked_detail": thread.hex if thread.name else "",
        "chosen_hex": shade.hex if shade else None,
        "chosen_name": (shade.name or shade.code) if shade else _("No thread chosen"),
        "chosen_detail": f"{shade.maker} {shade.range} · {shade.code}" if shade else "",
        "free_mm": None if thread.verdict == "unknown" else thread.free_mm,
        "verdict": shown_verdict(thread),
        # What stands beside the verdict: how the thread stands for the colour that the file wishes for.
        "colour_word": _(colour_word(thread))
        if thread.is_pinned or (thread.given_up and thread.given_up.word != "near")
        else "",
        "colour_text": thread.given_up.text if thread.given_up and thread.given_up.buy else "",
        "between": between_in_words(thread.choice),
        "seen": "" if thread.choice.delta_e_00 is None else difference_seen(thread.choice.delta_e_00),
        "sure": None if thread.verdict == "unknown" else thread.p_enough,
    }


def _with_day(row: dict[str, Any]) -> dict[str, Any]:
    return row | {
        "order_by_day": date.fromisoformat(row["order_by"]) if row["order_by"] else None,
        "total_said": as_written_here(row["total"]) if row["total"] else "",
    }


@require_safe
def json_keys(request: HttpRequest) -> HttpResponse:
    """List every key of the JSON that commands answer with."""
    tables = (
        (_("plan and plan_job"), PLAN),
        (_("a shade, wherever one stands"), SHADE),
        ("read_design", READ_DESIGN),
    )
    return render(request, "planning/json_keys.html", {"tables": tables})


@require_safe
def help_page(request: HttpRequest) -> HttpResponse:
    """Explain how the answer is found, with the workshop's own settings."""
    return render(
        request,
        "planning/help.html",
        {"rules": Rules.current(), "usual_coat": told_area_weight(USUAL_COAT_G_M2)},
    )
