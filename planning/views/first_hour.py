"""The first hour: a stitch file, the thread that is owned for it, what it is stitched on; the plan sheet answers."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from inventory.catalogue.in_own_words import own_bobbins, own_spool, shade_on_the_shelf
from inventory.compute.colour.neighbours import colours_beside
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.models import Spool, ThreadRange
from inventory.shelf.forms import new_key
from planning.compute.batch.plan import BatchPlan
from planning.first_hour.colours import FileColour, file_colours, last_named, next_open, pin_for
from planning.first_hour.forms import SettingForm, StitchFileForm, ThreadForm
from planning.first_hour.setting import keep_cloth, keep_hoop, keep_machine
from planning.first_hour.so_far import so_far_in_words
from planning.library.designs import asked_from_record, designs_by_id
from planning.library.uploads import keep_uploads
from planning.models import Design, Fabric, Hoop, Machine
from planning.models.jobs import MOST_PIECES
from planning.plan.ask import Question, asked_by, chosen_machine, each_in_its_own_hooping, plan_asked
from planning.plan.pins import NoSuchPin

# So many colours are asked for on one page: each brings all that can be said of a spool.
COLOURS_A_PAGE = 8
STEPS = (N_("Stitch file"), N_("Colours"), N_("Machine and hoop"), N_("The answer"))


@require_http_methods(["GET", "HEAD", "POST"])
def stitch_file(request: HttpRequest) -> HttpResponse:
    """Ask for one stitch file and the number of pieces."""
    form = StitchFileForm(request.POST or None, request.FILES or None)
    if request.method == "POST":
        form = StitchFileForm(request.POST, request.FILES)
        too_large = getattr(request, "upload_refused", "")
        if too_large:
            form.add_error("stitch_files", too_large)
        elif form.is_valid():
            given = form.cleaned_data
            kept, refusals = keep_uploads(
                given["stitch_files"][:1],
                trim_at_jumps=chosen_machine(None).trim_at_jumps,
                at=timezone.now(),
            )
            if kept:
                return redirect(_address("first_colours", kept[0], {"pieces": given["pieces"]}))
            form.add_error("stitch_files", refusals[0].reason)
    shown = {
        "form": form,
        "designs": Design.objects.listed().order_by("-added_at", "-id")[:6],
        "steps": _steps(1),
    }
    return render(request, "planning/first_file.html", shown, status=422 if form.is_bound else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def colours(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for each colour of the file which thread there is for it; each answer is kept at once."""
    design = get_object_or_404(Design, pk=pk)
    said = _said(request.GET)
    plan = _plan(design, said)
    rows = file_colours(plan, pins=said.getlist("pin"), left_out=_left_out(said))
    refused = None
    if request.method == "POST":
        asked = next((row for row in rows if str(row.number) == request.POST.get("block")), None)
        if asked is None:
            return redirect(request.get_full_path())
        if "no" in request.POST:
            return redirect(_after(design, said, rows, asked, left_out=True))
        form = _form(request, asked, data=request.POST)
        if form.is_valid():
            try:
                return redirect(_kept(request, design, said, rows, asked, form))
            except WorkshopError as problem:
                form.add_error(None, str(problem))
        refused = (asked.number, form)
    # Without an address of its own the first colour waits to be answered.
    open_row = next_open(rows)
    first = _initial(said, plan)
    pages = [rows[at : at + COLOURS_A_PAGE] for at in range(0, len(rows), COLOURS_A_PAGE)]
    asked_now = refused[0] if refused else open_row.number if open_row else 0
    page = _page("" if refused else request.GET.get("page", ""), pages, asked_now)
    shown = {
        "design": design,
        "page": page,
        "pages": [
            (number, each[0], each[-1], f"{_address('first_colours', design, said)}&page={number}")
            for number, each in enumerate(pages, 1)
        ],
        "rows": [
            (
                row,
                refused[1] if refused and refused[0] == row.number else _form(request, row, initial=first),
                _with_pin(design, said, rows, row),
            )
            for row in (pages[page - 1] if pages else ())
        ],
        "open": asked_now,
        "makers": sorted(set(ThreadRange.objects.values_list("maker", flat=True)))[:60],
        "onward": _address("first_machine", design, said),
        "steps": _steps(2),
        **_beside(request, design, said, plan, rows),
    }
    return render(request, "planning/first_colours.html", shown, status=422 if refused else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def machine(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask for machine, hoop and cloth, in words that need no handbook; any of them may stay open."""
    design = get_object_or_404(Design, pk=pk)
    said = _said(request.GET)
    units = request.units  # type: ignore[attr-defined]
    form = SettingForm(
        request.POST or None, design=design, units=units, initial={"key": new_key(), **_kept_setting(design)}
    )
    if request.method == "POST" and form.is_valid():
        return redirect(_answer(request, design, said, form))
    plan = _plan(design, said)
    rows = file_colours(plan, pins=said.getlist("pin"), left_out=_left_out(said))
    shown = {
        "design": design,
        "form": form,
        "hoops": list(zip(form["hoop"], [*form.hoops, None], strict=True)),
        "back": _address("first_colours", design, said),
        "steps": _steps(3),
        **_beside(request, design, said, plan, rows),
    }
    return render(request, "planning/first_machine.html", shown, status=422 if form.is_bound else 200)


def _kept(
    request: HttpRequest,
    design: Design,
    said: QueryDict,
    rows: list[FileColour],
    asked: FileColour,
    form: ThreadForm,
) -> str:
    """Keep the spool that was described and return where the next colour is asked for."""
    thread = form.said()
    there = shade_on_the_shelf(thread)
    which = form.cleaned_data["which"]
    if there is not None and not which:
        form.fields["which"].label = _("{shade} is on the shelf already").format(shade=there)
        form.add_error("which", _("Say whether it is that one, or another spool of the same thread."))
        raise WorkshopError(_("One question is left about this spool."))
    if there is not None and which == "same":
        shade = there
    else:
        spool = own_spool(thread, key=form.cleaned_data["key"], at=timezone.now(), by=request.user)
        shade = spool.shade
    return _after(design, said, rows, asked, pin=pin_for(asked.number, shade))


def _after(
    design: Design,
    said: QueryDict,
    rows: list[FileColour],
    asked: FileColour,
    *,
    pin: str = "",
    left_out: bool = False,
) -> str:
    """Return the address of the colours after ``asked`` was answered, at the next one that is open."""
    mine = {str(number) for number in asked.blocks}
    pins = [each for each in said.getlist("pin") if each.partition("=")[0].strip() not in mine]
    out = [each for each in said.getlist("no") if each not in mine]
    changed = said.copy()
    changed.setlist("pin", [*pins, pin] if pin else pins)
    changed.setlist("no", [*out, str(asked.number)] if left_out else out)
    waiting = next_open([row for row in rows if row.number != asked.number], after=asked.number)
    address = _address("first_colours", design, changed)
    if waiting is None:
        return f"{address}#onward"
    on_page = next(at for at, row in enumerate(rows) if row.number == waiting.number) // COLOURS_A_PAGE + 1
    page = f"&page={on_page}" if len(rows) > COLOURS_A_PAGE else ""
    return f"{address}{page}#colour-{waiting.number}"


def _page(said: str, pages: list[list[FileColour]], number: int) -> int:
    """Return the page that was asked for; otherwise that of the colour of this number, or the first."""
    if said.isdecimal() and 1 <= int(said) <= len(pages):
        return int(said)
    return next((at for at, rows in enumerate(pages, 1) if any(each.number == number for each in rows)), 1)


def _with_pin(design: Design, said: QueryDict, rows: list[FileColour], row: FileColour) -> str:
    """Return the address that takes the thread on the shelf for a colour; empty where none is near."""
    return _after(design, said, rows, row, pin=row.pin_of_nearest) if row.pin_of_nearest else ""


def _form(request: HttpRequest, row: FileColour, **options: Any) -> ThreadForm:
    beside = colours_beside(row.lab) if row.lab else {}
    units = request.units  # type: ignore[attr-defined]
    return ThreadForm(
        hex=row.hex, name=row.name, beside=beside, units=units, auto_id=f"id_{row.number}_%s", **options
    )


def _initial(said: QueryDict, plan: BatchPlan) -> dict[str, Any]:
    """Return what the next spool begins with: the maker, thickness and length of the one before."""
    before = last_named(said.getlist("pin"), plan)
    if before is None or before.choice.shade is None:
        return {}
    spool = Spool.objects.filter(shade=before.choice.shade.id).select_related("shade__range", "put_up").last()
    if spool is None:
        return {}
    kept = {"maker": spool.shade.range.maker, "weight_label": spool.shade.range.weight_label}
    if spool.put_up is not None:
        kept["full"] = str(spool.put_up.length_mm // 1000)
    return kept | {"fibre": spool.shade.range.fibre}


def _answer(request: HttpRequest, design: Design, said: QueryDict, form: SettingForm) -> str:
    """Keep what was answered and return the address of the plan sheet."""
    given, at, by = form.cleaned_data, timezone.now(), request.user
    fields: dict[str, Any] = {"design": design.pk, "pieces": said["pieces"]}
    if given["bobbins"]:
        own_bobbins(given["bobbin_size"] or "small", given["bobbins"], key=given["key"], at=at, by=by)
    hoop = None
    if given["hoop"] == "other":
        hoop = keep_hoop(width_mm=given["hoop_width"], height_mm=given["hoop_height"], at=at, by=by)
    elif "x" in given["hoop"]:
        width, _x, height = given["hoop"].partition("x")
        hoop = keep_hoop(width_mm=int(width), height_mm=int(height), at=at, by=by)
    elif given["hoop"]:
        hoop = Hoop.objects.get(pk=given["hoop"])
    kept = given["machine"].partition("kept-")[2]
    if kept:
        used = Machine.objects.get(pk=kept)
    elif given["machine"] or hoop is not None:
        needles = given["needles"] if given["machine"] == "several" else 1
        used = keep_machine(needles=needles, hoops=[hoop] if hoop else [], at=at, by=by)
    else:
        used = None
    cloth = given["cloth"].partition("kept-")[2]
    if cloth:
        fields["fabric"] = Fabric.objects.get(pk=cloth).pk
    elif given["cloth"]:
        fields["fabric"] = keep_cloth(form.chosen_starter, at=at, by=by).pk
    fields |= {"machine": used.pk} if used else {}
    fields |= {"hoop": hoop.pk} if hoop else {}
    pins = [("pin", pin) for pin in said.getlist("pin")]
    return f"{reverse('plan_sheet')}?{urlencode([*fields.items(), *pins])}"


def _kept_setting(design: Design) -> dict[str, str]:
    """Return what a workshop that has one machine, one cloth or a hoop that fits most likely means."""
    machines, hoops = list(Machine.objects.all()[:2]), Hoop.objects.smallest_first()
    fitting = [each for each in hoops if each.holds(width_mm=design.width_mm, height_mm=design.height_mm)]
    chosen = {"machine": f"kept-{machines[0].pk}"} if len(machines) == 1 else {}
    return chosen | ({"hoop": str(fitting[0].pk)} if fitting else {})


def _plan(design: Design, said: QueryDict) -> BatchPlan:
    """Return the plan for what was said so far; a thread that plans do not take is left out of it."""
    kept = designs_by_id([design.pk])
    asked = each_in_its_own_hooping([asked_from_record(each) for each in kept])
    pieces = int(str(said["pieces"]))
    pins = tuple(said.getlist("pin"))
    try:
        return plan_asked(asked_by(Question(pieces=pieces, pins=pins), asked), with_advice=False)
    except NoSuchPin:
        return plan_asked(asked_by(Question(pieces=pieces), asked), with_advice=False)


def _said(address: QueryDict) -> QueryDict:
    """Return what the address says of the batch, with a number of pieces that can be."""
    said = address.copy()
    pieces = said.get("pieces", "")
    said["pieces"] = pieces if pieces.isdecimal() and 1 <= int(pieces) <= MOST_PIECES else "12"
    return said


def _left_out(said: QueryDict) -> set[int]:
    return {int(number) for number in said.getlist("no") if number.isdecimal()}


def _address(name: str, design: Design, said: QueryDict | dict[str, Any]) -> str:
    fields = (
        [
            (field, value)
            for field, values in said.lists()
            if field in ("pieces", "pin", "no")
            for value in values
        ]
        if isinstance(said, QueryDict)
        else list(said.items())
    )
    return f"{reverse(name, args=[design.pk])}?{urlencode(fields)}"


def _steps(now: int) -> list[tuple[int, str, str]]:
    """Return the steps with whether each is done, now or still to come."""
    states = ("done", "now", "later")
    return [
        (number, _(name), states[(number > now) - (number < now) + 1]) for number, name in enumerate(STEPS, 1)
    ]


def _beside(
    request: HttpRequest, design: Design, said: QueryDict, plan: BatchPlan, rows: list[FileColour]
) -> dict[str, Any]:
    units = request.units  # type: ignore[attr-defined]
    return {"pieces": plan.pieces.ordered, "so_far": so_far_in_words(plan, rows, units=units)}
