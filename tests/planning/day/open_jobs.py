"""Jobs of one design, as the tests of a day make them."""

from typing import Any

from planning.jobs.jobs import JobFacts, make_job
from planning.models import Design, Job, Machine
from tests.factories import NOW


def a_job(design: Design, what: str, **facts: Any) -> Job:
    """Return an open job of five pieces, with all that its plan needs read at once."""
    wanted = JobFacts(**{"what": what, "pieces": 5, "machine": Machine.objects.first()} | facts)
    return Job.objects.with_everything().get(pk=make_job(wanted, designs=[design], at=NOW, by=None).pk)
