"""The catalogue: lists, and records that can be added and edited."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.acting import whole_act
from inventory.catalogue.forms import PutUpForm, RecordForm, ShadeForm
from inventory.catalogue.pages import BOOKS, Book
from inventory.catalogue.records import add_record, set_earlier_codes
from inventory.compute.errors import WorkshopError
from inventory.ledger.changes import history_of
from inventory.models import Change, Shade
from inventory.shelf.things import edit_catalogue
from inventory.shelf.typed.measures import as_people_write
from inventory.views.asking import units_of
from inventory.views.equivalents import about

PER_PAGE = 20


def _book(slug: str) -> Book:
    if slug not in BOOKS:
        raise Http404(f"the catalogue has no {slug}")
    return BOOKS[slug]


@require_safe
def catalogue(request: HttpRequest) -> HttpResponse:
    """Show what the catalogue holds."""
    books = [(book, book.records().count()) for book in BOOKS.values()]
    return render(request, "inventory/catalogue.html", {"books": books})


@require_safe
def catalogue_list(request: HttpRequest, slug: str) -> HttpResponse:
    """List the records of one book."""
    book, units = _book(slug), units_of(request)
    text = request.GET.get("q", "").replace("\x00", "").strip()[:80]
    found = book.looked_for(text)
    if book.model is Shade:
        found = found.prefetch_related("earlier_codes")
    narrowed = {name: request.GET[name] for name in book.parents if request.GET.get(name, "").isdecimal()}
    found = found.filter(**{f"{name}_id": int(value[:18]) for name, value in narrowed.items()})
    page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "book": book,
        "text": text,
        "heads": [(column.head(units), column.is_number) for column in book.columns],
        "rows": [
            (
                record,
                [
                    (column.head(units), column.cell(record, units), column.is_number, column.is_detail)
                    for column in book.columns
                ],
            )
            for record in page.object_list
        ],
        "page_obj": page,
        "page_numbers": page.paginator.get_elided_page_range(page.number),
        "narrowed": narrowed,
        "add_query": request.GET.urlencode() if narrowed else "",
    }
    return render(request, "inventory/catalogue_list.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def catalogue_add(request: HttpRequest, slug: str) -> HttpResponse:
    """Add a record."""
    book = _book(slug)
    begin = {name: request.GET[name] for name in book.parents if request.GET.get(name, "").isdecimal()}
    form = book.form(request.POST or None, units=units_of(request), initial=begin)
    as_people_write(form, units_of(request))
    if request.method == "POST" and form.is_valid():
        try:
            record = _add(form, request)
        except WorkshopError as problem:
            form.add_error(None, str(problem))
        else:
            return redirect(
                f"{reverse('catalogue_record', args=[slug, record.pk])}?done={form.cleaned_data['key']}"
            )
    return _form_page(request, book, form)


@require_http_methods(["GET", "HEAD", "POST"])
def catalogue_record(request: HttpRequest, slug: str, pk: int) -> HttpResponse:
    """Show and edit a record; its edits are listed under it."""
    book = _book(slug)
    record = get_object_or_404(book.records(), pk=pk)
    name = str(record)
    form = book.form(request.POST or None, instance=record, units=units_of(request))
    as_people_write(form, units_of(request))
    if request.method == "POST" and form.is_valid():
        try:
            _edit(form, request)
        except WorkshopError as problem:
            form.add_error(None, str(problem))
        else:
            return redirect(f"{reverse('catalogue_record', args=[slug, pk])}?done={form.cleaned_data['key']}")
    return _form_page(request, book, form, record=get_object_or_404(book.records(), pk=pk), name=name)


def _say_doubt(form: RecordForm, request: HttpRequest) -> None:
    """Say what is odd about a put-up's figures; they are kept all the same."""
    if isinstance(form, PutUpForm) and (doubt := form.doubt()):
        messages.warning(request, doubt)


@whole_act
def _add(form: RecordForm, request: HttpRequest) -> Any:
    at = timezone.now()
    record = add_record(form.instance, at=at, by=request.user, key=form.cleaned_data["key"])
    if isinstance(form, ShadeForm) and isinstance(record, Shade):
        set_earlier_codes(record, form.cleaned_data["earlier"], at=at, by=request.user)
    _say_doubt(form, request)
    return record


@whole_act
def _edit(form: RecordForm, request: HttpRequest) -> None:
    at, key = timezone.now(), form.cleaned_data["key"]
    # What the form has done to its instance is not saved: the verb reads the record anew and notes each difference.
    edit_catalogue(form.instance, changes=form.values(), at=at, by=request.user, key=key)
    if isinstance(form, ShadeForm):
        set_earlier_codes(form.instance, form.cleaned_data["earlier"], at=at, by=request.user)
    _say_doubt(form, request)


def _form_page(
    request: HttpRequest, book: Book, form: RecordForm, *, record: Any = None, name: str = ""
) -> HttpResponse:
    done = request.GET.get("done", "")
    context = {
        "book": book,
        "form": form,
        "record": record,
        "name": name,
        "changes": history_of(record).select_related("by")[:50] if record is not None else [],
        "children": [(BOOKS[slug], f"{field}={record.pk}") for slug, field in book.children]
        if record
        else [],
        "saved": bool(done) and record is not None and Change.objects.filter(key=done).exists(),
        "unchanged": bool(done) and not Change.objects.filter(key=done).exists(),
    }
    if isinstance(record, Shade) and record.lab is not None:
        context |= about(record)
    return render(request, "inventory/catalogue_record.html", context, status=422 if form.is_bound else 200)
