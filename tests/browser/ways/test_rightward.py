"""Pages set from right to left: nothing lies beside them, at the desk and on a phone."""

import os
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Page

from planning.run.promise import promise
from planning.run.ticks import begin
from tests.browser.ways.conftest import a_job, stabilizer_and_bobbins

RIGHT_TO_LEFT = "document.documentElement.dir = 'rtl'"
# Beyond either edge: in a page set from right to left what is too wide lies on the left.
BESIDE = """() => {
  const page = document.documentElement;
  const width = page.clientWidth;
  const beside = [...document.querySelectorAll("body *")].filter((each) => {
    const box = each.getBoundingClientRect();
    return box.width && each.checkVisibility() && getComputedStyle(each).position !== "absolute"
      && (box.left < -1 || box.right > width + 1);
  });
  const wider = page.scrollWidth - width;
  return [wider, ...(wider > 0 ? beside.slice(0, 3).map((each) => each.outerHTML.slice(0, 90)) : [])];
}"""


@pytest.fixture
def addresses(short_job, stitch_file) -> dict[str, str]:
    running = a_job(stitch_file("#1c2b8d", name="anchor.pes"), what="crew caps", pieces=4)
    promise(running, at=timezone.now(), by=None)
    begin(running, at=timezone.now())
    stabilizer_and_bobbins()
    return {
        "today": "/",
        "plan": f"/jobs/{short_job.pk}/",
        "run": f"/jobs/{running.pk}/run/",
        "shelf": "/shelf/",
        "buying": "/buying/",
    }


def test_pages_read_from_right_to_left(addresses: dict[str, str], signed_in: Page) -> None:
    page = signed_in
    pictures = os.environ.get("PICTURES_IN")
    too_wide = {}
    for name, address in addresses.items():
        page.goto(address)
        page.evaluate(RIGHT_TO_LEFT)
        for width in (1280, 360):
            page.set_viewport_size({"width": width, "height": 800})
            wider, *beside = page.evaluate(BESIDE)
            if wider > 0:
                too_wide[name, width] = (wider, beside)
            page.locator(".me > summary").click()
            if page.evaluate(BESIDE)[0] > 0:
                too_wide[name, width, "menu"] = True
            page.locator(".me > summary").click()
            if pictures:
                page.screenshot(path=Path(pictures) / f"{name}-{width}.png", full_page=True)
    assert too_wide == {}
