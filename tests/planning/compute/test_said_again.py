"""What is kept in one language is found again as the very sentence it was made of, and said in the reader's."""

import re

import pytest
from django.utils import translation

from inventory.compute import spoken
from inventory.compute.spoken import said_again
from inventory.tables.sentences import OF_WORKBOOKS
from planning.compute.batch.sentences import _OF_PLANS, said_of_plan
from planning.compute.colour import sentences as of_colour
from planning.compute.stitches import file_sentences as of_files
from planning.compute.stitches.warnings import look
from planning.stitch_files.sentences import REFUSALS

EVERY = [
    pytest.param(form, marked, id=form[:60])
    for marked in (of_files.SENTENCES, of_colour.SENTENCES, REFUSALS, OF_WORKBOOKS, _OF_PLANS)
    for each in marked
    for form in ([each] if isinstance(each, str) else each)
]


@pytest.fixture
def in_brackets(monkeypatch):
    """Have every sentence said in ⟦ ⟧, as another language would say it."""
    monkeypatch.setattr(spoken, "_", lambda text: f"⟦{text}⟧")
    with translation.override("de"):
        yield


@pytest.mark.parametrize(("sentence", "marked"), EVERY)
def test_each_sentence_is_found_as_itself(in_brackets, sentence, marked):
    kept = sentence.format(**dict.fromkeys(re.findall(r"\{(\w+)\}", sentence), "gull"))
    assert said_again(kept, marked) == f"⟦{kept}⟧"


def test_what_stands_in_a_sentence_is_said_too(in_brackets):
    kept = of_colour.NONE_OF_THAT_COLOUR.format(thread="silk thread", wished="dark blue")
    assert "⟦silk thread⟧" in said_of_plan(kept)
    assert "⟦dark blue⟧" in said_of_plan(kept)
    warning = look(of_files.CUTS.format(cuts="1,200", advice=of_files.LOOK))
    assert warning.text.startswith("⟦1.200 cuts")
    assert f"⟦{of_files.LOOK}⟧" in warning.text
    assert warning.kept.startswith("1,200 cuts")


def test_a_note_of_another_program_stays_as_it_is(in_brackets):
    assert look("An older sentence that nobody marks.").text == "An older sentence that nobody marks."
