"""The question and the plan sheet in the browser, as the server draws them."""

import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from planning.library import uploads
from planning.library.designs import keep_design
from planning.models import Design, Fabric, Machine, RememberedColour
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def full_shelf(workshop):
    a_spool(a_shade("R", hex=RED, name="harbour red"))
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    some_bobbins(count=20)
    a_roll()


@pytest.fixture
def kept(stitch_file, full_shelf):
    path = stitch_file(RED, BLUE)
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def upload(client, *paths, **fields):
    files = [SimpleUploadedFile(path.name, path.read_bytes()) for path in paths]
    return client.post(reverse("today"), {"pieces": 10, "stitch_files": files} | fields)


def test_a_visitor_is_asked_to_sign_in(client, person):
    assert client.get(reverse("today")).url.startswith(reverse("sign_in"))
    assert client.get(reverse("plan_sheet")).url.startswith(reverse("sign_in"))


def test_the_first_page_asks_the_question(signed_in, full_shelf):
    page = signed_in.get(reverse("today")).content.decode()
    assert "Is there enough?" in page
    assert "twill" in page
    assert 'type="file"' in page


def test_a_stitch_file_is_answered_with_a_plan_sheet(signed_in, stitch_file, full_shelf):
    fabric = Fabric.objects.get()
    response = upload(signed_in, stitch_file(RED, BLUE), fabric=fabric.pk)
    assert response.status_code == 302
    page = signed_in.get(response.url).content.decode()
    assert "Enough for all 12 pieces" in page
    assert "harbour red" in page
    assert "Tear-away" in page or "tear-away" in page


def test_a_file_that_is_none_is_refused_in_words_and_nothing_is_lost(signed_in, tmp_path, full_shelf):
    letter = tmp_path / "letter.pes"
    letter.write_text("Dear workshop")
    response = upload(signed_in, letter, pieces=37)
    page = response.content.decode()
    assert response.status_code == 422
    assert "letter.pes" in page
    assert 'value="37"' in page
    assert not Design.objects.exists()


def test_of_several_files_the_good_ones_are_kept_and_ticked(signed_in, stitch_file, tmp_path, full_shelf):
    letter = tmp_path / "letter.pes"
    letter.write_text("Dear workshop")
    page = page_text(upload(signed_in, letter, stitch_file(RED, name="good.pes")))
    assert "letter.pes" in page
    kept = Design.objects.get()
    assert f'name="design" value="{kept.pk}" checked' in page


def test_asking_without_a_design_says_what_to_do(signed_in, full_shelf):
    page = signed_in.post(reverse("today"), {"pieces": 10}).content.decode()
    assert "Choose a stitch file, or one of the designs kept here." in page


@pytest.mark.parametrize("pieces", ["", "0", "-3", "many", "1000000"])
def test_a_number_of_pieces_that_makes_no_batch_is_refused(signed_in, kept, pieces):
    response = signed_in.post(reverse("today"), {"pieces": pieces, "design": kept.pk})
    assert response.status_code == 422


def test_an_upload_that_is_too_large_is_refused_in_words(signed_in, full_shelf, monkeypatch, tmp_path):
    monkeypatch.setattr(uploads, "MOST_BYTES", 2_000)
    large = tmp_path / "large.dst"
    large.write_bytes(bytes(50_000))
    response = upload(signed_in, large, pieces=21)
    assert response.status_code == 422
    assert "Send fewer at once" in response.content.decode()
    assert 'value="21"' in response.content.decode()


def test_a_name_that_would_climb_out_of_its_folder_does_not(signed_in, stitch_file, full_shelf, tmp_path):
    content = stitch_file(RED).read_bytes()
    file = SimpleUploadedFile("x.pes", content)
    file._name = "../../climbs.pes"
    signed_in.post(reverse("today"), {"pieces": 1, "stitch_files": file})
    assert not list(tmp_path.parent.glob("**/climbs.pes"))


def test_a_plan_sheet_names_every_swatch_in_words(signed_in, kept):
    page = signed_in.get(reverse("plan_sheet"), {"design": kept.pk, "pieces": 10}).content.decode()
    for words in ("colour 1", "colour 2", "harbour red", "deep blue", "Skerry Forty · R"):
        assert words in page


def test_other_threads_are_told_in_plain_words_and_what_is_asked_for_is_flat(signed_in, kept):
    page = page_text(signed_in.get(reverse("plan_sheet"), {"design": kept.pk, "pieces": 5}))
    threads = page.partition('id="threads"')[2].partition("</details>")[0]
    assert not re.search(r"ΔE|grade|±|\b(?:clear|large|slight) difference", re.sub(r"<[^>]+>", "", threads))
    assert "no difference" in threads
    assert threads.count("#satin") == threads.count("#winding") == 2  # two colours, each beside its thread
    found = page.partition('id="found"')[2]
    assert "ΔE<sub>00</sub> 0.0" in found


def test_a_plan_sheet_shows_the_cautions(signed_in, kept):
    page = signed_in.get(reverse("plan_sheet"), {"design": kept.pk, "pieces": 10}).content.decode()
    assert "clear of the moving needle" in page
    assert "manual and local safety rules come first" in page


@pytest.mark.parametrize(
    "query",
    [{}, {"pieces": 10}, {"design": 999, "pieces": 10}, {"design": "x", "pieces": 10}, {"pieces": "y"}],
)
def test_an_address_that_asks_nothing_clear_says_so(signed_in, full_shelf, query):
    response = signed_in.get(reverse("plan_sheet"), query)
    assert response.status_code == 422
    assert "Ask again" in response.content.decode()


