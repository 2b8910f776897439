"""The pages of the library: its list, one design, its colours and its variants."""

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from planning.jobs.jobs import JobFacts, make_job
from planning.library.colours import RequestedColour, recolour
from planning.library.designs import keep_design, stored_name
from planning.library.search import (
    describe_design,
    note_stitch_out,
)
from planning.models import Design, StitchOutNote
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_range, a_shade
from tests.pages import page_text
from tests.planning.written_files import file_bytes, pennant

pytestmark = pytest.mark.django_db
RED, BLUE, GREEN, GOLD = "#b01c2e", "#1c2b8d", "#107040", "#f0c020"


def a_job():
    return JobFacts(what="crew caps", pieces=10)


def test_a_visitor_is_asked_to_sign_in(client, person, keep):
    design = keep(RED, name="cap.pes")
    for name in ("design", "design_file", "design_colours", "design_delete"):
        assert client.get(reverse(name, args=[design.pk])).url.startswith(reverse("sign_in"))
    assert client.get(reverse("designs")).url.startswith(reverse("sign_in"))


def test_the_empty_library_offers_the_first_step(signed_in):
    page = signed_in.get(reverse("designs")).content.decode()
    assert "No designs yet" in page
    assert reverse("design_import") in page


def test_the_list_shows_one_entry_with_its_formats(signed_in, keep_bytes):
    keep_bytes(file_bytes(pennant(), "pes"), "pennant.pes")
    keep_bytes(file_bytes(pennant(), "dst"), "pennant.dst")
    page = signed_in.get(reverse("designs")).content.decode()
    assert "1 design<" in page
    assert "PES, DST" in page
    assert page.count('class="design-name"') == 1


def test_a_search_that_finds_nothing_says_so_and_keeps_what_was_typed(signed_in, keep):
    keep(RED, name="cap.pes")
    page = signed_in.get(reverse("designs"), {"q": "lighthouse"}).content.decode()
    assert "No design answers to this" in page
    assert 'value="lighthouse"' in page


def test_a_search_by_colour_takes_hex_lab_and_code(signed_in, keep):
    keep(RED, name="cap.pes")
    a_shade("1147", hex=RED)
    for typed in (RED, "lab:37.6,56.5,27", "1147"):
        page = page_text(signed_in.get(reverse("designs"), {"colour": typed}))
        assert "1 design found" in page, typed
    response = signed_in.get(reverse("designs"), {"colour": "no such shade"})
    assert response.status_code == 422
    assert "No shade is known by" in page_text(response)


def test_a_search_whose_numbers_cross_is_refused_in_words(signed_in, keep):
    keep(RED, name="cap.pes")
    response = signed_in.get(reverse("designs"), {"stitches_from": "500", "stitches_to": "100"})
    assert response.status_code == 422
    assert "below 500" in response.content.decode()


def test_the_list_asks_the_database_no_more_for_a_fuller_library(signed_in, keep):
    describe_design(keep(RED, BLUE, name="first.pes"), name="first", tags=["a", "b"], favourite=True)
    signed_in.get(reverse("designs"))

    def queries():
        with CaptureQueriesContext(connection) as seen:
            signed_in.get(reverse("designs"), {"q": "", "colours_to": "9", "colour": RED, "order": "-size"})
        return len(seen)

    before = queries()
    for number in range(12):
        design = keep(RED, GREEN, GOLD, name=f"more {number}.pes", stitches=210 + number)
        describe_design(design, name=design.name, tags=[f"tag {number}"], favourite=False)
    assert queries() == before


def test_the_page_of_a_design_asks_the_database_no_more_for_more_blocks(signed_in, keep):
    few, many = keep(RED, name="few.pes"), keep(*[RED, BLUE, GOLD] * 5, name="many.pes")
    shade = a_shade("1147", hex=RED)
    colour = RequestedColour(hex=RED, shade_id=shade.pk)
    recolour(few, {1: colour})
    recolour(many, dict.fromkeys(range(1, 16), colour))

    def queries(design):
        with CaptureQueriesContext(connection) as seen:
            signed_in.get(reverse("design", args=[design.pk]), {"owned": "yes"})
        return len(seen)

    queries(few)
    assert queries(many) == queries(few)


