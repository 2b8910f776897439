"""The cut sheet: how a job's stabilizer is cut, drawn to scale, and the cut posted."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal
from itertools import groupby
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext
from django.views.decorators.http import require_http_methods

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import format_length
from inventory.compute.units import Units
from inventory.models import StockItem
from inventory.shelf.forms import new_key
from planning.compute.stabilizer.cutting import Rest, SourceCut, Strip
from planning.compute.stabilizer.cutting.ruler import Marks, ruler_marks
from planning.cutting.cuts import (
    JobsCut,
    ProductCut,
    cuts_posted,
    fingerprint,
    jobs_to_cut,
    plan_cuts,
    post_cut,
    taken_mm,
)
from planning.cutting.forms import CutTogetherForm
from planning.cutting.rings import keep_ring_strips, ring_strips
from planning.models import Job, Rules

# A roll is drawn lying down, in lines so long at most: every line of a sheet has the same scale.
LINE_MM = 1_800
# Letters in a drawing, in mm of cloth.
LETTER_MM = 34
# Layers are told apart by letter; I and O are left out, which look like figures.
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@require_http_methods(["GET", "HEAD", "POST"])
def cut_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how a job's stabilizer is cut; a POST says that it was cut so, and moves the stock."""
    get_object_or_404(Job, pk=pk)
    return _sheet(request, [pk])


@require_http_methods(["GET", "HEAD", "POST"])
def cut_together(request: HttpRequest) -> HttpResponse:
    """Choose jobs, and show how their stabilizer is cut together; a POST says that it was cut so."""
    form = CutTogetherForm(request.GET or None)
    if not form.is_valid():
        chosen = {"form": form, "jobs": Job.objects.waiting().soonest_first().select_related("fabric")}
        return render(request, "planning/cut_together.html", chosen, status=422 if form.is_bound else 200)
    return _sheet(request, [job.pk for job in form.cleaned_data["job"]])


def _sheet(request: HttpRequest, numbers: list[int]) -> HttpResponse:
    jobs = jobs_to_cut(numbers)
    here = request.get_full_path()
    try:
        cut = plan_cuts(jobs)
    except WorkshopError as problem:
        return render(request, "planning/job_unclear.html", {"job": jobs[0], "problem": problem}, status=422)
    unit = request.units.size  # type: ignore[attr-defined]
    rules = Rules.current()
    refusal = ""
    if request.method == "POST":
        about: dict[str, Any] = {
            "key": request.POST.get("key", "")[:40],
            "at": timezone.now(),
            "by": request.user,
        }
        try:
            if "strips" in request.POST:
                packs = keep_ring_strips(jobs, **about)
                kept = ", ".join(
                    ngettext("{number} strip as {label}", "{number} strips as {label}", pack.on_hand).format(
                        number=pack.on_hand, label=pack.label
                    )
                    for pack in packs
                )
                messages.success(request, _("Kept: {strips}.").format(strips=kept))
                return redirect(here)
            done = post_cut(
                jobs, shown=request.POST.get("shown", ""), unit=unit, kerf_mm=rules.cut_kerf_mm, **about
            )
        except WorkshopError as problem:
            refusal = str(problem)
            cut = plan_cuts(jobs_to_cut(numbers))  # what is shown with the refusal is what stands now
        else:
            kept = ", ".join(offcut.label for offcut in done.offcuts)
            back = (
                _("Label what is left: {labels}.").format(labels=kept)
                if kept
                else _("Nothing of use is left over.")
            )
            messages.success(request, f"{_('Cut, and taken off the shelf.')} {back}")
            return redirect(here)
    cuts = cut.cuts
    before = sum(layer.cut_before for layer in cut.every_layer)
    shown = {
        "cut": cut,
        "jobs": list(zip(cut.jobs, cut.hoopings, strict=True)),
        "job": cut.jobs[0],
        "hoopings": sum(cut.hoopings),
        "cuts": [
            _cut_row(each, own=cut.own, unit=unit, kerf_mm=rules.cut_kerf_mm)
            for each in cuts
            if each.plan.pieces
        ],
        "before": before,
        "lacking": cut.lacking,
        "saved": _saved_in_words(cut, units=request.units),  # type: ignore[attr-defined]
        "can_cut": any(each.plan.sources for each in cuts),
        "is_short": any(sum(each.plan.missing) for each in cuts),
        "posted": cuts_posted(*jobs),
        "rings": ring_strips(jobs) if before else None,
        "refusal": refusal,
        "fingerprint": fingerprint(cuts),
        "key": new_key(),
        "currency": rules.currency,
        "unit": unit,
        "edge_mm": rules.roll_edge_mm,
    }
    return render(request, "planning/cut_sheet.html", shown, status=422 if refusal else 200)