def test_yards_and_inches_for_those_who_read_them(signed_in, kept, person):
    from workshop.models import Preference

    Preference.objects.create(user=person, length_unit="yd", size_unit="in")
    page = signed_in.get(reverse("plan_sheet"), {"design": kept.pk, "pieces": 10}).content.decode()
    assert "Needs, yd" in page


def test_no_page_carries_inline_style_or_script(signed_in, kept):
    for address in (reverse("today"), f"{reverse('plan_sheet')}?design={kept.pk}&pieces=10"):
        page = signed_in.get(address).content.decode()
        assert "style=" not in page
        assert "<style" not in page
        assert "<script>" not in page


def test_the_plan_sheet_asks_the_database_no_more_for_a_fuller_shelf(signed_in, kept):
    address = f"{reverse('plan_sheet')}?design={kept.pk}&pieces=10"
    signed_in.get(address)
    with CaptureQueriesContext(connection) as before:
        signed_in.get(address)
    for number in range(20):
        a_spool(a_shade(hex=f"#{number * 9:02x}4060"))
    with CaptureQueriesContext(connection) as after:
        signed_in.get(address)
    assert len(after) == len(before)


def test_one_piece_a_hooping_stands_beside_several_and_can_be_planned_so(signed_in, kept):
    address = f"{reverse('plan_sheet')}?design={kept.pk}&pieces=10"
    page = page_text(signed_in.get(address))
    assert "One piece a hooping, or several" in page
    assert "as planned here" in page
    link = page.split("copies=")[1].split('"')[0]
    several = page_text(signed_in.get(f"{address}&copies={link}"))
    assert f"{link} pieces each" in several
    assert signed_in.get(f"{address}&copies=most").status_code == 200
    assert "is no number of pieces" in page_text(signed_in.get(f"{address}&copies=some"))
    assert "holds more than" in page_text(signed_in.get(f"{address}&copies=500"))


def test_the_sheet_of_a_machine_of_several_needles_says_what_is_on_each(signed_in, kept):
    Machine.objects.update(needles=6)
    page = page_text(signed_in.get(f"{reverse('plan_sheet')}?design={kept.pk}&pieces=10"))
    assert "2 threadings by hand" in page
    assert "No needle is threaded anew" in page


def test_the_sheet_says_what_other_quantities_cost_and_when_to_start(signed_in, kept):
    address = f"{reverse('plan_sheet')}?design={kept.pk}&pieces=10&needed_on=2026-03-20"
    page = signed_in.get(address).content.decode()
    assert "What other quantities cost" in page
    assert "(this plan)" in page
    assert "start by" in page


def test_changing_the_question_keeps_an_old_design_and_its_pins(signed_in, kept, stitch_file):
    for number in range(13):
        path = stitch_file(RED, name=f"newer {number}.pes", stitches=100 + number)
        keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW + timedelta(days=1))
    pin = "1=Skerry Forty B"
    page = signed_in.get(reverse("today"), {"design": kept.pk, "pieces": 3, "pin": pin})
    assert f'value="{kept.pk}" checked' in " ".join(page.content.decode().split())
    hidden = dict(page.context["pins"])
    assert hidden == {"pin": pin, "pinned_for": str(kept.pk)}
    again = signed_in.post(reverse("today"), {"design": kept.pk, "pieces": 5, **hidden})
    assert "pin=1%3DSkerry+Forty+B" in again.url
    # Of other designs it was not said.
    other = Design.objects.exclude(pk=kept.pk).first()
    changed = signed_in.post(reverse("today"), {"design": other.pk, "pieces": 5, **hidden})
    assert "pin" not in changed.url


def test_colours_chosen_by_block_are_pinned_in_the_address(signed_in, full_shelf, stitch_file):
    path = stitch_file(RED, BLUE, name="rope.dst")
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    asked = {"design": design.pk, "pieces": 5}
    first, second = signed_in.get(reverse("plan_sheet"), asked).context["choose"]
    red = next(each["written"] for each in first["options"] if each["name"].endswith("R"))
    # A shade from the list goes before what is ticked; a blank one says nothing.
    chosen = {first["field"]: [red, ""], second["field"]: ["2=Skerry Forty R", "2=Skerry Forty B"]}
    there = signed_in.get(reverse("plan_sheet"), asked | chosen)
    assert there.status_code == 302
    page = signed_in.get(there.url)
    assert [row["chosen_name"] for row in page.context["threads"]] == ["harbour red", "deep blue"]
    assert page.context["choose"] == []
    # Remembered for the file, they are not asked for again.
    signed_in.post(reverse("change_remembered"), {"blocks": page.context["to_keep"], "next": there.url})
    again = signed_in.get(reverse("plan_sheet"), asked)
    assert (again.context["choose"], again.context["to_keep"]) == ([], [])
    assert again.context["answer"].headline.startswith("Enough for all")


@pytest.mark.parametrize("sent", ["", "nothing", "a.b.c", "ab.1.99999"])
def test_what_names_no_block_is_not_remembered(signed_in, kept, sent):
    answer = signed_in.post(reverse("change_remembered"), {"blocks": sent})
    assert answer.status_code in (302, 404)
    assert not RememberedColour.objects.exists()
