"""The workshop set up: machines and their needles, hoops, fabrics with recipes, rules."""

from typing import Any, NamedTuple
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure
from inventory.ledger.changes import history_of
from inventory.models import Change
from inventory.shelf.typed.measures import as_people_write
from planning.compute.stabilizer.recipes import recipe_doubts
from planning.facts.forms import (
    LAYER_FIELDS,
    FabricForm,
    HoopForm,
    LayerForms,
    MachineForm,
    NeedleForm,
    RulesForm,
    StitchesForm,
)
from planning.facts.layers import layer_needs
from planning.facts.needles import needle_changed, needle_due, note_stitches
from planning.facts.recipes import LAYERS_IN, STARTERS, Starter, starter, worked_before
from planning.facts.setup import add_setting, edit_setting, set_hoops, set_recipe, set_rules
from planning.models import Fabric, Hoop, Machine, Rules


class SetupKind(NamedTuple):
    """A kind of thing that a workshop is set up with."""

    slug: str
    one: str | Promise
    many: str | Promise
    model: type[models.Model]
    form: type[forms.ModelForm]
    what_for: str | Promise


KINDS = {
    kind.slug: kind
    for kind in (
        SetupKind(
            "machines",
            _("machine"),
            _("Machines"),
            Machine,
            MachineForm,
            _("How it lays thread, and how long it takes."),
        ),
        SetupKind(
            "hoops",
            _("hoop"),
            _("Hoops"),
            Hoop,
            HoopForm,
            _("What fits into it, and how large its stabilizer is cut."),
        ),
        SetupKind(
            "fabrics",
            _("fabric"),
            _("Fabrics"),
            Fabric,
            FabricForm,
            _("How thick it is, and which layers it wants."),
        ),
    )
}


def _kind(slug: str) -> SetupKind:
    if slug not in KINDS:
        raise Http404(f"a workshop has no {slug}")
    return KINDS[slug]


@require_safe
def setup(request: HttpRequest) -> HttpResponse:
    """Show what the workshop is set up with."""
    kinds = [(kind, kind.model._default_manager.all()) for kind in KINDS.values()]
    return render(request, "planning/setup.html", {"kinds": kinds, "rules": Rules.current()})


