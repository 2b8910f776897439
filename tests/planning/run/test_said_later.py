"""What is kept is said to every reader in a language of their own: reports and standings."""

import json

import pytest
from django.utils import translation

from planning.jobs.season import season_marks
from planning.run.told import Told, kept_parts, not_booked_said


def test_a_report_keeps_a_sentence_as_written_and_its_parts():
    told = Told("{label} lacks {metres} m for what it now stands for", label="S0001", metres="1.2")
    facts = {
        "not_booked": [told, "the hoop slipped"],
        "not_booked_parts": kept_parts([told, "the hoop slipped"]),
    }
    kept = json.loads(json.dumps(facts))
    assert kept["not_booked"] == ["S0001 lacks 1.2 m for what it now stands for", "the hoop slipped"]
    assert not_booked_said(kept) == kept["not_booked"]
    assert kept["not_booked_parts"][0] == [told.text, {"label": "S0001", "metres": "1.2"}]


def test_a_report_from_before_its_parts_were_kept_is_read():
    assert not_booked_said({"not_booked": ["S0001 has left the shelf"]}) == ["S0001 has left the shelf"]


@pytest.mark.django_db
def test_what_was_worked_out_for_a_reader_of_one_language_is_not_shown_to_another():
    marks = season_marks()
    with translation.override("de"):
        others = season_marks()
    assert (marks.stock, marks.facts) == (others.stock, others.facts)
    assert marks.every != others.every
