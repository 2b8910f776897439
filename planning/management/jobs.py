"""What the commands on kept jobs share: finding the job that was named."""

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from planning.models import Job


def job_numbered(number: int) -> Job:
    """Return the job with this number and all that a plan reads, or raise WorkshopError with the ones there are."""
    job = Job.objects.with_everything().filter(pk=number).first()
    if job is None:
        known = ", ".join(f"{each.pk} ({each})" for each in Job.objects.order_by("-pk")[:10]) or _("none yet")
        raise WorkshopError(_("There is no job {number}. Known: {known}.").format(number=number, known=known))
    return job
