"""What a job's verdict hangs on, from how it stands: the gravest thing, in a few words."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from inventory.compute.units import METRIC
from planning.compute.season.stand import Stood
from planning.day.causes import cause_of
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.season import in_turn
from planning.library.designs import keep_design
from planning.models import Machine
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db


@pytest.fixture
def stood(stitch_file: Callable[..., Any], workshop: Machine) -> Stood:
    """Return how a job stands that has enough of both its colours, of bobbins and of everything else."""
    for code, colour in (("R", "#b01c2e"), ("N", "#1f4e79")):
        a_spool(a_shade(code, hex=colour, name=f"shade {code}"), left_m=400)
    some_bobbins(count=40)
    a_roll()
    path = stitch_file("#b01c2e", "#1f4e79", name="flag.pes", stitches=300)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    make_job(JobFacts(what="flags", pieces=2, machine=workshop), designs=[design], at=NOW, by=None)
    (standing,) = in_turn()
    assert standing.stood is not None
    assert standing.verdict == "enough"
    return standing.stood


def test_the_gravest_thing_is_told(stood: Stood) -> None:
    red, navy = stood.threads
    names = {red.shade: "ox red", navy.shade: "navy"}

    def told(verdict: str, *threads: Any, **other: Any) -> str:
        return cause_of(replace(stood, verdict=verdict, threads=threads, **other), names=names, units=METRIC)

    assert told("enough", red, navy) == "of all 2 colours"
    assert told("enough", red) == "of its one colour"
    tight = replace(navy, verdict="tight", missing_mm=navy.needed_mm // 10)
    short = replace(red, verdict="short", missing_mm=9_000, needed_mm=10_000)
    assert told("short", short, tight) == "ox red: 9 m more would make it sure"
    unseen = replace(navy, verdict="unknown", missing_mm=0)
    assert told("unknown", red, unseen) == "navy: not measured"
    none_near = replace(navy, verdict="unknown", shade=None, name="sea green")
    assert told("short", short, none_near) == "nothing near sea green"
    bare = replace(navy, verdict="unknown", shade=None, hex="")
    assert told("unknown", red, bare) == "choose 1 colour"
    off = replace(navy, is_off_colour=True)
    assert told("tight", red, off) == "a thread of another colour than is asked for"
    assert told("short", red, navy, bobbins=replace(stood.bobbins, verdict="short")) == "bobbins"
    assert "too big for every hoop" in told("unknown", red, navy, is_too_big=True)
