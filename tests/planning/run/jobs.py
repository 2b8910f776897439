"""A job of two colours, as the tests of runs promise and stitch it."""

from pathlib import Path
from typing import Any

from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Job, Machine
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW

RED, BLUE = "#b01c2e", "#1c2b8d"


def a_job(path: Path, **particulars: Any) -> Job:
    """Return a job of six pieces and a test, with everything that a plan reads of it."""
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    facts = {"what": "crew caps", "pieces": 6, "tests": 1, "machine": Machine.objects.first()} | particulars
    made = make_job(JobFacts(**facts), designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)
