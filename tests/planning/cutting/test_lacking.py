"""A cut sheet for which there is not enough says of what, and how much is missing."""

import pytest
from django.urls import reverse

from inventory import ledger
from inventory.models import StabilizerRoll
from inventory.shelf.things import retire
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Fabric, Job
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_roll
from tests.pages import page_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(stitch_file, workshop) -> Job:
    a_roll(metres=1)
    path = stitch_file("#b01c2e")
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    facts = JobFacts(what="caps", pieces=40, fabric=Fabric.objects.get(name="twill"))
    return make_job(facts, designs=[design], at=NOW, by=None)


def sheet(client, job) -> str:
    return page_text(client.get(reverse("cut_sheet", args=[job.pk])))


def test_what_is_short_is_named_with_the_pieces_and_the_length_that_are_missing(signed_in, job):
    page = sheet(signed_in, job)
    assert "Not enough Skerry tear-away 50" in page
    assert "nothing is there for" in page
    assert "of roll is missing" in page


def test_with_nothing_left_on_the_roll_it_is_named_as_well(signed_in, job):
    roll = StabilizerRoll.objects.get()
    ledger.use(roll, quantity=roll.on_hand, key=a_key(), at=NOW, by=None)
    page = sheet(signed_in, job)
    assert "Not enough Skerry tear-away 50" in page
    assert "nothing is there for 43 pieces of 19.0 × 24.0 cm" in page
    assert "of roll is missing" in page


def test_where_no_roll_was_ever_there_the_kind_is_named_with_its_pieces(signed_in, job):
    retire(StabilizerRoll.objects.get(), key=a_key(), at=NOW, by=None)
    assert "Tear-away, hooped with the cloth, 43 pieces: none on the shelf" in sheet(signed_in, job)
