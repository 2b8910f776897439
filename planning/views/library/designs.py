"""Designs: the list, one design, and what a person says of it."""

import io
from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.kept_files import DamagedFile, FileNotKept, read_kept
from planning.library.colours import known_shades
from planning.library.designs import asked_from_record, designs_by_id, kept_file
from planning.library.folders import MOST_NAMED, folders_of
from planning.library.forms import DescribeForm, SearchForm, StitchOutForm
from planning.library.photos import MOST_BYTES, photo_bytes
from planning.library.pictures import PlanPicture, plan_pictures
from planning.library.search import (
    delete_design,
    describe_design,
    find_designs,
    mark_favourite,
    note_stitch_out,
    threads_of,
    what_needs,
    with_what_a_list_shows,
)
from planning.library.variants import all_variants, join, near_duplicates, plan_with, set_apart
from planning.models import Design, StitchOutNote
from planning.plan.ask import Question, plan

PER_PAGE = 24


@require_safe
def designs(request: HttpRequest) -> HttpResponse:
    """List the library, narrowed to what the address asks for."""
    asks = any(value for name, value in request.GET.items() if name != "page")
    book = known_shades() if request.GET.get("colour", "").strip() else None
    form = SearchForm(request.GET if asks else None, book=book)
    if asks and not form.is_valid():
        found = Design.objects.none()
    else:
        found = with_what_a_list_shows(find_designs(form.wanted() if asks else SearchForm.anything()))
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "planning/designs.html",
        {
            "form": form,
            "page_obj": page,
            "page_numbers": page.paginator.get_elided_page_range(page.number, on_each_side=1),
            "rows": _rows(page),
            "asks": asks,
            "any_kept": page.paginator.count > 0 or Design.objects.exists(),
        },
        status=422 if asks and form.errors else 200,
    )


def _rows(page: Iterable[Design]) -> list[dict[str, Any]]:
    designs = list(page)
    folders = folders_of(designs)
    return [
        {
            "design": design,
            "formats": list(dict.fromkeys([design.format, *(each.format for each in design.variants.all())])),
            "blocks": list(design.blocks.all()),
            "folders": folders.get(design.pk, [])[:MOST_NAMED],
        }
        for design in designs
    ]