def test_a_design_is_shown_by_stops_and_by_threads(signed_in, keep):
    design = keep(RED, BLUE, RED, name="cap.pes")
    address = reverse("design", args=[design.pk])
    stops = signed_in.get(address).content.decode()
    threads = signed_in.get(address, {"view": "threads"}).content.decode()
    assert stops.count('class="swatch-name"') == 3
    assert threads.count('class="swatch-name"') == 2
    assert "1, 3" in threads
    assert f"?design={design.pk}" in stops


def test_warnings_and_missing_colours_are_told(signed_in, keep_bytes):
    design = keep_bytes(file_bytes(pennant(), "dst"), "pennant.dst")
    page = page_text(signed_in.get(reverse("design", args=[design.pk])))
    assert "names no colours" in page
    recolour(design, {1: RequestedColour(hex=RED)})
    page = page_text(signed_in.get(reverse("design", args=[design.pk])))
    assert "3 blocks ask for no colour" in page


def test_a_stitch_file_is_handed_out_as_it_came(signed_in, stitch_file):
    path = stitch_file(RED, name="crew cap.pes")
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    response = signed_in.get(reverse("design_file", args=[design.pk]))
    assert b"".join(response.streaming_content) == path.read_bytes()
    assert 'filename="crew cap.pes"' in response["Content-Disposition"]
    default_storage.delete(stored_name(design.sha256, design.format))
    assert signed_in.get(reverse("design_file", args=[design.pk])).status_code == 404


def test_a_design_is_renamed_tagged_and_marked(signed_in, keep):
    design = keep(RED, name="cap.pes")
    fields = {"name": "Crew cap", "tags": "caps, Winter", "favourite": "on"}
    assert signed_in.post(reverse("design_describe", args=[design.pk]), fields).status_code == 302
    design.refresh_from_db()
    assert (design.name, design.favourite, design.tags.count()) == ("Crew cap", True, 2)
    response = signed_in.post(reverse("design_describe", args=[design.pk]), {"name": "", "tags": "kept"})
    assert response.status_code == 422
    assert 'value="kept"' in response.content.decode()
    signed_in.post(reverse("design_favourite", args=[design.pk]), {"favourite": "no"})
    design.refresh_from_db()
    assert not design.favourite


def test_a_stitch_out_is_noted_and_a_wrong_one_refused(signed_in, keep, person):
    design = keep(RED, name="cap.pes")
    address = reverse("design_note", args=[design.pk])
    fields = {"stitched_on": "2026-03-01", "fabric": "twill", "verdict": "change", "words": "Loosen the top."}
    assert signed_in.post(address, fields).status_code == 302
    page = page_text(signed_in.get(reverse("design", args=[design.pk])))
    assert "Sun 1 Mar 2026" in page
    assert "Loosen the top." in page
    assert "good with a change" in page
    response = signed_in.post(address, fields | {"verdict": "perfect"})
    assert response.status_code == 422
    note = StitchOutNote.objects.get()
    assert note.by == person
    signed_in.post(reverse("design_note_delete", args=[design.pk, note.pk]))
    assert not StitchOutNote.objects.exists()


def test_a_note_of_another_design_is_not_deleted_by_this_address(signed_in, keep, person):
    one, other = keep(RED, name="one.pes"), keep(RED, BLUE, name="other.pes")
    note = note_stitch_out(other, stitched_on=NOW.date(), fabric="felt", verdict="bad", words="", by=person)
    assert signed_in.post(reverse("design_note_delete", args=[one.pk, note.pk])).status_code == 404
    assert StitchOutNote.objects.get() == note


