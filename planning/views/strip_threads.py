"""Both threads of three parts of a strip: drawn, taken home as a file, solved, and kept."""

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure
from inventory.compute.units import told_sides
from planning.stitch_files.writing import WRITTEN
from planning.strip.forms import WEIGHED, ThreadsForm, ThreadsReadForm
from planning.strip.threads import drawn_strip, keep_lay, part_promises, solved, threads_file


@require_http_methods(["GET", "HEAD", "POST"])
def threads(request: HttpRequest) -> HttpResponse:
    """Show the strip that the address asks for, and with a POST what was read of its threads."""
    form = ThreadsForm(request.GET or None)
    context: dict[str, Any] = {"form": form, "written": WRITTEN, "address": request.GET.urlencode()}
    status = 422 if form.errors else 200
    if form.is_bound and form.is_valid():
        asked = form.asked()
        read_form = ThreadsReadForm(
            request.POST or None,
            weighed=form.cleaned_data["way"] == WEIGHED,
            units=request.units,  # type: ignore[attr-defined]
        )
        try:
            strip = drawn_strip(asked)
            context |= {
                "strip": strip,
                "parts": part_promises(asked, strip),
                "asked": asked,
                "read_form": read_form,
            }
            if request.method == "POST" and read_form.is_valid():
                context |= {"result": solved(asked, read_form.read()), "key": uuid4().hex}
            elif request.method == "POST":
                status = 422
        except WorkshopError as problem:
            (read_form if "strip" in context else form).add_error(None, str(problem))
            status = 422
    return render(request, "planning/strip_threads.html", context, status=status)


@require_safe
def threads_download(request: HttpRequest, extension: str) -> HttpResponse:
    """Give the strip as a stitch file."""
    form = ThreadsForm(request.GET)
    if not form.is_valid():
        return redirect(f"{request.path.rpartition('strip.')[0]}?{request.GET.urlencode()}")
    try:
        content = threads_file(form.asked(), extension=extension)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("strip_threads")
    response = HttpResponse(content, content_type="application/octet-stream")
    response["Content-Disposition"] = f'attachment; filename="threads.{extension}"'
    return response


@require_POST
def threads_keep(request: HttpRequest) -> HttpResponse:
    """Set what the strip showed, of the machine and the cloth in the address, under the key of its page."""
    form = ThreadsForm(request.GET)
    if not form.is_valid():
        return redirect("strip_threads")
    asked = form.asked()
    try:
        told = {
            name: float(request.POST.get(name, "")) for name in ("kappa", "interlock_depth", "thickness_mm")
        }
        keep_lay(
            asked.machine,
            fabric=asked.fabric,
            key=f"threads-{request.POST.get('key', '')[:50]}",
            at=timezone.now(),
            by=request.user,
            **told,
        )
    except ValueError as problem:  # a WorkshopError is one, too
        missing = _("The page was sent without its numbers; measure again.")
        messages.error(request, str(problem) if isinstance(problem, WorkshopError) else missing)
        return redirect("strip_threads")
    said = _("{machine} draws in with κ = {kappa} and interlocks at {depth} from now on.").format(
        machine=asked.machine, kappa=figure(told["kappa"], 3), depth=figure(told["interlock_depth"], 2)
    )
    if asked.fabric:
        cloth = _("{fabric} is {thickness} thick.")
        thickness = told_sides(round(told["thickness_mm"], 2))
        said += " " + cloth.format(fabric=asked.fabric, thickness=thickness)
    messages.success(request, said)
    return redirect("setup_record", "machines", asked.machine.pk)
