"""Small workshops, each as it is when a journey begins."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models import Spool
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.pinning import ShadeChanges, change_pins
from planning.library.designs import keep_design
from planning.models import Job
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_place, a_put_up, a_roll, a_shade, a_spool, an_offer, some_bobbins

RED, BLUE = "#b01c2e", "#1c2b8d"


def a_job(path, **facts) -> Job:
    """Return a kept draft of the design at ``path``."""
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    made = make_job(JobFacts(**facts), designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)


def stabilizer_and_bobbins() -> None:
    some_bobbins(count=60)
    a_roll(metres=50)


@pytest.fixture(autouse=True)
def own_files(settings, tmp_path) -> None:
    settings.MEDIA_ROOT = tmp_path / "files"


@pytest.fixture
def short_job(transactional_db, workshop, stitch_file) -> Job:
    """A draft that is pinned to a red of which there is too little; another red, hardly seen beside it, has plenty."""
    a_spool(a_shade("R1", hex=RED, name="harbour red"), left_m=20)
    a_spool(a_shade("R2", hex="#a91d30", name="signal red"))
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    stabilizer_and_bobbins()
    job = a_job(stitch_file(RED, BLUE, stitches=900), what="pennants", pieces=40)
    change_pins(job, ShadeChanges(pin=["1=R1"]))
    return job


@pytest.fixture
def wanting_job(transactional_db, workshop, stitch_file) -> Job:
    """A draft that lacks red, which somebody sells."""
    red = a_shade("R1", hex=RED, name="harbour red")
    a_spool(red, left_m=20)
    stabilizer_and_bobbins()
    an_offer(a_put_up(red.range), price="4.20")
    needed_on = timezone.localdate() + timedelta(days=20)
    return a_job(stitch_file(RED, stitches=900), what="pennants", pieces=40, needed_on=needed_on)


@pytest.fixture
def ready_job(transactional_db, workshop, stitch_file) -> Job:
    """A draft of three pieces and a test, of which there is enough of everything."""
    a_spool(a_shade("R1", hex=RED, name="harbour red"), left_m=900)
    a_spool(a_shade("B", hex=BLUE, name="deep blue"), left_m=900)
    stabilizer_and_bobbins()
    return a_job(stitch_file(RED, BLUE, stitches=300), what="crew caps", pieces=3, tests=1)


@pytest.fixture
def box(transactional_db) -> list[Spool]:
    """Three spools in one box."""
    place = a_place("grey box")
    return [a_spool(a_shade(hex=hex), place=place) for hex in (RED, BLUE, "#20a040")]


@pytest.fixture
def shelf(transactional_db) -> None:
    """A shelf with one red; another that is near it is known and not owned."""
    a_spool(a_shade("H170", hex=RED, name="harbour red"), left_m=250)
    a_shade("H171", hex="#a91d30", name="signal red")