def test_deleting_asks_first_and_is_refused_while_a_job_needs_it(signed_in, keep, person):
    design = keep(RED, name="cap.pes")
    address = reverse("design_delete", args=[design.pk])
    assert "Delete cap?" in signed_in.get(address).content.decode()
    job = make_job(a_job(), designs=[design], at=NOW, by=person)
    page = signed_in.get(address).content.decode()
    assert "cap is needed" in page
    assert "button-danger" not in page
    assert "cannot be deleted" in signed_in.post(address, follow=True).content.decode()
    job.placed.all().delete()
    signed_in.post(address)
    assert not Design.objects.exists()


def test_colours_are_typed_on_a_page(signed_in, keep):
    design = keep(RED, BLUE, GREEN, name="cap.pes")
    shade = a_shade("1147", hex=GOLD, name="sun")
    address = reverse("design_colours", args=[design.pk])
    page = signed_in.get(address).content.decode()
    assert f'value="{BLUE} colour 2"' in page
    fields = {"colour_1": f"{RED} colour 1", "colour_2": "1147", "colour_3": "", "stays_3": "on"}
    assert signed_in.post(address, fields).status_code == 302
    first, second, third = design.blocks.all()
    assert not first.chosen_by_hand
    assert (second.shade, second.name, second.chosen_by_hand) == (shade, "sun", True)
    assert (third.hex, third.same_thread) == ("", True)


def test_a_colour_that_is_not_understood_is_told_beside_its_field(signed_in, keep):
    design = keep(RED, BLUE, name="cap.pes")
    fields = {"colour_1": "#zz", "colour_2": "9999"}
    response = signed_in.post(reverse("design_colours", args=[design.pk]), fields)
    page = response.content.decode()
    assert response.status_code == 422
    assert "Write it like #1f4e79" in page
    assert "No shade is known by" in page
    assert 'value="9999"' in page
    assert [block.hex for block in design.blocks.all()] == [RED, BLUE]


def test_shades_are_suggested_by_what_was_typed(signed_in, keep):
    a_shade("1147", hex=GOLD, name="sun")
    a_shade("2200", hex=RED, name="signal red")
    a_shade("1148", hex=RED, range=a_range("Skerry", "Under", purpose="bobbin"))

    def suggested(typed):
        return page_text(signed_in.get(reverse("shade_suggestions"), {"colour_1": typed}))

    assert 'value="Skerry Forty 1147" label="sun"' in suggested("114")
    assert "1148" not in suggested("114")
    assert "2200" in suggested("signal")
    assert "option" not in suggested("#1147")


def test_a_colour_list_is_shown_before_it_is_applied(signed_in, keep):
    design = keep(RED, BLUE, GREEN, name="cap.pes")
    a_shade("1147", hex=GOLD, name="sun")
    address = reverse("design_colour_list", args=[design.pk])
    text = "1. 1147\r\n2. 9999 nowhere\r\n3. #112233 dusk"
    shown = signed_in.post(address, {"text": text, "step": "look"})
    page = shown.content.decode()
    assert "2 of 3 stops are understood" in page
    assert "Line 2" in page
    assert [block.hex for block in design.blocks.all()] == [RED, BLUE, GREEN]
    seen = shown.context["seen"]
    response = signed_in.post(address, {"text": text, "step": "apply", "seen": seen})
    assert response.status_code == 302
    first, second, third = design.blocks.all()
    assert (first.name, second.hex, third.hex) == ("sun", BLUE, "#112233")


def test_a_list_that_was_changed_after_it_was_shown_is_shown_again(signed_in, keep):
    design = keep(RED, BLUE, name="cap.pes")
    address = reverse("design_colour_list", args=[design.pk])
    seen = signed_in.post(address, {"text": "#112233", "step": "look"}).context["seen"]
    response = signed_in.post(address, {"text": "#445566", "step": "apply", "seen": seen})
    assert response.status_code == 200
    assert [block.hex for block in design.blocks.all()] == [RED, BLUE]


