"""Files in and out: export, import with a look first, and sheets of labels."""

import hashlib

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.compute.errors import WorkshopError
from inventory.files.export import export_csv, export_xlsx, template_csv
from inventory.files.importing import KINDS, NothingLanded, apply_import, failed_rows_csv, preview_import
from inventory.kept_files import FileNotKept, KeptFile, keep_file, read_kept
from inventory.labels.sheets import SHEETS, label_sheet, lost_letters
from inventory.models import Place, StockItem
from inventory.shelf.labelled import item_labelled

MOST_BYTES = 20 * 1024 * 1024
SHOWN_PROBLEMS = 200
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class FileForm(forms.Form):
    """A file and what it holds."""

    kind = forms.ChoiceField(
        label=_("It holds"), choices=[(kind.name, kind.holds) for kind in KINDS.values()]
    )
    file = forms.FileField(
        label=_("File"),
        help_text=_("CSV or .xlsx, up to 20 MiB. Nothing is changed yet: you see first what it would do."),
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
    )

    def clean_file(self) -> object:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(_("The file is larger than 20 MiB. Split it into parts."))
        return file


class LabelForm(forms.Form):
    """Which things get a label, and on which sheet."""

    codes = forms.CharField(
        label=_("Label codes"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"}),
        help_text=_("With spaces or line breaks between them."),
    )
    place = forms.ModelChoiceField(
        Place.objects.all(),
        label=_("Everything at"),
        required=False,
        empty_label=_("no place"),
    )
    sheet = forms.ChoiceField(
        label=_("Sheet"), choices=lambda: [(name, sheet.name) for name, sheet in SHEETS.items()]
    )
    skip = forms.IntegerField(
        label=_("Labels of the first sheet that are used up"),
        min_value=0,
        max_value=200,
        initial=0,
        required=False,
    )

    def things(self) -> list[StockItem]:
        """Return the things meant, those named first. Raises WorkshopError for a code that nothing carries."""
        given = self.cleaned_data
        things = [item_labelled(code) for code in given["codes"].split()]
        if given["place"]:
            things += list(StockItem.objects.on_the_shelf().filter(place=given["place"]).order_by("label"))
        return list(dict.fromkeys(things))


@require_http_methods(["GET", "HEAD", "POST"])
def files(request: HttpRequest) -> HttpResponse:
    """Offer the files that can be taken out, and take one in to look at."""
    form = FileForm(request.POST or None, request.FILES or None, label_suffix="")
    if request.method == "POST" and form.is_valid():
        content = form.cleaned_data["file"].read()
        sha256 = hashlib.sha256(content).hexdigest()
        keep_file(_kept(sha256), content)
        return redirect("import_preview", form.cleaned_data["kind"], sha256)
    return render(
        request,
        "inventory/files.html",
        {"form": form, "kinds": KINDS.values()},
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "HEAD", "POST"])
def import_preview(request: HttpRequest, kind: str, sha256: str) -> HttpResponse:
    """Show what a file would do; sent again with a decision, let it happen."""
    refused = ""
    try:
        content = _content(kind, sha256)
        if request.method == "POST":
            done = apply_import(
                content,
                kind=kind,
                at=timezone.now(),
                by=request.user,
                skip_bad="skip_bad" in request.POST,
                reference=f"import {sha256[:8]}",
            )
            messages.success(request, _("Imported: {what}.").format(what=done.in_words))
            return redirect("files")
        preview = preview_import(content, kind=kind)
    except NothingLanded as problem:
        preview, refused = problem.preview, str(problem)
    except WorkshopError as problem:
        return render(request, "inventory/file_not_read.html", {"problem": problem}, status=422)
    context = {
        "kind": KINDS[kind],
        "preview": preview,
        "refused": refused,
        "problems": preview.problems[:SHOWN_PROBLEMS],
        "more": max(0, len(preview.problems) - SHOWN_PROBLEMS),
        "changes": [each for each in preview.outcomes if each.makes or each.changes][:SHOWN_PROBLEMS],
        "sha256": sha256,
    }
    return render(request, "inventory/import_preview.html", context, status=422 if refused else 200)


@require_safe
def failed_rows(request: HttpRequest, kind: str, sha256: str) -> HttpResponse:
    """Send the rows of a file that cannot land, each with the reason."""
    preview = preview_import(_content(kind, sha256), kind=kind)
    return _download(failed_rows_csv(preview), f"{kind}-to-correct.csv", "text/csv; charset=utf-8")


@require_safe
def export(request: HttpRequest, kind: str, ending: str) -> HttpResponse:
    """Send everything of a kind as a file that can be imported again."""
    if kind not in KINDS:
        raise Http404(f"there are no files of {kind}")
    name = f"{kind}-{timezone.localdate():%Y-%m-%d}.{ending}"
    if ending == "xlsx":
        return _download(export_xlsx(kind), name, WORKBOOK)
    return _download(export_csv(kind), name, "text/csv; charset=utf-8")


@require_safe
def template(request: HttpRequest, kind: str) -> HttpResponse:
    """Send an empty file with the columns of a kind."""
    if kind not in KINDS:
        raise Http404(f"there are no files of {kind}")
    return _download(template_csv(kind), f"{kind}-template.csv", "text/csv; charset=utf-8")


@require_http_methods(["GET", "HEAD", "POST"])
def labels(request: HttpRequest) -> HttpResponse:
    """Print labels for chosen things or a whole place; where letters would be lost, only after saying so."""
    lost: dict[str, str] = {}
    if request.method == "POST":
        form = LabelForm(request.POST, label_suffix="")
        if form.is_valid():
            try:
                things = form.things()
                lost = lost_letters(things)
                if request.POST.get("although") == " ".join(lost):  # told already, of these very things
                    lost = {}
                pdf = label_sheet(
                    things,
                    sheet=form.cleaned_data["sheet"],
                    base_url=request.build_absolute_uri("/"),
                    skip=form.cleaned_data["skip"] or 0,
                )
            except WorkshopError as problem:
                form.add_error(None, str(problem))
            else:
                if not lost:
                    return _download(pdf, "labels.pdf", "application/pdf")
    else:
        codes = StockItem.objects.filter(pk__in=_numbers(request.GET.getlist("item"))).order_by("label")
        typed = " ".join([*request.GET.getlist("code"), *codes.values_list("label", flat=True)])
        form = LabelForm(initial={"codes": typed}, label_suffix="")
    told = [(code, " ".join(letters)) for code, letters in lost.items()]
    shown = {"form": form, "lost": told, "told": " ".join(lost)}
    return render(request, "inventory/labels.html", shown, status=422 if form.errors or lost else 200)


def _kept(sha256: str) -> KeptFile:
    return KeptFile(f"imports/{sha256}", sha256, gettext("the file"))


def _content(kind: str, sha256: str) -> bytes:
    if kind not in KINDS:
        raise Http404(f"there are no files of {kind}")
    try:
        return read_kept(_kept(sha256))
    except FileNotKept:
        raise Http404("no such file was looked at") from None


def _numbers(texts: list[str]) -> list[int]:
    return [int(text) for text in texts[:500] if text.isascii() and text.isdecimal() and len(text) < 19]


def _download(content: bytes, name: str, content_type: str) -> HttpResponse:
    response = HttpResponse(content, content_type=content_type)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