@require_http_methods(["GET", "HEAD", "POST"])
def setup_rules(request: HttpRequest) -> HttpResponse:
    """Change the workshop's rules."""
    form = RulesForm(request.POST or None, instance=Rules.current())
    as_people_write(form, request.units)  # type: ignore[attr-defined]
    if request.method == "POST" and form.is_valid():
        set_rules(form.cleaned_data, at=timezone.now(), by=request.user)
        messages.success(
            request, gettext("The rules are changed; every plan made from now on keeps to them.")
        )
        return redirect("setup")
    return render(request, "planning/setup_rules.html", {"form": form}, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def setup_add(request: HttpRequest, slug: str) -> HttpResponse:
    """Add a machine, hoop or fabric."""
    kind = _kind(slug)
    like = starter(request.GET.get("like", "")) if kind.model is Fabric else None
    begun = {"stretch": like.stretch, "thickness_mm": like.thickness_mm, "note": like.why} if like else {}
    form = kind.form(request.POST or None, initial=begun)
    as_people_write(form, request.units)  # type: ignore[attr-defined]
    layers = _layers(request, None, like) if kind.model is Fabric else None
    if request.method == "POST" and form.is_valid() and (layers is None or layers.is_valid()):
        try:
            record = add_setting(form.instance, at=timezone.now(), by=request.user)
        except WorkshopError as problem:
            form.add_error(None, str(problem))
        else:
            _keep_parts(request, record, form, layers)
            return redirect("setup_record", slug, record.pk)
    context = {
        "kind": kind,
        "form": form,
        "layers": layers,
        "starters": STARTERS if kind.model is Fabric else (),
        "like": like,
    }
    return render(
        request, "planning/setup_record.html", context, status=422 if request.method == "POST" else 200
    )


@require_http_methods(["GET", "HEAD", "POST"])
def setup_record(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Show and change a machine, hoop or fabric."""
    kind = _kind(slug)
    record = get_object_or_404(kind.model, pk=pk)
    name = str(record)
    form = kind.form(request.POST or None, instance=record)
    as_people_write(form, request.units)  # type: ignore[attr-defined]
    layers = _layers(request, record) if isinstance(record, Fabric) else None
    if request.method == "POST" and form.is_valid() and (layers is None or layers.is_valid()):
        changes = {each: value for each, value in form.cleaned_data.items() if each != "hoops"}
        try:
            edit_setting(
                kind.model._default_manager.get(pk=pk), changes=changes, at=timezone.now(), by=request.user
            )
        except WorkshopError as problem:
            form.add_error(None, str(problem))
        else:
            _keep_parts(request, record, form, layers)
            return redirect("setup_record", slug, pk)
    context = {
        "kind": kind,
        "form": form,
        "layers": layers,
        "record": record,
        "name": name,
        "changes": [(change, _edited(change, form)) for change in history_of(record)[:20]],
    }
    if isinstance(record, Fabric):
        context |= {
            "worked": worked_before(record),
            "doubts": recipe_doubts(layer_needs(record), stretch=record.stretch),
        }
    if isinstance(record, Machine):
        key = uuid4().hex
        context |= {
            "needle": needle_due(record),
            "key": key,
            "needle_form": NeedleForm(),
            "stitches_form": StitchesForm(),
        }
    return render(
        request, "planning/setup_record.html", context, status=422 if request.method == "POST" else 200
    )


@require_POST
def needle(request: HttpRequest, pk: int) -> HttpResponse:
    """Note stitches made, or a new needle, under the key of the page that was filled in."""
    machine = get_object_or_404(Machine, pk=pk)
    noting = "stitches" in request.POST
    form: forms.Form = StitchesForm(request.POST) if noting else NeedleForm(request.POST)
    about: dict[str, Any] = {
        "key": request.POST.get("key", "")[:60],
        "at": timezone.now(),
        "by": request.user,
    }
    if not form.is_valid():
        messages.error(request, " ".join(str(error) for errors in form.errors.values() for error in errors))
        return redirect("setup_record", "machines", pk)
    given = form.cleaned_data
    try:
        if noting:
            stands = note_stitches(machine, stitches=given["stitches"], **about)
            messages.success(
                request,
                gettext("Noted. {stitches_left} stitches are left of the needle's life.").format(
                    stitches_left=figure(stands.stitches_left)
                ),
            )
        else:
            needle_changed(machine, pack=given["pack"], count=given["count"], **about)
            messages.success(request, gettext("{machine} has a new needle.").format(machine=machine))
    except WorkshopError as problem:
        messages.error(request, str(problem))
    return redirect("setup_record", "machines", pk)


def _edited(change: Change, form: forms.ModelForm) -> list[tuple[str, Any, Any]]:
    """Return what an edit changed: what the form calls the field, and its value before and after."""
    return [
        (str(form.fields[name].label) if name in form.fields else name, values["before"], values["after"])
        for name, values in change.fields.items()
    ]


def _layers(request: HttpRequest, fabric: Fabric | None, like: Starter | None = None) -> Any:
    written = [dict(zip(LAYERS_IN, layer, strict=True)) for layer in like.layers] if like else []
    if fabric:
        written = [{name: getattr(layer, name) for name in LAYER_FIELDS} for layer in fabric.layers.all()]
    return LayerForms(request.POST or None, initial=written, prefix="layers")


def _keep_parts(request: HttpRequest, record: models.Model, form: forms.ModelForm, layers: Any) -> None:
    if isinstance(record, Machine):
        set_hoops(record, form.cleaned_data["hoops"])
    if isinstance(record, Fabric) and layers is not None:
        kept = [
            each.instance
            for each in layers.forms
            if each.cleaned_data and not each.cleaned_data.get("DELETE") and each.cleaned_data.get("kind")
        ]
        set_recipe(record, kept, at=timezone.now(), by=request.user)
    messages.success(request, gettext("{record} is saved.").format(record=record))