def test_a_colour_list_comes_as_a_file_in_any_common_encoding(signed_in, keep):
    design = keep(RED, name="cap.pes")
    a_shade("7", hex=GOLD, name="grün")
    for encoding in ("utf-8-sig", "utf-16", "cp1252"):
        file = SimpleUploadedFile("list.txt", "grün".encode(encoding))
        page = signed_in.post(
            reverse("design_colour_list", args=[design.pk]), {"file": file}
        ).content.decode()
        assert "Skerry Forty 7" in page, encoding
    empty = signed_in.post(reverse("design_colour_list", args=[design.pk]), {"text": "  "})
    assert empty.status_code == 422
    assert "Paste the list" in empty.content.decode()


def test_colours_are_copied_on_a_page_from_designs_with_as_many_blocks(signed_in, keep):
    design = keep(RED, BLUE, name="cap.pes")
    source = keep(GOLD, GREEN, name="source.pes")
    other = keep(GOLD, name="other.pes")
    address = reverse("design_colours_copy", args=[design.pk])
    page = signed_in.get(address).content.decode()
    assert "source" in page
    assert f'value="{other.pk}"' not in page
    assert signed_in.post(address, {"source": other.pk}).status_code == 422
    assert signed_in.post(address, {"source": source.pk}).status_code == 302
    assert [block.hex for block in design.blocks.all()] == [GOLD, GREEN]


def test_going_back_to_the_files_colours_asks_first(signed_in, keep):
    design = keep(RED, name="cap.pes")
    recolour(design, {1: RequestedColour(hex=GOLD)})
    address = reverse("design_colours_take_back", args=[design.pk])
    page = signed_in.get(address).content.decode()
    assert GOLD in page
    assert RED in page
    assert design.blocks.get().hex == GOLD
    signed_in.post(address)
    assert design.blocks.get().hex == RED


def test_plans_use_another_variant_when_a_person_says_so(signed_in, keep_bytes):
    first = keep_bytes(file_bytes(pennant(), "pes"), "pennant.pes")
    second = keep_bytes(file_bytes(pennant(), "dst"), "pennant.dst")
    page = signed_in.get(reverse("design", args=[first.pk])).content.decode()
    assert "Plan with DST" in page
    signed_in.post(reverse("design_plan_with", args=[second.pk]))
    assert list(Design.objects.listed()) == [second]
    signed_in.post(reverse("design_set_apart", args=[first.pk]))
    assert Design.objects.listed().count() == 2


def test_nothing_is_changed_by_looking(signed_in, keep):
    design = keep(RED, name="cap.pes")
    for name in ("design_favourite", "design_note", "design_plan_with", "design_set_apart"):
        assert signed_in.get(reverse(name, args=[design.pk])).status_code == 405


def test_no_page_carries_inline_style_or_script(signed_in, keep):
    design = keep(RED, BLUE, name="cap.pes")
    keep(GOLD, GREEN, name="other.pes")
    addresses = [reverse("designs"), reverse("design_import")] + [
        reverse(name, args=[design.pk])
        for name in (
            "design",
            "design_describe",
            "design_colours",
            "design_colour_list",
            "design_colours_copy",
            "design_colours_take_back",
            "design_delete",
        )
    ]
    for address in addresses:
        page = signed_in.get(address).content.decode()
        assert "style=" not in page, address
        assert "<style" not in page, address
        assert "<script>" not in page, address


def test_pages_hold_so_many_designs_and_keep_the_search(signed_in, keep, monkeypatch):
    monkeypatch.setattr("planning.views.library.designs.PER_PAGE", 2)
    for number in range(5):
        keep(RED, name=f"cap {number}.pes", stitches=100 + number)
    page = page_text(signed_in.get(reverse("designs"), {"q": "cap", "page": 2}))
    assert "page 2 of 3" in page
    assert "cap 2" in page
    assert "q=cap&amp;page=3" in page


def test_a_day_is_offered_for_a_note(signed_in, keep):
    design = keep(RED, name="cap.pes")
    page = signed_in.get(reverse("design", args=[design.pk])).content.decode()
    assert timezone.localdate().isoformat() in page
