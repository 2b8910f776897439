"""What the first hour keeps in the words of one language is known again in another."""

from datetime import date
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from django.utils import translation

from fixtures.catalogues import mo_bytes
from inventory.compute.units import Units
from planning.buying.needs import needs_of_all
from planning.facts.recipes import starter
from planning.first_hour.colours import FileColour
from planning.first_hour.forms import SettingForm
from planning.first_hour.setting import keep_cloth
from planning.models import Design, Fabric
from tests.factories import NOW

pytestmark = pytest.mark.django_db
SAID = {"Light knit: jersey, piqué": "Maschenware", "Colour {number}": "Farbe {number}"}


@pytest.fixture(autouse=True)
def few_german_words(tmp_path: Path, settings) -> None:
    """Have German say ``SAID``, whatever its own catalogue says of it."""
    made = Catalog(locale="de", charset="utf-8")
    for text, said in SAID.items():
        made.add(text, said)
    path = tmp_path / "de" / "LC_MESSAGES" / "django.mo"
    path.parent.mkdir(parents=True)
    path.write_bytes(mo_bytes(made))
    settings.LOCALE_PATHS = [str(tmp_path)]


def test_a_cloth_that_was_kept_in_one_language_is_found_again_in_another() -> None:
    knit = starter("knit")
    assert knit is not None
    kept = keep_cloth(knit, at=NOW, by=None)
    with translation.override("de"):
        assert knit.name == "Maschenware"
        assert keep_cloth(knit, at=NOW, by=None) == kept
        form = SettingForm(design=Design(width_mm=50, height_mm=50), units=Units())
        cloths = [name for _value, name in form.fields["cloth"].choices]
    assert "Maschenware" not in cloths
    assert len(cloths) == len(set(cloths))


def test_a_cloth_is_kept_under_the_name_that_was_read() -> None:
    with translation.override("de"):
        keep_cloth(starter("knit"), at=NOW, by=None)
    assert Fabric.objects.get().name == "Maschenware"


def test_a_colour_keeps_the_capital_that_its_language_gives_it() -> None:
    colour = FileColour(2, (2,), "", "", 100.0, None, False, False)
    assert colour.called_within == "colour 2"
    with translation.override("de"):
        assert colour.called_within == "Farbe 2"


def test_needs_are_kept_for_each_language_apart() -> None:
    today = date(2026, 3, 2)
    english = needs_of_all(today=today)
    with translation.override("de"):
        assert needs_of_all(today=today) is not english
    assert needs_of_all(today=today) is english
