"""A job from promise to report at the command line."""

import json
import math
from io import StringIO

import pytest
from django.core.management import call_command

from inventory.models import Spool
from planning.models import Job, Observation
from tests.planning.run.test_run_pages import job, red  # noqa: F401

pytestmark = pytest.mark.django_db


def answer(*words: object) -> dict:
    out = StringIO()
    call_command(*map(str, words), "--format", "json", stdout=out)
    return json.loads(out.getvalue())


def said(*words: object) -> str:
    out = StringIO()
    call_command(*map(str, words), stdout=out)
    return out.getvalue()


def test_a_job_goes_from_promise_to_report(job):  # noqa: F811
    promised = answer("promise_job", job.pk)
    assert promised["state"] == "promised"
    assert len(promised["set_aside"]) == 3  # two spools and the bobbins
    assert answer("tick_job", job.pk, "--times", 3)["good"] == 2
    assert answer("tick_job", job.pk, "spoiled", "--key", "x")["spoiled"] == 1
    assert answer("tick_job", job.pk, "spoiled", "--key", "x")["spoiled"] == 1
    assert answer("tick_job", job.pk, "--take-back")["spoiled"] == 0
    assert answer("tick_job", job.pk, "--times", 4)["next"] is None
    report = answer("finish_job", job.pk, "--bobbins", 2, "--minutes", 30)
    assert report["state"] == "finished"
    assert report["pieces"]["good"] == 6
    again = answer("repeat_job", job.pk, "--pieces", 30)
    assert Job.objects.get(pk=again["job"]).pieces == 30


def test_the_text_says_what_is_next_and_what_was_used(job):  # noqa: F811
    assert "set aside" in said("promise_job", job.pk)
    assert "Next: piece 1." in said("tick_job", job.pk)
    assert "planned" in said("finish_job", job.pk, "--as-it-is")


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("promise_job", 999), "There is no job 999"),
        (("tick_job", "JOB", "--times", 0), "0 times is never"),
        (("finish_job", "JOB", "--weighed", "S0001"), "names no weight"),
        (("tick_job", "JOB"), "is draft"),
    ],
)
def test_what_makes_no_sense_is_refused_in_words(job, words, complaint, capsys):  # noqa: F811
    with pytest.raises(SystemExit) as ending:
        call_command(*[str(job.pk) if word == "JOB" else str(word) for word in words])
    assert ending.value.code == 1
    assert complaint in capsys.readouterr().err


def test_weighed_back_counts_every_figure_of_the_scale(job, red):  # noqa: F811
    """The sigma of use of a spool that was weighed before and after: the two scale readings, and little else."""
    said("weigh", red.label, "30.00g", "--empty")
    own = Spool.objects.select_related("shade__range", "put_up").get(pk=red.pk)
    full_g = (own.empty_weight_mg + own.on_hand * own.shade.range.tex / 1000) / 1000
    said("weigh", red.label, f"{full_g:.2f}g")
    said("promise_job", job.pk)
    said("tick_job", job.pk, "--times", 7)
    left_mm = Spool.objects.get(pk=red.pk).on_hand
    left_g = (own.empty_weight_mg + left_mm * own.shade.range.tex / 1000) / 1000
    said("finish_job", job.pk, "--weighed", f"{red.label}={left_g:.2f}g")
    seen = Observation.objects.get(kind="needle")
    readings_mm = 10 / math.sqrt(12) * math.sqrt(2) / own.shade.range.tex * 1000
    damp_mm = seen.actual * 0.25 * 0.004 / 1.004
    assert seen.sigma == pytest.approx(math.hypot(readings_mm, damp_mm), rel=0.3)
    assert seen.sigma < 2_000  # a scale of whole grams would leave it at 15 m
