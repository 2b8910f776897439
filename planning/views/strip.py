"""The strip to stitch and weigh: drawn, taken home as a file, reckoned, and κ kept."""

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure
from planning.models import Machine
from planning.stitch_files.writing import WRITTEN
from planning.strip.forms import MeasuredForm, StripForm
from planning.strip.strips import keep_kappa, measured_strip, promised, strip_file


@require_http_methods(["GET", "HEAD", "POST"])
def strip(request: HttpRequest) -> HttpResponse:
    """Show the strip that the address asks for, and with a POST what was weighed of it."""
    form = StripForm(request.GET or None)
    context: dict[str, Any] = {
        "form": form,
        "written": WRITTEN,
        "address": request.GET.urlencode(),
        "measured_form": MeasuredForm(request.POST or None),
    }
    status = 422 if form.errors else 200
    if form.is_bound and form.is_valid():
        asked = form.asked()
        try:
            context["promise"] = promised(asked)
            context["machine"] = asked.machine
            measured = context["measured_form"]
            if request.method == "POST" and measured.is_valid():
                context["result"] = measured_strip(asked, measured.measured(asked.machine))
                context["key"] = uuid4().hex
            elif request.method == "POST":
                status = 422
        except WorkshopError as problem:
            (context["measured_form"] if "promise" in context else form).add_error(None, str(problem))
            status = 422
    return render(request, "planning/strip.html", context, status=status)


@require_safe
def strip_download(request: HttpRequest, extension: str) -> HttpResponse:
    """Give the strip as a stitch file."""
    form = StripForm(request.GET)
    if not form.is_valid():
        return redirect(f"{request.path.rpartition('strip.')[0]}?{request.GET.urlencode()}")
    try:
        content = strip_file(form.asked(), extension=extension)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("strip")
    response = HttpResponse(content, content_type="application/octet-stream")
    response["Content-Disposition"] = f'attachment; filename="strip.{extension}"'
    return response


@require_POST
def strip_keep(request: HttpRequest, pk: int) -> HttpResponse:
    """Set a machine's κ to what the strip showed, under the key of the page that showed it."""
    machine = get_object_or_404(Machine, pk=pk)
    try:
        kappa = float(request.POST.get("kappa", ""))
        key = f"strip-{request.POST.get('key', '')[:60]}"
        keep_kappa(machine, kappa=kappa, key=key, at=timezone.now(), by=request.user)
    except ValueError as problem:  # a WorkshopError is one, too
        said = (
            str(problem)
            if isinstance(problem, WorkshopError)
            else _("The page was sent without κ; weigh again.")
        )
        messages.error(request, said)
    else:
        said = _("{machine} draws in with κ = {kappa} from now on.")
        messages.success(request, said.format(machine=machine, kappa=figure(kappa, 3)))
    return redirect("setup_record", "machines", pk)
