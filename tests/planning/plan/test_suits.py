"""Thread that suits the work: fibres in one piece, what is boiled, metallic and fine needles."""

import pytest

from inventory.models import ThreadRange
from planning.library.designs import asked_from_file
from planning.models import Fabric, Rules
from planning.plan.ask import Question, plan, question_named
from planning.stitch_files.reading import read_design_file
from tests.factories import a_range, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1f3f8c"


@pytest.fixture
def notes(stitch_file, workshop):
    some_bobbins(count=20)

    def told(*pins, **fabric):
        if fabric:
            Fabric.objects.filter(name="twill").update(**fabric)
        badge = [asked_from_file(read_design_file(stitch_file(RED, BLUE)))]
        answer = plan(badge, question_named(Question(pieces=2, pins=pins), fabric="twill"))
        return [note for note in answer.notes if "(common practice)" in note]

    return told


def owned(**colours):
    for fibre, hexes in colours.items():
        for hex in hexes:
            code = f"{fibre[0]}{hex[1:]}"
            a_spool(a_shade(code, hex=hex, range=a_range("Skerry", fibre.title(), fibre=fibre)))


def test_one_fibre_on_what_is_boiled_needs_no_word_where_it_bears_that(notes):
    owned(polyester=[RED, BLUE])
    assert notes(washing="boiled") == []


def test_two_fibres_in_one_piece_are_told(notes):
    owned(polyester=[RED], rayon=[BLUE])
    assert notes() == []  # unasked no piece mixes them
    mixed = [
        "One piece mixes polyester and rayon: they shine, shrink and fade differently (common practice)."
    ]
    assert notes("1=p" + RED[1:], "2=r" + BLUE[1:]) == mixed
    Rules.objects.update_or_create(pk=1, defaults={"may_mix_fibres": True})
    assert notes() == mixed


def test_rayon_on_what_is_boiled_is_told_unless_its_maker_says_it_bears_that(notes):
    owned(rayon=[RED, BLUE])
    (note,) = notes(washing="boiled")
    assert note.startswith("Skerry Rayon (rayon) bears washing: up to 60 °C; twill is washed: boiled")
    assert notes(washing="warm") == []
    ThreadRange.objects.filter(name="Rayon").update(washing="boiled")
    assert notes(washing="boiled") == []


def test_metallic_where_a_fine_needle_is_asked_for_is_told(notes):
    owned(metallic=[RED], polyester=[BLUE])
    assert notes(needle="75/11 sharp") == []  # it stands for no red unasked
    assert notes("1=m" + RED[1:], needle="75/11 sharp") == [
        "Skerry Metallic is metallic and wants a needle of 90 or more; twill asks for 75/11 sharp (common practice)."
    ]
    assert notes("1=m" + RED[1:], needle="90/14") == []
