"""The workshop's remembered colours: the list, what could be remembered, import and taking back."""

from django import forms
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET, require_POST, require_safe

from inventory.catalogue.equivalents import one_shade
from inventory.compute.errors import WorkshopError
from inventory.compute.names.plain import plain_name_of_hex
from inventory.models import Shade
from planning.facts.remembered import (
    ColourAnswer,
    colour_written,
    forget,
    proposals,
    remember,
    remembered_now,
    take_back,
)
from planning.facts.remembered_files import answers_in_file, remembered_as_csv
from planning.models import Design

MOST_BYTES = 2_000_000


class RememberedTableForm(forms.Form):
    """A table of remembered colours."""

    file = forms.FileField(
        label=_("CSV or .xlsx"),
        help_text=_("With the columns colour, shade and, where need be, design and block."),
    )


@require_safe
def remembered_colours(request: HttpRequest) -> HttpResponse:
    """List what is remembered, newest answers in the order of their colours, and what was chosen twice."""
    return render(
        request,
        "planning/remembered_colours.html",
        {
            "rows": [(each, _called(each.hex)) for each in remembered_now()],
            "proposals": [(each, _called(each.hex)) for each in proposals()],
            "form": RememberedTableForm(),
            "act": request.GET.get("act", ""),
        },
    )


@require_GET
def remembered_colours_csv(request: HttpRequest) -> HttpResponse:
    """Send the list as CSV."""
    response = HttpResponse(remembered_as_csv(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="remembered-colours.csv"'
    return response


@require_POST
def change_remembered(request: HttpRequest) -> HttpResponse:
    """Remember, forget, import or take back; then back to where it was asked from."""
    try:
        act = _changed(request)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect(_back(request))
    messages.success(
        request,
        gettext("Done. It can be taken back under Remembered colours.") if act else gettext("Taken back."),
    )
    back = _back(request)
    return redirect(f"{back}?act={act}" if act and back.startswith("/workshop/colours/") else back)


def _changed(request: HttpRequest) -> str:
    sent, at = request.POST, timezone.now()
    if "take_back" in sent:
        take_back(sent["take_back"], at=at)
        return ""
    if "forget" in sent:
        return forget([int(pk) for pk in sent.getlist("forget") if pk.isdecimal()], at=at)
    if "file" in request.FILES:
        return _imported(request)
    answers = [_of_block(each) for each in sent.getlist("blocks")] or [_answer(request)]
    return remember(answers, at=at, by=request.user)


def _answer(request: HttpRequest) -> ColourAnswer:
    sent = request.POST
    written = sent.get("colour", "").strip()
    picked = sent.get("shade_id", "")
    shade = get_object_or_404(Shade, pk=picked) if picked.isdecimal() else one_shade(sent.get("shade", ""))
    # What it is for, as one word of a button: every, a design, or a block of it.
    sha256, _, block = sent.get("for", "").partition(".")
    design = get_object_or_404(Design, sha256=sha256) if sha256 else None
    number = int(block) if block.isdecimal() else None
    return ColourAnswer(colour_written(written) if written else "", shade, design, number)


def _of_block(written: str) -> ColourAnswer:
    """Return the answer for a block without a colour, sent as the design's SHA-256, the block and the shade's id."""
    sha256, block, shade = (*written.split("."), "", "", "")[:3]
    if not (block.isdecimal() and shade.isdecimal()):
        raise WorkshopError(gettext("What was sent names no block and shade. Open the plan again."))
    return ColourAnswer(
        "", get_object_or_404(Shade, pk=shade), get_object_or_404(Design, sha256=sha256), int(block)
    )


def _imported(request: HttpRequest) -> str:
    file = request.FILES["file"]
    assert isinstance(file, UploadedFile)
    if file.size and file.size > MOST_BYTES:
        raise WorkshopError(gettext("The file is larger than 2 MB; no list of colours is."))
    answers, problems = answers_in_file(file.read())
    if problems:
        said, more = gettext("Nothing was imported. {problem}").format(problem=problems[0]), len(problems) - 1
        raise WorkshopError(said + (" " + gettext("And {more} more.").format(more=more) if more else ""))
    return remember(answers, at=timezone.now(), by=request.user)


def _back(request: HttpRequest) -> str:
    asked = request.POST.get("next", "")
    # A bare word would be taken for the name of a view.
    if asked.startswith("/") and url_has_allowed_host_and_scheme(asked, allowed_hosts={request.get_host()}):
        return asked
    return "/workshop/colours/"


def _called(hex: str) -> str:
    return gettext(plain_name_of_hex(hex)) if hex else gettext("no colour")
