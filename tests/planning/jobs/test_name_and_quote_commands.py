"""Jobs of names, their hoopings and quotes at the command line: the same answers as the pages'."""

import json
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from planning.jobs.quotes import quote_of, usual_terms
from planning.models import Job, Rules
from planning.stitch_files.reading import read_design_file
from tests.pages import page_text
from tests.planning.jobs.test_names import SPOKEN, lettering, six  # noqa: F401

pytestmark = pytest.mark.django_db


def answer(*words: object) -> dict:
    out = StringIO()
    call_command(*map(str, words), "--format", "json", stdout=out)
    return json.loads(out.getvalue())


def refusal(*words: object) -> str:
    err = StringIO()
    with pytest.raises(SystemExit):
        call_command(*map(str, words), stderr=err)
    return err.getvalue()


@pytest.fixture
def listed(tmp_path):
    path = tmp_path / "names.txt"
    path.write_text("\n".join(SPOKEN), encoding="utf-8")
    return path


def test_a_list_of_names_becomes_a_job_once(six, listed):  # noqa: F811
    made = answer("names_job", "name tags", listed, "--key", "tags")
    assert (made["pieces"], [each["text"] for each in made["names"]]) == (6, list(SPOKEN))
    assert made["copies_per_hooping"] > 1
    assert answer("names_job", "name tags", listed, "--key", "tags")["job"] == made["job"]
    assert Job.objects.count() == 1


def test_names_without_a_design_are_all_said(six, listed):  # noqa: F811
    listed.write_text("Ada\nNobody\nNone either")
    said = refusal("names_job", "name tags", listed)
    assert "line 2" in said
    assert "line 3" in said
    assert not Job.objects.exists()


def test_hoopings_are_listed_and_written_and_nothing_is_replaced(six, listed, tmp_path):  # noqa: F811
    job = answer("names_job", "name tags", listed, "--copies", 2)["job"]
    folder = tmp_path / "out"
    told = answer("hoopings", job, "--write", folder)["hoopings"]
    assert [[piece["text"] for piece in each["pieces"]] for each in told] == [
        ["Ada", "Bo"],
        ["Cleo", "Dov"],
        ["Ebba", "Finn"],
    ]
    assert read_design_file(folder / told[0]["file"].split("/")[-1]).walked.blocks
    assert "there already" in refusal("hoopings", job, "--write", folder)


def test_a_quote_is_that_of_the_page(signed_in, six, listed, tmp_path):  # noqa: F811
    job = Job.objects.with_everything().get(pk=answer("names_job", "name tags", listed)["job"])
    told = answer("quote", job.pk, "--margin", "50", "--minimum", "20", "--pdf", tmp_path / "q.pdf")
    page = page_text(
        signed_in.get(
            reverse("quote", args=[job.pk]), {"margin": "50", "rounded_to": "0.10", "minimum": "20"}
        )
    )
    assert f"{Decimal(told['total']):.2f}" in page
    assert (tmp_path / "q.pdf").read_bytes().startswith(b"%PDF")
    asked = next(each for each in told["quantities"] if each["is_asked"])
    assert (asked["a_piece"], asked["total"]) == (told["a_piece"], told["total"])
    plain = quote_of(job, usual_terms(Rules.current()), on=timezone.localdate())
    assert answer("quote", job.pk)["total"] == str(plain.asked.total)
    assert "no number" in refusal("quote", job.pk, "--margin", "much")
