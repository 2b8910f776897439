"""The gap map as a page and a command; the pictures of a plan as other eyes see them."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from planning.library.designs import keep_design
from planning.models import Rules
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_put_up, a_range, a_roll, a_shade, a_spool, an_offer, some_bobbins

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf(workshop):
    a_spool(a_shade("R1", hex="#b42232", name="harbour red"))
    a_shade("R2", hex="#b02030")
    for number, hex in enumerate(("#2040a0", "#2242a4", "#1c3c98"), 1):
        a_shade(f"B{number}", hex=hex, range=a_range("Cormorant", "Fine"))
    an_offer(a_put_up(a_range("Cormorant", "Fine")), price="3.90")
    a_shade("G1", hex="#20a040")


def test_the_page_draws_the_gaps_and_says_the_same_in_a_table(signed_in, shelf):
    page = signed_in.get(reverse("gap_map"), {"most": 1})
    found = page.context["found"]
    assert (len(found.gaps.points), found.gaps.uncovered) == (6, 4)
    (suggested,) = found.suggested
    assert suggested.suggestion.adds == found.gaps.bound == 3
    assert str(suggested.offer.price) == "3.90"
    text = page.content.decode()
    assert text.count('role="img"') == 3
    assert "dark blue" in text
    assert "The same by region" in text
    marks = [mark for plane in page.context["planes"] for mark in plane["marks"]]
    assert len(marks) == 6
    assert sum(mark["covered"] for mark in marks) == 2


def test_a_limit_or_a_number_that_makes_no_sense_is_refused(signed_in, shelf):
    assert signed_in.get(reverse("gap_map"), {"limit": "none"}).status_code == 422
    assert signed_in.get(reverse("gap_map"), {"most": "99"}).status_code == 422


def test_an_empty_catalogue_says_what_the_map_is_for(signed_in, workshop):
    assert "Nothing to draw yet" in signed_in.get(reverse("gap_map")).content.decode()


def test_the_queries_do_not_grow_with_the_shades(signed_in, shelf):
    def queries():
        with CaptureQueriesContext(connection) as caught:
            signed_in.get(reverse("gap_map"))
        return len(caught)

    few = queries()
    for number in range(8):
        a_shade(f"X{number}", hex=f"#{number * 30:02x}40{number * 20:02x}")
    assert queries() == few


def test_the_command_tells_the_same(shelf):
    out = StringIO()
    call_command("gap_map", "--most", "1", "--format", "json", stdout=out)
    said = json.loads(out.getvalue())
    assert (said["known"], said["covered"], said["would_cover"], said["bound"]) == (6, 2, 3, 3)
    assert said["suggestions"][0]["price"] == "3.90"
    out = StringIO()
    call_command("gap_map", stdout=out)
    assert "4 of 6 known colours" in out.getvalue()


def test_the_pictures_can_be_seen_with_other_eyes(signed_in, shelf, stitch_file):
    some_bobbins(count=20)
    a_roll()
    path = stitch_file("#b01c2e", "#20a040")
    kept = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    asked = {"design": kept.pk, "pieces": 5}
    as_all = signed_in.get(reverse("plan_sheet"), asked).context["pictures"][0]
    page = signed_in.get(reverse("plan_sheet"), asked | {"seen": "deuteranopia"})
    other = page.context["pictures"][0]
    assert [each.name for each in other.asked] == [each.name for each in as_all.asked]
    assert [each.hex for each in other.asked] != [each.hex for each in as_all.asked]
    assert [each["name"] for each in page.context["viewers"] if each["now"]] == [
        "eyes that tell green less well"
    ]
    unknown = signed_in.get(reverse("plan_sheet"), asked | {"seen": "nobody"})
    assert unknown.context["pictures"][0].asked == as_all.asked


def test_a_pair_that_falls_together_for_some_eyes_is_noted(signed_in, workshop, stitch_file):
    Rules.objects.create(pk=1, colour_limit=20.0)
    a_spool(a_shade("R", hex="#a05030"))
    a_spool(a_shade("G", hex="#6c6a2c"))
    path = stitch_file("#8a3020", "#7c8a3c")
    kept = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    page = signed_in.get(reverse("plan_sheet"), {"design": kept.pk, "pieces": 5})
    notes = [note for note in page.context["plan"].notes if "hard to tell apart with" in note]
    assert any("deuteranopia" in note or "protanopia" in note for note in notes)
