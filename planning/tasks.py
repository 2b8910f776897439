"""What may be done in the background: by ``manage.py db_worker`` where one runs, else in the request itself."""

from django.utils import timezone
from django_tasks import task

from planning.library.importing import carry_out
from planning.plan.ask import chosen_machine


@task()
def carry_out_import(run_id: int) -> None:
    """Import the files that a run waits with."""
    carry_out(run_id, trim_at_jumps=chosen_machine(None).trim_at_jumps, clock=timezone.now)
