"""The pages of the shelf as a person uses them."""

from django.urls import reverse

from inventory.models import (
    StockItem,
)


def labels(response):
    return [row.thing.item.label for row in response.context["rows"]]


def held(item):
    return StockItem.objects.get(pk=item.pk).on_hand


def do(client, item, slug, **fields):
    """Carry out an act as the item's page offers it; return the page that it leads to."""
    page = client.get(reverse("item", args=[item.label]))
    form = next(form for form, _ in page.context["forms"] if form.slug == slug)
    fields = {"key": form["key"].value()} | fields
    return client.post(reverse("act", args=[item.label, slug]), fields, follow=True)


def the_list(client, slug="thread", **asked):
    return client.get(reverse("shelf_list", args=[slug]), asked)
