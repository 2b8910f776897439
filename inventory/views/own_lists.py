"""A person's own list of thread: brought in, its columns and cells understood or asked about, put on the shelf."""

import hashlib
import re
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from inventory.compute.errors import WorkshopError
from inventory.files.listening.forms import ListForm, ReadingForm
from inventory.files.listening.landing import land_list, usual_reading
from inventory.files.listening.reading import KeptList, read_kept_list
from inventory.files.listening.rows import ListedRow, Reading, column_words, understand
from inventory.kept_files import FileNotKept, KeptFile, keep_file, read_kept
from inventory.views.asking import units_of

SHOWN_ASKED = 60
SHOWN_UNDERSTOOD = 100
_CELL = re.compile(r"cell-(\d{1,7})-(\d{1,3})")


@require_http_methods(["GET", "HEAD", "POST"])
def own_list(request: HttpRequest) -> HttpResponse:
    """Take a list in to look at."""
    form = ListForm(request.POST or None, request.FILES or None, label_suffix="")
    if request.method == "POST" and form.is_valid():
        content = form.content()
        try:
            read_kept_list(content)
        except WorkshopError as problem:
            form.add_error("file", str(problem))
        else:
            sha256 = hashlib.sha256(content).hexdigest()
            keep_file(_kept(sha256), content)
            return redirect("own_list_read", sha256)
    return render(request, "inventory/own_list.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def own_list_read(request: HttpRequest, sha256: str) -> HttpResponse:
    """Show what a list would bring and what is asked about it; sent with every answer, put it on the shelf."""
    units = units_of(request)
    try:
        kept = read_kept_list(_content(sha256), sheet=request.GET.get("sheet", ""))
    except FileNotKept:
        raise Http404("no such list was looked at") from None
    except WorkshopError as problem:
        return render(request, "inventory/file_not_read.html", {"problem": problem}, status=422)
    usual, came_before = usual_reading(kept, unit=units.length)
    answered = "unit" in request.GET
    form = ReadingForm(request.GET if answered else None, kept=kept, reading=usual, units=units)
    reading = form.reading() if answered and form.is_valid() else usual
    rows = understand(kept, reading, mended=_mended(request), left_out=_left_out(request))
    refused = ""
    if request.method == "POST" and form.errors:
        refused = _("Nothing came onto the shelf: say first how the columns are read.")
    elif request.method == "POST":
        try:
            landed = land_list(
                kept,
                rows,
                reading=reading,
                at=timezone.now(),
                by=request.user,
                reference=f"list {sha256[:8]}",
            )
        except WorkshopError as problem:
            refused = str(problem)
        else:
            return redirect(f"{reverse('receive', args=['spools'])}?{urlencode({'done': landed.key})}")
    return _page(request, kept, form, reading, rows, came_before, refused=refused)


def _page(
    request: HttpRequest,
    kept: KeptList,
    form: ReadingForm,
    reading: Reading,
    rows: list[ListedRow],
    came_before: bool,
    *,
    refused: str,
) -> HttpResponse:
    asked = [row for row in rows if row.asked]
    understood = [row for row in rows if not row.asked]
    left_out = [number for number, _ in kept.rows if number in _left_out(request)]
    context: dict[str, Any] = {
        "kept": kept,
        "form": form,
        "query": form.as_query(),
        "reading": reading,
        "came_before": came_before,
        "refused": refused,
        "asked": [(row, _questions(kept, row)) for row in asked[:SHOWN_ASKED]],
        "more_asked": max(0, len(asked) - SHOWN_ASKED),
        "understood": [row for row in understood if row.spools][:SHOWN_UNDERSTOOD],
        "spools": sum(len(row.spools) for row in understood),
        "rows": len(rows),
        "asked_rows": len(asked),
        "left_out": left_out,
        "answers": [(f"cell-{row}-{column}", text) for (row, column), text in _mended(request).items()
                    if not any(row == each.number and column in {q.column for q in each.asked} for each in asked)],
        "columns_left_out": sum(not each for each in reading.meanings),
    }  # fmt: skip
    status = 422 if refused or form.errors else 200
    return render(request, "inventory/own_list_read.html", context, status=status)


def _questions(kept: KeptList, row: ListedRow) -> list[dict[str, str]]:
    return [
        {
            "name": f"cell-{row.number}-{each.column}",
            "column": column_words(kept, each.column),
            "text": each.text,
            "reason": each.reason,
        }
        for each in row.asked
    ]


def _mended(request: HttpRequest) -> dict[tuple[int, int], str]:
    """Return the cells that were typed anew, by the number of the row and the column."""
    typed = {}
    for name in request.POST:
        if cell := _CELL.fullmatch(name):
            text = request.POST.get(name, "")
            typed[int(cell[1]), int(cell[2])] = " ".join(text.replace("\x00", "").split())[:200]
    return typed


def _left_out(request: HttpRequest) -> set[int]:
    texts = request.POST.getlist("leave")
    return {int(text) for text in texts if text.isascii() and text.isdecimal() and len(text) < 8}


def _kept(sha256: str) -> KeptFile:
    return KeptFile(f"imports/{sha256}", sha256, _("the list"))


def _content(sha256: str) -> bytes:
    return read_kept(_kept(sha256))
