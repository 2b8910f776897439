"""Pages of acts on many things, and of shades renamed or made one: read well, fit, in the light and in the dark."""

from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Page, expect

from inventory.lists.many import move_many
from inventory.models import ActOnMany, StockItem
from tests.factories import NOW, a_place, a_shade, a_spool

Check = Callable[[Page], None]


def test_many_things_are_ticked_moved_and_taken_back(
    signed_in: Page, axe_is_silent: Check, fits: Check, tmp_path: Path
):
    page, shade = signed_in, a_shade("R1", name="harbour red")
    things = [StockItem.objects.get(pk=a_spool(shade, place=a_place("wall")).pk) for _ in range(3)]
    a_place("drawer")

    def looked_at(name: str) -> None:
        axe_is_silent(page)
        for width in (1280, 360):
            page.set_viewport_size({"width": width, "height": 900})
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                page.screenshot(path=tmp_path / f"{name}-{width}-{scheme}.png")
        page.emulate_media(color_scheme="light")
        fits(page)
        page.set_viewport_size({"width": 1280, "height": 900})

    def ticked(button: str) -> None:
        page.goto("/shelf/list/thread/")
        for box in page.locator("tbody input[name=item]").all():
            box.check()
        page.get_by_role("button", name=button).click()

    ticked("Weigh or count")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Weigh or count 3 things")
    looked_at("find")
    ticked("Give new labels")
    looked_at("relabel")
    page.goto("/shelf/list/thread/")
    for box in page.locator("tbody input[name=item]").all():
        box.check()
    page.get_by_label("Place", exact=True).last.select_option("drawer")
    page.get_by_role("button", name="Move").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("3 things moved: to drawer")
    looked_at("act")
    page.get_by_role("button", name="Take all of it back").click()
    expect(page.get_by_text("Taken back", exact=False).first).to_be_visible()
    assert set(StockItem.objects.values_list("place__name", flat=True)) == {"wall"}
    move_many(things, place=a_place("drawer"), key="again", at=NOW, by=None)
    page.goto("/shelf/together/")
    expect(page.locator("tbody tr")).to_have_count(ActOnMany.objects.count())
    looked_at("acts")
    page.goto(f"/shelf/catalogue/shades/{shade.pk}/one/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("harbour red")
    looked_at("shade")
