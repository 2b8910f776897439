"""The handbook: what there is, what has the words that somebody looks for, and one page."""

from functools import partial

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language, gettext
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from workshop.handbook.pages import CHAPTERS, ORDER, HandbookPage, as_html, handbook
from workshop.handbook.search import SMALL, folded, search, words_of

MOST_ASKED = 200  # signs


@require_safe
def contents(request: HttpRequest) -> HttpResponse:
    """Show the chapters, or what has the words ``q``."""
    pages, asked = handbook(get_language() or "en"), request.GET.get("q", "").strip()[:MOST_ASKED]
    chapters = [(gettext(name), [pages[slug] for slug in slugs]) for name, slugs in CHAPTERS]
    also = [reverse("handbook_words"), *(reverse("handbook_page", args=[slug]) for slug in ORDER)]
    also += [_picture(each, name) for each in pages.values() for name in each.pictures]
    context = {
        "chapters": chapters,
        "asked": asked,
        "found": search(pages.values(), asked),
        "also": " ".join(also),
        "small": " ".join(sorted(SMALL)),
    }
    return render(request, "workshop/handbook.html", context)


@require_safe
@cache_control(no_cache=True)
def words(request: HttpRequest) -> HttpResponse:
    """Answer with the words of every page, for a search on the device."""
    pages = [
        {
            "title": each.title,
            "address": reverse("handbook_page", args=[each.slug]),
            "title_words": folded(each.title),
            "words": words_of(each),
        }
        for each in handbook(get_language() or "en").values()
    ]
    return JsonResponse({"pages": pages})


@require_safe
def page(request: HttpRequest, slug: str) -> HttpResponse:
    """Show one page, with the one before it and the one after it."""
    pages = handbook(get_language() or "en")
    if slug not in pages:
        raise Http404
    at = ORDER.index(slug)
    context = {
        "page": pages[slug],
        "html": as_html(pages[slug], address=partial(_address, pages[slug])),
        "before": pages[ORDER[at - 1]] if at else None,
        "after": pages[ORDER[at + 1]] if at + 1 < len(ORDER) else None,
    }
    return render(request, "workshop/handbook_page.html", context)


def _address(shown: HandbookPage, kind: str, name: str) -> str:
    if kind == "picture":
        return _picture(shown, name)
    return reverse("handbook_page", args=[name]) if kind == "page" else reverse(name)


def _picture(shown: HandbookPage, name: str) -> str:
    """Return where a picture lies that was taken in the language of the page that shows it."""
    return static(f"workshop/pictures/{shown.language}/{name}.png")
