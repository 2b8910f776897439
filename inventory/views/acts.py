"""Acts that concern many records: things of the shelf done with together, shades renamed or made one."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.catalogue.equivalents import one_shade
from inventory.catalogue.merging import merge_shades, rename_shade, rests_on_shade, take_back_shade_act
from inventory.compute.errors import WorkshopError
from inventory.lists.many import acts_on_many, take_back_many
from inventory.models import ActOnMany, PartOfAct, Shade, ShadeAct
from inventory.shelf.forms import new_key
from inventory.shelf.words import in_words
from inventory.views.asking import units_of


@require_safe
def acts(request: HttpRequest) -> HttpResponse:
    """List what was done with many things at once."""
    return render(request, "inventory/acts.html", {"acts": acts_on_many()})


@require_safe
def act_on_many(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what one act did with each thing, and offer to take it back."""
    act = get_object_or_404(ActOnMany.objects.select_related("by", "taken_back_by"), pk=pk)
    units = units_of(request)

    def shown(part: PartOfAct, text: str) -> str:
        return in_words(part.item.kind, int(text), units) if part.ledger_key and text else text

    rows = [
        (part.item, shown(part, part.before), shown(part, part.after))
        for part in act.parts.select_related("item")
    ]
    context = {
        "act": act,
        "rows": rows,
        "none": _("off the shelf") if act.kind == ActOnMany.Kind.RETIRE else _("no place"),
        "key": new_key(),
    }
    return render(request, "inventory/act_on_many.html", context)


@require_POST
def take_back_act_on_many(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an act on many things back, all of it."""
    act = get_object_or_404(ActOnMany, pk=pk)
    key = request.POST.get("key", "")[:60] or new_key()
    try:
        done = take_back_many(act, key=key, at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, _("Nothing was taken back. {problem}").format(problem=problem))
    else:
        for problem_of_one in done.problems:
            messages.warning(request, problem_of_one)
        messages.success(request, _("Taken back: {act}.").format(act=act))
    return redirect("act_on_many", pk)


@require_http_methods(["GET", "HEAD", "POST"])
def shade_acts(request: HttpRequest, pk: int) -> HttpResponse:
    """Rename a shade, or make it one with another; show what rests on it, and what was done before."""
    shade = get_object_or_404(Shade.objects.select_related("range"), pk=pk)
    typed = {
        name: request.POST.get(name, "").replace("\x00", "").strip()
        for name in ("code", "name", "why", "into")
    }
    problem = ""
    if request.method == "POST":
        try:
            act = _carry_out(request, shade, typed)
        except WorkshopError as refused:
            problem = str(refused)
        else:
            for each in act.told:
                messages.info(request, _("Carried over: {each}.").format(each=each))
            messages.success(request, f"{act}.")
            return redirect("shade_acts", act.shade_id)
    context = {
        "shade": shade,
        "typed": typed if problem else {"code": shade.code, "name": shade.name},
        "problem": problem,
        "rests": rests_on_shade(shade),
        "acts": shade.acts.select_related("by", "taken_back_by"),
        "key": new_key(),
    }
    return render(request, "inventory/shade_acts.html", context, status=422 if problem else 200)


def _carry_out(request: HttpRequest, shade: Shade, typed: dict[str, str]) -> ShadeAct:
    said: dict[str, Any] = {
        "key": request.POST.get("key", "")[:80],
        "at": timezone.now(),
        "by": request.user,
        "why": typed["why"],
    }
    ways: dict[str, Callable[[], ShadeAct]] = {
        "rename": lambda: rename_shade(shade, code=typed["code"], name=typed["name"], **said),
        "merge": lambda: merge_shades(shade, into=one_shade(typed["into"]), **said),
    }
    way = ways.get(request.POST.get("do", ""))
    if way is None:
        raise WorkshopError(_("Say whether the shade is renamed, or is one with another."))
    return way()


@require_POST
def take_back_shade(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a renaming or a merging back as a whole."""
    act = get_object_or_404(ShadeAct, pk=pk)
    try:
        problems = take_back_shade_act(act, at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, _("Nothing was taken back. {problem}").format(problem=problem))
    else:
        for each in problems:
            messages.warning(request, each)
        messages.success(request, _("Taken back: {act}.").format(act=act))
    return redirect("shade_acts", act.shade_id)
