"""Pictures of designs, as PNG; an address holds all that its picture shows, so a browser keeps it for good."""

from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.kept_files import DamagedFile, FileNotKept
from planning.compute.picture import NoSuchPicture
from planning.library.pictures import FABRIC, Kind, Picture, picture_address, picture_bytes, picture_of
from planning.models import Design
from planning.stitch_files.reading import DEFAULT_LIMITS, UnreadableDesign

FOR_GOOD = "private, max-age=31536000, immutable"
USUAL_WIDTH = "640"


@require_safe
def picture(request: HttpRequest, pk: int, *, kind: Kind) -> HttpResponseBase:
    """Show a design as thread, as a map of density, or stitch by stitch.

    Only the one full address of a picture is answered with it; any other way of asking leads there.
    """
    design = get_object_or_404(Design.objects.prefetch_related("blocks"), pk=pk)
    try:
        wanted = _wanted(request, design, kind=kind)
    except NoSuchPicture as problem:
        return _refusal(str(problem), status=422)
    address = picture_address(design, wanted)
    if request.get_full_path() != address:
        return HttpResponseRedirect(address, headers={"Cache-Control": "no-store"})
    kept = {"Cache-Control": FOR_GOOD, "ETag": f'"{wanted.key}"'}
    seen = get_conditional_response(request, etag=kept["ETag"])
    if seen is not None:
        for name, value in kept.items():
            seen[name] = value
        return seen
    try:
        content = picture_bytes(wanted, name=design.name)
    except (UnreadableDesign, NoSuchPicture, FileNotKept, DamagedFile) as problem:
        return _refusal(
            _("There is no picture of {name}. {problem}").format(name=design.name, problem=problem),
            status=404,
        )
    return HttpResponse(content, content_type="image/png", headers=kept)


def _wanted(request: HttpRequest, design: Design, *, kind: Kind) -> Picture:
    """Return the picture that the address asks for. Raises NoSuchPicture."""
    width = request.GET.get("width", USUAL_WIDTH)
    if not (width.isascii() and width.isdigit() and len(width) <= 6):
        raise NoSuchPicture(
            _("{width} is not a width in pixels. Give a whole number.").format(width=width[:20])
        )
    colours = request.GET.get("colours")
    if colours is not None and colours.count("-") >= DEFAULT_LIMITS.blocks:
        raise NoSuchPicture(
            _("A design has at most {blocks} colour blocks. Give one colour for each.").format(
                blocks=DEFAULT_LIMITS.blocks
            )
        )
    return picture_of(
        design,
        kind=kind,
        colours=None
        if colours is None
        else ["" if each == "none" else f"#{each}" for each in colours.split("-")],
        fabric=f"#{request.GET['fabric']}" if "fabric" in request.GET else FABRIC,
        width_px=int(width),
    )


def _refusal(words: str, *, status: int) -> HttpResponse:
    return HttpResponse(
        words, status=status, content_type="text/plain; charset=utf-8", headers={"Cache-Control": "no-store"}
    )
