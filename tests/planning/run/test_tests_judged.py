"""The test piece of a run: ticked, judged, and what it showed proposed the next time."""

import io
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from inventory.compute.errors import WorkshopError
from inventory.models import Spool
from planning.library.photos import NotAPhotograph, keep_photo, photo_bytes
from planning.models import Fabric, Job, Machine, RunEvent, StitchOutNote
from planning.run.looked_at import test_to_judge as to_judge
from planning.run.looked_at import test_wants_a_change as wants_a_change
from planning.run.promise import promise
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, note, take_back
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db
Kind = RunEvent.Kind


@pytest.fixture
def running(workshop, stitch_file) -> Job:
    for shade in (a_shade("R", hex=RED), a_shade("B", hex=BLUE)):
        a_spool(shade, left_m=900)
    some_bobbins(count=20)
    a_roll()
    Fabric.objects.filter(name="twill").update(needle="75/11 sharp", most_stitches_per_minute=450)
    job = a_job(
        stitch_file(RED, BLUE, name="badge.pes", stitches=400), fabric=Fabric.objects.get(name="twill")
    )
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def happens(job: Job, kind: str, *, at=NOW, **more) -> RunEvent:
    return note(job, Happening(kind, key=a_key(), **more), at=at, by=None)


def test_a_test_that_is_stitched_again_waits_for_a_verdict_of_its_own(running):
    first = happens(running, Kind.PIECE)
    happens(running, Kind.TEST, test_verdict="go on")
    take_back(first, key=a_key(), at=NOW, by=None)
    assert to_judge(run_of(running)) is None
    happens(running, Kind.PIECE)
    assert to_judge(run_of(running)) == 1
    happens(running, Kind.TEST, test_verdict="go on", at=NOW + timedelta(minutes=5))
    assert to_judge(run_of(running)) is None


def test_a_test_is_judged_once_it_is_stitched_and_only_a_test(running):
    with pytest.raises(WorkshopError, match="Tick it first"):
        happens(running, Kind.TEST, test_verdict="go on")
    happens(running, Kind.PIECE)
    assert to_judge(run_of(running)) == 1
    with pytest.raises(WorkshopError, match="what is to be changed"):
        happens(running, Kind.TEST, test_verdict="change")
    with pytest.raises(WorkshopError, match="go on, or change"):
        happens(running, Kind.TEST, test_verdict="fine")
    happens(running, Kind.TEST, test_verdict="go on")
    assert to_judge(run_of(running)) is None
    happens(running, Kind.PIECE)
    with pytest.raises(WorkshopError, match="Only a test piece"):
        happens(running, Kind.TEST, test_verdict="go on", position=2)


def test_a_verdict_moves_no_stock(running):
    happens(running, Kind.PIECE)
    before = dict(Spool.objects.values_list("pk", "on_hand"))
    happens(running, Kind.TEST, test_verdict="go on")
    assert dict(Spool.objects.values_list("pk", "on_hand")) == before


def test_what_a_test_showed_is_kept_with_the_design_until_it_is_taken_back(running):
    happens(running, Kind.PIECE)
    happens(running, Kind.TENSION, showing="less")
    verdict = happens(running, Kind.TEST, test_verdict="change", note="topping")
    kept = StitchOutNote.objects.get()
    machine = Machine.objects.get()
    assert machine.stitches_per_minute > 450
    assert (kept.verdict, kept.words, kept.needle) == ("change", "topping", "75/11 sharp")
    assert (kept.stitches_per_minute, kept.tension) == (450, "less bobbin showing")
    assert "tear-away" in kept.recipe
    assert wants_a_change(run_of(running)) == verdict
    take_back(verdict, key=a_key(), at=NOW, by=None)
    assert not StitchOutNote.objects.exists()
    assert to_judge(run_of(running)) == 1


def test_a_test_that_asked_for_a_change_is_shown_until_one_says_go_on(signed_in, running):
    happens(running, Kind.PIECE)
    sheet = reverse("run_sheet", args=[running.pk])
    assert "What does test 1 say?" in page_text(signed_in.get(sheet))
    happens(running, Kind.TEST, test_verdict="change", note="a finer needle")
    shown = page_text(signed_in.get(sheet))
    assert "The test asked for a change: a finer needle." in shown
    assert "What does test 1 say?" not in shown
    happens(running, Kind.TEST, test_verdict="go on", at=NOW + timedelta(minutes=9))
    assert "asked for a change" not in page_text(signed_in.get(sheet))


def test_what_a_test_showed_is_proposed_the_next_time_the_pair_is_planned(signed_in, running):
    happens(running, Kind.PIECE)
    happens(running, Kind.TEST, test_verdict="change", note="slower on the satin")
    again = (
        reverse("plan_sheet")
        + f"?design={running.placed.get().design_id}&pieces=3&fabric={running.fabric_id}"
    )
    shown = page_text(signed_in.get(again))
    assert "slower on the satin" in shown
    assert "needle 75/11 sharp" in shown
    assert "450 stitches a minute" in shown


def a_picture(size=(2400, 1200), kind="JPEG") -> bytes:
    out = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "who made it"
    Image.new("RGB", size, "#b01c2e").save(out, kind, exif=exif)
    return out.getvalue()


def test_a_photograph_is_kept_smaller_and_without_what_else_it_told(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    kept = photo_bytes(keep_photo(a_picture()))
    with Image.open(io.BytesIO(kept)) as picture:
        assert picture.size == (1600, 800)
        assert not picture.getexif()
    assert b"who made it" not in kept


@pytest.mark.parametrize(
    "content", [b"no picture", a_picture()[:200], b"<svg xmlns='http://www.w3.org/2000/svg'/>"]
)
def test_what_is_no_photograph_is_refused_in_words(content, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    with pytest.raises(NotAPhotograph, match="JPEG, PNG or WebP"):
        keep_photo(content)


def test_a_note_with_its_photograph_is_kept_and_shown(signed_in, running, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    design = running.placed.get().design
    sent = {
        "stitched_on": "2026-10-05", "fabric": "twill", "verdict": "good", "needle": "75/11", "tension": "as set",
        "stitches_per_minute": "600", "words": "lies flat", "photo": SimpleUploadedFile("back.jpg", a_picture()),
    }  # fmt: skip
    assert signed_in.post(reverse("design_note", args=[design.pk]), sent).status_code == 302
    kept = StitchOutNote.objects.get()
    address = reverse("stitch_out_photo", args=[kept.pk, kept.photo])
    assert address in signed_in.get(reverse("design", args=[design.pk])).content.decode()
    answer = signed_in.get(address)
    assert answer["Content-Type"] == "image/jpeg"
    assert signed_in.get(reverse("stitch_out_photo", args=[kept.pk, "0" * 64])).status_code == 404
