"""Files in and out, and labels, as pages."""

import csv
import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from inventory.models import Spool
from tests.factories import a_place, a_shade, a_spool

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "files"


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


def bring(client, text, kind="spools"):
    file = SimpleUploadedFile("shelf.csv", text if isinstance(text, bytes) else text.encode())
    return client.post(reverse("files"), {"kind": kind, "file": file}, follow=True)


def test_a_file_is_looked_at_before_anything_changes(signed_in):
    spool = a_spool(a_shade("R"))
    out = signed_in.get(reverse("export", args=["spools", "csv"])).content
    a_spool(spool.shade)
    rows = list(csv.DictReader(out.decode("utf-8-sig").splitlines()))
    rows[0]["length_m"] = "640"
    edited = io.StringIO()
    writer = csv.DictWriter(edited, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    page = bring(signed_in, edited.getvalue())
    assert "1 changed" in page.content.decode()
    assert Spool.objects.get(pk=spool.pk).on_hand == 1_000_000
    address = page.redirect_chain[-1][0]
    done = signed_in.post(address, follow=True).content.decode()
    assert "Imported: " in done
    assert Spool.objects.get(pk=spool.pk).on_hand == 640_000


def test_what_is_taken_out_and_brought_in_changes_nothing(signed_in):
    a_spool(a_shade("R"))
    out = signed_in.get(reverse("export", args=["spools", "xlsx"])).content
    page = bring(signed_in, out).content.decode()
    assert "0 new, 0 changed, 1 unchanged" in page


def test_every_bad_cell_is_named_and_nothing_is_imported(signed_in):
    a_spool(a_shade("R"))
    out = signed_in.get(reverse("export", args=["spools", "csv"])).content
    page = bring(signed_in, out.replace(b"1000", b"plenty"))
    assert "plenty" in page.content.decode()
    address = page.redirect_chain[-1][0]
    assert signed_in.post(address).status_code == 422
    failed = signed_in.get(f"{address}failed/")
    assert b"plenty" in failed.content


def test_a_file_that_is_none_is_refused_in_words(signed_in):
    page = bring(signed_in, bytes(range(256)) * 20)
    assert page.status_code == 422
    assert "Choose another file" in page.content.decode()


def test_a_file_nobody_looked_at_is_not_there(signed_in):
    assert signed_in.get(reverse("import_preview", args=["spools", "0" * 64])).status_code == 404
    assert signed_in.get(reverse("export", args=["ropes", "csv"])).status_code == 404


def test_a_template_has_the_columns_and_no_rows(signed_in):
    lines = (
        signed_in.get(reverse("import_template", args=["spools"])).content.decode("utf-8-sig").splitlines()
    )
    assert len(lines) == 1
    assert "label" in lines[0]


def test_labels_of_a_place_come_as_a_pdf(signed_in):
    a_spool(a_shade("R"), place=a_place("north wall"))
    response = signed_in.post(
        reverse("labels"), {"codes": "", "place": a_place("north wall").pk, "sheet": "a4-70x37", "skip": 0}
    )
    assert response["Content-Type"] == "application/pdf"
    assert response.content.startswith(b"%PDF")


def test_letters_that_no_label_can_print_are_told_before_the_pdf_is_made(signed_in):
    spool = a_spool(a_shade("R", name="赤い糸"))
    sent = {"codes": spool.label, "sheet": "a4-70x37"}
    told = signed_in.post(reverse("labels"), sent)
    assert told.status_code == 422
    assert "赤 い 糸" in told.content.decode()
    assert f'name="although" value="{spool.label}"' in told.content.decode()
    assert (
        signed_in.post(reverse("labels"), sent | {"although": spool.label})["Content-Type"]
        == "application/pdf"
    )
    # What was told of other things does not count.
    assert signed_in.post(reverse("labels"), sent | {"although": "S9999"}).status_code == 422


def test_a_label_for_nothing_is_refused_in_words(signed_in):
    response = signed_in.post(reverse("labels"), {"codes": "X9", "sheet": "a4-70x37"})
    assert response.status_code == 422
    assert "No item carries the label" in response.content.decode()


def test_chosen_things_are_filled_in(signed_in):
    spool = a_spool(a_shade("R"))
    assert spool.label in signed_in.get(reverse("labels"), {"item": spool.pk}).content.decode()


@pytest.mark.parametrize("address", ["/S/{}", "/s/{}/", "/S/{}/"])
def test_a_scanned_label_leads_to_its_thing(signed_in, address):
    spool = a_spool(a_shade("R"))
    page = signed_in.get(address.format(spool.label.lower()), follow=True)
    assert spool.label in page.content.decode()


def test_what_is_ticked_in_a_list_is_labelled_together(signed_in):
    spools = [a_spool(a_shade("R")), a_spool(a_shade("B"))]
    sent = {"do": "label", "item": [spool.pk for spool in spools]}
    page = signed_in.post(reverse("together", args=["thread"]), sent, follow=True).content.decode()
    assert all(spool.label in page for spool in spools)


def test_one_search_stands_on_every_page(signed_in):
    for name in ("today", "jobs", "shelf", "files", "preferences"):
        assert 'id="find"' in signed_in.get(reverse(name)).content.decode()