@require_safe
def design(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one design: its facts, its stops or its threads, its formats, and what stitch-outs showed."""
    found = get_object_or_404(Design, pk=pk)
    return _design_page(request, found, StitchOutForm())


def _design_page(
    request: HttpRequest, found: Design, note_form: StitchOutForm, *, status: int = 200
) -> HttpResponse:
    blocks = list(found.blocks.select_related("shade__range"))
    return render(
        request,
        "planning/design.html",
        {
            "design": found,
            "blocks": blocks,
            "threads": threads_of(blocks),
            "view": "threads" if request.GET.get("view") == "threads" else "stops",
            "by_hand": any(block.chosen_by_hand or block.same_thread for block in blocks),
            "uncoloured": sum(not block.hex for block in blocks),
            "appliques": found.appliques.select_related("product").prefetch_related("stops"),
            "variants": all_variants(found),
            "alike": near_duplicates(found),
            "folders": folders_of([found]).get(found.pk, ()),
            "tags": found.tags.all(),
            "stitch_outs": found.stitch_outs.select_related("by"),
            "note_form": note_form,
            "owned": _in_own_threads(designs_by_id([found.pk])[0])
            if request.GET.get("owned") == "yes"
            else None,
        },
        status=status,
    )


def _in_own_threads(found: Design) -> PlanPicture | None:
    """Return the design in the threads that a plan for one piece would choose from the shelf."""
    answer = plan([asked_from_record(found)], Question(pieces=1, tests=0))
    return next(iter(plan_pictures(answer)), None)


@require_http_methods(["GET", "HEAD", "POST"])
def design_describe(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a design's name, tags and favourite mark."""
    found = get_object_or_404(Design, pk=pk)
    if request.method == "POST":
        form = DescribeForm(request.POST)
        if form.is_valid():
            try:
                describe_design(found, **form.cleaned_data)
            except WorkshopError as problem:
                form.add_error("tags", str(problem))
            else:
                messages.success(request, "Changed.")
                return redirect("design", found.pk)
    else:
        form = DescribeForm(
            initial={
                "name": found.name,
                "tags": ", ".join(tag.name for tag in found.tags.all()),
                "favourite": found.favourite,
            }
        )
    return render(
        request,
        "planning/design_describe.html",
        {"design": found, "form": form},
        status=422 if form.is_bound else 200,
    )


@require_POST
def design_favourite(request: HttpRequest, pk: int) -> HttpResponse:
    """Mark a design as a favourite, or no longer."""
    found = get_object_or_404(Design, pk=pk)
    mark_favourite(found, favourite=request.POST.get("favourite") == "yes")
    return redirect("design", found.pk)


@require_POST
def design_note(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep the note of a test stitch-out."""
    found = get_object_or_404(Design, pk=pk)
    form = StitchOutForm(request.POST, request.FILES)
    if not form.is_valid():
        return _design_page(request, found, form, status=422)
    photo = form.cleaned_data.pop("photo")
    try:
        content = photo.read(MOST_BYTES + 1) if photo else b""
        note_stitch_out(found, **form.cleaned_data, photo=content, by=request.user)
    except WorkshopError as problem:
        form.add_error("photo", str(problem))
        return _design_page(request, found, form, status=422)
    messages.success(request, _("The note is kept."))
    return redirect(f"{reverse('design', args=[found.pk])}#stitch-outs")


@require_safe
@cache_control(private=True, max_age=31_536_000, immutable=True)
def stitch_out_photo(request: HttpRequest, note: int, sha256: str) -> HttpResponse:
    """Send the photograph of a stitch-out; its address names its content, so that a browser keeps it."""
    get_object_or_404(StitchOutNote, pk=note, photo=sha256)
    try:
        return HttpResponse(photo_bytes(sha256), content_type="image/jpeg")
    except (FileNotKept, DamagedFile) as problem:
        return HttpResponse(str(problem), status=404, content_type="text/plain; charset=utf-8")


@require_POST
def design_note_delete(request: HttpRequest, pk: int, note: int) -> HttpResponse:
    """Delete one note of a test stitch-out."""
    found = get_object_or_404(Design, pk=pk)
    get_object_or_404(found.stitch_outs, pk=note).delete()
    messages.success(request, _("The note is deleted."))
    return redirect(f"{reverse('design', args=[found.pk])}#stitch-outs")


@require_safe
def design_file(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Hand out the stitch file as it came."""
    found = get_object_or_404(Design, pk=pk)
    try:
        content = read_kept(kept_file(found))
    except FileNotKept as problem:
        raise Http404(str(problem)) from None
    except DamagedFile as problem:
        messages.error(request, str(problem))
        return redirect("design", found.pk)
    return FileResponse(
        io.BytesIO(content),
        as_attachment=True,
        filename=found.file_name,
        content_type="application/octet-stream",
    )


@require_http_methods(["GET", "HEAD", "POST"])
def design_delete(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask before a design is deleted, and delete it."""
    found = get_object_or_404(Design, pk=pk)
    if request.method == "POST":
        name = found.name
        try:
            delete_design(found)
        except WorkshopError as problem:
            messages.error(request, str(problem))
            return redirect("design", found.pk)
        messages.success(request, _("{name} is deleted.").format(name=name))
        return redirect("designs")
    return render(
        request,
        "planning/design_delete.html",
        {"design": found, "needed_by": what_needs(found), "others": len(all_variants(found)) - 1},
    )


@require_POST
def design_plan_with(request: HttpRequest, pk: int) -> HttpResponse:
    """Let plans use this variant from now on."""
    found = get_object_or_404(Design, pk=pk)
    plan_with(found)
    messages.success(
        request,
        _("Plans use the {format} file from now on. Jobs that were kept before go on with theirs.").format(
            format=found.format
        ),
    )
    return redirect("design", found.pk)


@require_POST
def design_join(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a design a variant of another that holds nearly the same stitches."""
    found = get_object_or_404(Design, pk=pk)
    first = get_object_or_404(Design, pk=request.POST.get("with") or 0)
    try:
        join(found, first)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("design", found.pk)
    messages.success(
        request,
        _("{name} ({format}) is kept beside {other}, which plans use.").format(
            name=found.name, format=found.format, other=first.name
        ),
    )
    return redirect("design", first.pk)


@require_POST
def design_set_apart(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a variant a design of its own."""
    found = get_object_or_404(Design, pk=pk)
    try:
        set_apart(found)
    except WorkshopError as problem:
        messages.error(request, str(problem))
    else:
        messages.success(
            request,
            _("{name} ({format}) is a design of its own now.").format(name=found.name, format=found.format),
        )
    return redirect("design", found.pk)