def _saved_in_words(cut: JobsCut, *, units: Units) -> str:
    """Return what cutting together saves as a length of the widest roll that is cut."""
    widest = max((roll.width_mm for each in cut.cuts for roll in each.plan.rolls), default=0)
    if cut.comparison is None or not widest:
        return ""
    return format_length(cut.comparison.saved_mm2 // widest, unit=units.size)


@dataclass(frozen=True)
class Box:
    """A rectangle of a drawing that lies down: x along the roll."""

    kind: str  # piece, rest or waste
    x: int
    y: int
    width: int
    height: int
    mark: str = ""


@dataclass(frozen=True)
class DrawnStrip:
    number: int
    x: int
    width: int


@dataclass(frozen=True)
class DrawnLine:
    """One line of a drawing, from ``from_mm`` of the roll on."""

    from_mm: int
    strips: tuple[DrawnStrip, ...]
    boxes: tuple[Box, ...]
    long_mm: int
    # How far the strips that follow are cut as those of this line: the number of the last, 0 where none does.
    alike_to: int = 0

    @property
    def last(self) -> int:
        """Return the number of the last strip that is drawn, 0 where none has one."""
        return self.strips[-1].number if self.strips else 0


def _cut_row(cut: ProductCut, *, own: Mapping[int, int], unit: str, kerf_mm: int) -> dict[str, Any]:
    labels = [source.label for source in cut.plan.sources]
    items = {item.label: item for item in StockItem.objects.filter(label__in=labels).select_related("place")}
    waste_money = [_waste_money(source) for source in cut.plan.sources]
    sources: list[dict[str, Any]] = []
    first = 1
    for alike in _runs(cut.plan.sources):
        source = alike[0]
        first = first if sources and sources[-1]["source"].label == source.label else 1
        item = items[source.label]
        free_mm = item.free + own.get(item.pk, 0)
        row = _source_row(source, item, free_mm=free_mm, unit=unit, kerf_mm=kerf_mm)
        sources.append(row | {"first": first, "last": first + len(alike) - 1})
        first += len(alike)
    return {
        "cut": cut,
        "plan": cut.plan,
        "sources": sources,
        "letters": [(LETTERS[at % len(LETTERS)], row) for at, row in enumerate(cut.needs) if row.piece.count],
        "waste_mm2": cut.plan.waste_mm2,
        "waste_money": None
        if None in waste_money
        else sum((each for each in waste_money if each), Decimal(0)),
        "useful": sum(len(source.useful_rests) for source in cut.plan.sources),
    }


def _waste_money(source: SourceCut) -> Decimal | None:
    if source.price is None:
        return None
    area = source.width_mm * source.height_mm
    share = source.price * source.waste_mm2 / area if area else 0.0
    return Decimal(str(share)).quantize(Decimal("0.01"), ROUND_HALF_UP)


def _source_row(
    source: SourceCut, item: StockItem, *, free_mm: int, unit: str, kerf_mm: int
) -> dict[str, Any]:
    across = all(strip.x_mm == source.strips[0].x_mm for strip in source.strips) and (
        source.is_roll or source.strips[0].width_mm == source.width_mm
    )
    lengths = [strip.height_mm if across else strip.width_mm for strip in source.strips]
    room = free_mm if source.is_roll else (source.height_mm if across else source.width_mm)
    marks = ruler_marks(lengths, room_mm=room, unit=unit, kerf_mm=kerf_mm)
    taken = taken_mm(source, free_mm=free_mm, unit=unit, kerf_mm=kerf_mm) if source.is_roll else 0
    is_wide = source.is_roll or source.height_mm > LINE_MM // 2
    return {
        "source": source,
        "item": item,
        "taken_mm": taken,
        "across": across,
        "strips": _strip_rows(source, marks, across=across, unit=unit, kerf_mm=kerf_mm),
        "lines": _lines(source) if across else [_whole(source)],
        "deep_mm": source.width_mm,
        "is_wide": is_wide,
        "view": f"0 {-LETTER_MM * 1.6:g} {LINE_MM if is_wide else LINE_MM // 2} "
        f"{source.width_mm + LETTER_MM * 1.8:g}",
    }


def _runs(sources: Sequence[SourceCut]) -> list[list[SourceCut]]:
    """Return the sources in runs that are cut alike: sheets of one pack need only one drawing."""
    return [list(run) for _, run in groupby(sources)]


def _strip_rows(
    source: SourceCut, marks: Marks, *, across: bool, unit: str, kerf_mm: int
) -> list[dict[str, Any]]:
    """Return the strips in cutting order, a row for each run of equal ones with the mark of every cut."""
    written = [_pieces_in_words(each, across=across, unit=unit, kerf_mm=kerf_mm) for each in source.strips]
    sizes = [strip.height_mm if across else strip.width_mm for strip in source.strips]
    rows: list[dict[str, Any]] = []
    for number, (words, size, mark) in enumerate(zip(written, sizes, marks.words, strict=True), 1):
        if rows and (rows[-1]["pieces"], rows[-1]["size_mm"]) == (words, size):
            rows[-1]["last"] = number
            # The unit stands once, behind the last mark.
            rows[-1]["marks"][-1] = rows[-1]["marks"][-1].removesuffix(f" {marks.unit}")
            rows[-1]["marks"].append(mark)
        else:
            rows.append({"first": number, "last": number, "size_mm": size, "marks": [mark], "pieces": words})
    return rows


def _pieces_in_words(strip: Strip, *, across: bool, unit: str, kerf_mm: int) -> list[tuple[str, str, bool]]:
    """Return each piece's letter, the mark it reaches to inside its strip, and whether it is turned."""
    sizes = [piece.width_mm if across else piece.height_mm for piece in strip.pieces]
    room = strip.width_mm if across else strip.height_mm
    inside = ruler_marks(sizes, room_mm=room, unit=unit, kerf_mm=kerf_mm)
    return [
        (LETTERS[piece.need % len(LETTERS)], mark, piece.turned)
        for piece, mark in zip(strip.pieces, inside.words, strict=True)
    ]


def _lines(source: SourceCut) -> list[DrawnLine]:
    """Return the drawing in lines that begin with a strip."""
    lines: list[list[tuple[int, Strip]]] = [[]]
    for number, strip in enumerate(source.strips, 1):
        line = lines[-1]
        if line and strip.y_mm + strip.height_mm - line[0][1].y_mm > LINE_MM:
            lines.append([])
        lines[-1].append((number, strip))
    drawn = []
    for line in lines:
        start = line[0][1].y_mm
        end = line[-1][1].y_mm + line[-1][1].height_mm
        if line is lines[-1]:
            end = max(end, source.height_mm)
        boxes = [
            Box("piece", p.y_mm - start, p.x_mm, p.height_mm, p.width_mm, LETTERS[p.need % len(LETTERS)])
            for _, strip in line
            for p in strip.pieces
        ]
        boxes += [_rest_box(rest, start) for rest in source.rests if start <= rest.y_mm < end]
        strips = tuple(DrawnStrip(number, strip.y_mm - start, strip.height_mm) for number, strip in line)
        drawn.append(DrawnLine(start, strips, tuple(boxes), end - start))
    return _without_alike(drawn)


def _without_alike(lines: Sequence[DrawnLine]) -> list[DrawnLine]:
    """Return the lines that show something new: one that is drawn as the line before, or as its beginning, does not."""
    kept: list[DrawnLine] = []
    for line in lines:
        before = kept[-1] if kept else None
        if (
            before
            and set(line.boxes) <= set(before.boxes)
            and line.long_mm == sum(strip.width for strip in before.strips[: len(line.strips)])
        ):
            kept[-1] = replace(before, alike_to=line.last)
        else:
            kept.append(line)
    return kept


def _whole(source: SourceCut) -> DrawnLine:
    """Return the drawing of a flat whose strips run along it."""
    boxes = [
        Box("piece", p.y_mm, p.x_mm, p.height_mm, p.width_mm, LETTERS[p.need % len(LETTERS)])
        for p in source.pieces
    ]
    boxes += [_rest_box(rest, 0) for rest in source.rests]
    return DrawnLine(0, (), tuple(boxes), source.height_mm)


def _rest_box(rest: Rest, start: int) -> Box:
    kind = "rest" if rest.is_useful else "waste"
    mark = pgettext("an offcut", "keep") if rest.is_useful else ""
    return Box(kind, rest.y_mm - start, rest.x_mm, rest.height_mm, rest.width_mm, mark)
