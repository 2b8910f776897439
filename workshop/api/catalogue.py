"""The catalogue: makers, ranges and shades, what else things are called by, and which owned thread matches a colour."""

from typing import Any

from django.db.models import Count
from django.http import Http404, HttpRequest
from ninja import Field, Path, Query, Router, Schema

from inventory.compute.left_out import left_out_as_data
from inventory.models import BobbinStyle, Place, PutUp, Shade, StabilizerProduct, ThreadRange
from inventory.shelf.reads import colour_meant, left_out_of_nearest, owned_nearest
from workshop.api.shapes import Asked, Name, Number, PageAsked, RowPage, Words, page_of

router = Router(tags=["catalogue"])


class MakerRow(Schema):
    """A maker of thread."""

    maker: str
    ranges: int


class PutUpRow(Schema):
    """How a range is sold."""

    id: int
    name: str
    length_mm: int
    empty_mg: int | None = Field(description="What an empty one weighs; null where nobody knows.")


class RangeRow(Schema):
    """A maker's range: one construction in many shades."""

    id: int
    maker: str
    name: str
    purpose: str
    fibre: str
    tex: float
    tex_is_nominal: bool = Field(description="Whether the tex is only what the weight label suggests.")
    weight_label: str
    put_ups: list[PutUpRow]


class ShadeRow(Schema):
    """One colour of a range; Lab under D65 and the 2° observer, null where nobody has said."""

    id: int
    maker: str
    range: str
    range_id: int
    code: str
    name: str
    hex: str | None
    plain_name: str | None
    lab: list[float] | None
    free_mm: int = Field(description="Free on the shelf.")


class NamedRow(Schema):
    """A thing that is asked for by its number or its name."""

    id: int
    name: str


class ProductRow(NamedRow):
    """A stabilizer."""

    maker: str
    kind: str
    weight_g_m2: float


class MatchRow(Schema):
    """An owned shade beside the colour asked for."""

    shade: ShadeRow
    delta_e_00: float
    grey_scale_grade: str = Field(description="By ISO 105-A05, such as 4-5.")


class LeftOutRow(Schema):
    """What was not considered, and why."""

    what: str
    count: int
    why: str
    labels: list[str]


class MatchAnswer(Schema):
    """The owned shades nearest to a colour, nearest first."""

    shades: list[MatchRow]
    left_out: list[LeftOutRow]


class RangesAsked(PageAsked):
    """Ranges of which maker."""

    maker: Words = ""


class ShadesAsked(PageAsked):
    """Shades of which range, or with this code, now or earlier."""

    range_id: int | None = Field(None, ge=1, le=2**31 - 1)
    code: Words = ""


class MatchAsked(Asked):
    """Near which colour."""

    colour: Name = Field(description="#rrggbb, lab:L,a,b, the code of a shade, or words such as dark blue.")
    limit: int = Field(10, ge=1, le=50)


@router.get("/makers", response=RowPage[MakerRow], url_name="api_makers")
def list_makers(request: HttpRequest, asked: Query[PageAsked]) -> Any:
    """List the makers of thread."""
    found = ThreadRange.objects.order_by("maker").values("maker").annotate(ranges=Count("pk"))
    return page_of(request, found, asked, count=found.count(), row=dict)


@router.get("/ranges", response=RowPage[RangeRow], url_name="api_ranges")
def list_ranges(request: HttpRequest, asked: Query[RangesAsked]) -> Any:
    """List the ranges with their put-ups."""
    found = ThreadRange.objects.order_by("maker", "name", "pk").prefetch_related("put_ups")
    found = found.filter(maker__iexact=asked.maker) if asked.maker else found
    return page_of(request, found, asked, count=found.count(), row=_range)


@router.get("/ranges/{number}", response=RangeRow, url_name="api_range")
def one_range(request: HttpRequest, number: Path[Number]) -> Any:
    """Tell of one range."""
    found = ThreadRange.objects.prefetch_related("put_ups").filter(pk=number).first()
    if found is None:
        raise Http404(f"No range has the number {number}.")
    return _range(found)


@router.get("/shades", response=RowPage[ShadeRow], url_name="api_shades")
def list_shades(request: HttpRequest, asked: Query[ShadesAsked]) -> Any:
    """List the shades, with what is free of each."""
    found = Shade.objects.by_code(asked.code) if asked.code else Shade.objects.all()
    found = found.filter(range_id=asked.range_id) if asked.range_id else found
    count = found.count()
    found = found.select_related("range").with_free_length().order_by("range_id", "code", "pk")
    return page_of(request, found, asked, count=count, row=_shade)


@router.get("/shades/{number}", response=ShadeRow, url_name="api_shade")
def one_shade(request: HttpRequest, number: Path[Number]) -> Any:
    """Tell of one shade."""
    found = Shade.objects.filter(pk=number).select_related("range").with_free_length().first()
    if found is None:
        raise Http404(f"No shade has the number {number}.")
    return _shade(found)


@router.get("/match", response=MatchAnswer, url_name="api_match")
def match(request: HttpRequest, asked: Query[MatchAsked]) -> Any:
    """List the owned thread nearest to a colour, nearest first."""
    near = owned_nearest(colour_meant(asked.colour), limit=asked.limit)
    return {
        "shades": [
            {
                "shade": _shade(each.shade),
                "delta_e_00": round(each.delta_e_00, 1),
                "grey_scale_grade": each.grade,
            }
            for each in near
        ],
        "left_out": left_out_as_data(left_out_of_nearest()),
    }


@router.get("/places", response=RowPage[NamedRow], url_name="api_places")
def list_places(request: HttpRequest, asked: Query[PageAsked]) -> Any:
    """List the places where things are kept."""
    found = Place.objects.order_by("name", "pk").values("id", "name")
    return page_of(request, found, asked, count=found.count(), row=dict)


@router.get("/bobbin-styles", response=RowPage[NamedRow], url_name="api_bobbin_styles")
def list_bobbin_styles(request: HttpRequest, asked: Query[PageAsked]) -> Any:
    """List the styles of bobbins."""
    found = BobbinStyle.objects.order_by("name", "pk").values("id", "name")
    return page_of(request, found, asked, count=found.count(), row=dict)


@router.get("/stabilizers", response=RowPage[ProductRow], url_name="api_stabilizers")
def list_stabilizers(request: HttpRequest, asked: Query[PageAsked]) -> Any:
    """List the stabilizers."""
    products = StabilizerProduct.objects.order_by("maker", "name", "pk")
    found = products.values("id", "name", "maker", "kind", "weight_g_m2")
    return page_of(request, found, asked, count=found.count(), row=dict)


def _range(found: ThreadRange) -> dict[str, Any]:
    return {
        "id": found.pk,
        **{
            name: getattr(found, name)
            for name in ("maker", "name", "purpose", "fibre", "tex", "tex_is_nominal", "weight_label")
        },
        "put_ups": [_put_up(each) for each in found.put_ups.all()],
    }


def _put_up(found: PutUp) -> dict[str, Any]:
    return {"id": found.pk, "name": found.name, "length_mm": found.length_mm, "empty_mg": found.tare_mg}


def _shade(found: Any) -> dict[str, Any]:
    """Tell of a shade that was read with its free length."""
    return {
        "id": found.pk,
        "maker": found.range.maker,
        "range": found.range.name,
        "range_id": found.range_id,
        "code": found.code,
        "name": found.name,
        "hex": found.hex or None,
        "plain_name": found.plain_name or None,
        "lab": [round(each, 2) for each in found.lab] if found.lab else None,
        "free_mm": found.free_mm,
    }
