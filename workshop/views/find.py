"""The one search in the header: it opens what was named wholly, and shows what else was found."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import get_language
from django.views.decorators.http import require_safe

from inventory.models import Order, Place, StabilizerProduct, Supplier
from planning.models import Design, Fabric, Job, Machine
from workshop.finding.everything import Labelled, find
from workshop.handbook.pages import handbook
from workshop.handbook.search import search

LONGEST = 80
MOST_EXPLAINED = 3  # pages of the handbook


@require_safe
def find_anything(request: HttpRequest) -> HttpResponse:
    """Answer what was typed or scanned into the header."""
    asked = request.GET.get("q", "").replace("\x00", "").strip()
    found = find(asked[:LONGEST] if "://" not in asked else asked[:500])
    if isinstance(found.very, Labelled):
        if found.very.rest:
            return redirect(
                f"{reverse('scan')}?{urlencode({'code': f'{found.very.label} {found.very.rest}'})}"
            )
        return redirect("item", found.very.label)
    if found.very is not None and (address := _page_of(found.very)):
        return redirect(address)
    explained = search(handbook(get_language() or "en").values(), found.asked)[:MOST_EXPLAINED]
    return render(
        request, "workshop/find.html", {"found": found, "asked": found.asked, "explained": explained}
    )


def _page_of(record: object) -> str:
    match record:
        case Job():
            return reverse("job", args=[record.pk])
        case Order():
            return reverse("order", args=[record.number])
        case Design():
            return reverse("design", args=[record.pk])
        case Machine():
            return reverse("setup_record", args=["machines", record.pk])
        case Fabric():
            return reverse("setup_record", args=["fabrics", record.pk])
        case Place():
            return f"{reverse('shelf')}?{urlencode({'q': record.name})}"
        case StabilizerProduct():
            return reverse("catalogue_record", args=["stabilizers", record.pk])
        case Supplier():
            return reverse("catalogue_record", args=["suppliers", record.pk])
    return ""
