"""Only what a person was shown is done: pages, commands and verbs compare it with what is there now."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.acting import PlanHasChanged
from inventory.ledger import ledger_problems, use
from inventory.models import Reservation, Spool
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.models import Design, Job, Machine, RunReport
from planning.run.promise import same_again, shown_of
from planning.run.ticks import Happening, note
from tests.factories import NOW, a_key, a_spool
from tests.pages import page_text
from tests.planning.run.test_run_commands import answer
from tests.planning.run.test_run_pages import job, red, running  # noqa: F401

pytestmark = pytest.mark.django_db


def sent(client, page: str, to: str, job: Job, **more):  # noqa: F811
    """Send the form of a job's page as it stands on it."""
    shown = client.get(reverse(page, args=[job.pk])).context
    fields = {"key": shown.get("key", ""), "shown": shown["shown"]}
    return lambda: client.post(reverse(to, args=[job.pk]), fields | more, follow=True)


def test_a_page_promises_what_it_showed_once(signed_in, job):  # noqa: F811
    send = sent(signed_in, "job", "promise_job", job)
    assert "Promised: the material" in page_text(send())
    held = list(Reservation.objects.values_list("pk", flat=True))
    assert "Promised: the material" in page_text(send())
    assert list(Reservation.objects.values_list("pk", flat=True)) == held


def test_a_page_whose_plan_has_changed_says_what_and_promises_nothing(signed_in, job, red):  # noqa: F811
    send = sent(signed_in, "job", "promise_job", job)
    use(red, quantity=890_000, key=a_key(), at=NOW, by=None)
    after = page_text(send())
    assert "Since this was shown, the workshop has changed: whether there is enough" in after
    assert "Promise it although" in after  # the plan as it is now
    assert Job.objects.get(pk=job.pk).state == "draft"
    assert not Reservation.objects.exists()


def test_a_promise_is_not_made_from_a_page_that_showed_nothing(signed_in, job):  # noqa: F811
    signed_in.post(reverse("promise_job", args=[job.pk]), {"key": "k"})
    assert Job.objects.get(pk=job.pk).state == "draft"


def test_a_command_promises_only_what_was_shown(job, red, capsys):  # noqa: F811
    shown = answer_of_plan(job)["shown"]
    assert shown == shown_of(plan_of(job))
    use(red, quantity=890_000, key=a_key(), at=NOW, by=None)
    with pytest.raises(SystemExit) as left:
        answer("promise_job", job.pk, "--shown", shown, "--although-short")
    assert left.value.code == 1
    assert "Since this was shown, the workshop has changed" in capsys.readouterr().err
    assert Job.objects.get(pk=job.pk).state == "draft"


def answer_of_plan(job: Job) -> dict:  # noqa: F811
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("plan_job", str(job.pk), "--format", "json", stdout=out)
    return json.loads(out.getvalue())


def test_the_same_again_sent_twice_is_one_job(signed_in, job):  # noqa: F811
    shown = signed_in.get(reverse("same_again", args=[job.pk])).context
    for _ in range(2):
        signed_in.post(reverse("same_again", args=[job.pk]), {"key": shown["key"], "pieces": 9})
    assert Job.objects.filter(repeats=job).count() == 1
    assert (
        answer("repeat_job", job.pk, "--key", "a")["job"] == answer("repeat_job", job.pk, "--key", "a")["job"]
    )
    other = same_again(job, pieces=9, key="b", at=NOW, by=None)
    assert same_again(job, pieces=9, key="c", at=NOW, by=None).pk != other.pk


def test_a_job_kept_twice_under_one_key_is_one_job(job):  # noqa: F811
    facts = JobFacts(what="caps", pieces=2, machine=Machine.objects.first())
    made = [make_job(facts, designs=[Design.objects.get()], key="keep-1", at=NOW, by=None) for _ in range(2)]
    assert made[0] == made[1]


def test_a_job_is_not_finished_while_another_ticks(signed_in, running):  # noqa: F811
    send = sent(signed_in, "finish_job", "finish_job", running, although_unfinished="on")
    note(running, Happening("piece", key=a_key()), at=NOW, by=None)
    after = send()
    assert after.status_code == 422
    assert "has changed: the pieces that are ticked and what the run has taken" in page_text(after)
    assert not RunReport.objects.exists()
    again = sent(signed_in, "finish_job", "finish_job", running, although_unfinished="on")
    assert "is finished" in page_text(again())


def test_a_swap_from_a_sheet_that_showed_another_spool_is_asked_again(running, red):  # noqa: F811
    second, third = (a_spool(red.shade, key=a_key()) for _ in range(2))

    def swap(to: Spool, off: Spool) -> None:
        happening = Happening(
            "spool", key=a_key(), position=1, thread=1, label=to.label, instead_of=off.label
        )
        note(running, happening, at=NOW, by=None)

    swap(second, red)
    with pytest.raises(PlanHasChanged, match=f"{second.label} is on now instead of {red.label}"):
        swap(third, red)
    swap(third, second)
    assert running.events.filter(kind="spool").count() == 2
    assert ledger_problems() == []
