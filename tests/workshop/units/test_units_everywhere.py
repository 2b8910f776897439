"""Whoever reads yards, inches and ounces meets them everywhere: on pages, in forms, in what is refused, in commands."""

import json
import re
from io import StringIO
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import call_command
from django.urls import reverse

from inventory.compute.units import IMPERIAL, METRIC, read_in, reader, told_sides
from inventory.models import StabilizerProduct
from inventory.shelf.forms import MeasureField
from planning.jobs.forms import PlacedForm
from planning.models import Hoop
from tests.factories import a_put_up, a_spool
from tests.own_database import own_database, run_in
from tests.pages import page_text
from workshop.models import Preference

# What stays metric for everybody, and why.
KEPT: dict[str, str] = {
    r"metres \(m\)|centimetres \(cm\)|grams \(g\)": "the choice of units itself",
    r"^metres$": "the choice of the unit of bare lengths in a list",
    r"\d yd \([\d,]+ m\)": "what a label says when full, in both, to be found on it",
    r"scale of 1 g steps|a (?:0\.)?1 g scale": "scales that tell so little are sold by their steps in grams",
    r"q = [\d.]+, t = [\d.]+ mm": "the values of a formula in the units of its source",
    r"lie 4 mm apart|0\.4 mm rows and 4 mm stitches|stitches per cm²": "stitches are measured in mm in the trade",
    r"1\.5 oz/yd², which is 50\.9 g/m²": "it says what one is in the other",
    r"Tex is a measure, grams in a kilometre": "the tex is of the metric system",
    r"12\.5 m, 15 yd and 30 cm are understood": "what fields take, in units of both kinds",
    r"Lengths are in millimetres|Lengths are whole millimetres": "what programs read is metric",
}
# Columns of files are metric for everybody, with the unit in their names.
KEPT_PAGES = {"files"}


@pytest.mark.thorough
@pytest.mark.django_db(transaction=True)
def test_no_page_and_no_refusal_speaks_metric_to_whoever_chose_inches(tmp_path: Path) -> None:
    """In a process of its own, on the demo's week."""
    with own_database(tmp_path) as environment:
        answer = run_in(environment, "-m", "tests.workshop.units.walk", timeout_s=1800)
    looked = json.loads(answer)
    assert looked["pages"] > 200
    kept = re.compile("|".join(KEPT))
    left = {
        f"{route}, {what}": over
        for what in ("shown", "refused")
        for route, said in looked[what].items()
        if route not in KEPT_PAGES and (over := [each for each in said if not kept.search(each)])
    }
    assert left == {}


@pytest.fixture
def in_inches(signed_in):
    from django.contrib.auth.models import User

    Preference.objects.create(user=User.objects.get(), length_unit="yd", weight_unit="oz", size_unit="in")
    return signed_in


@pytest.mark.django_db
def test_what_is_shown_in_inches_and_sent_back_untouched_stays_to_the_last_digit(in_inches) -> None:
    hoop = Hoop.objects.create(
        name="odd", field_width_mm=101, field_height_mm=133, ring_width_mm=127, ring_height_mm=161
    )
    cloth = StabilizerProduct.objects.create(
        maker="M", name="n", kind="cut-away", weight_g_m2=75.0, thickness_mm=0.37
    )
    for address, record in (
        (reverse("setup_record", args=["hoops", hoop.pk]), hoop),
        (reverse("catalogue_record", args=["stabilizers", cloth.pk]), cloth),
    ):
        form = in_inches.get(address).context["form"]
        sent = {name: form[name].value() or "" for name in form.fields}
        sent = {name: value for name, value in sent.items() if value is not False}
        answer = in_inches.post(address, sent)
        assert answer.status_code == 302, page_text(answer)
        kept = type(record).objects.filter(pk=record.pk).values().get()
        assert kept == {name: getattr(record, name) for name in kept}


@pytest.mark.django_db
def test_a_place_on_the_piece_is_typed_in_inches_or_any_unit_and_may_be_below_zero() -> None:
    with read_in(IMPERIAL):
        form = PlacedForm()
    assert form["x_mm"].label == "Right of the middle, in"
    for typed, mm in (("2", 50.8), ("-5 cm", -50.0), ("2,5 mm", 2.5), ("−½", -12.7)):
        assert form.fields["x_mm"].clean(typed) == pytest.approx(mm)


@pytest.mark.django_db
def test_a_limit_is_told_in_inches(in_inches) -> None:
    answer = in_inches.post(reverse("setup_add", args=["machines"]), {"threaded_path_mm": "-1"})
    assert "below zero" in page_text(answer)
    field = MeasureField(measure="weight", label="Weight")
    field.read_in(IMPERIAL)
    with pytest.raises(Exception, match="is more than 2,205 lb"):
        field.clean("99999999")


@pytest.mark.django_db
def test_commands_speak_the_units_of_the_workshop_and_json_stays_metric(settings: LazySettings) -> None:
    spool = a_spool()
    a_put_up()
    said: dict[str, str] = {}
    for units in ("metric", "imperial"):
        settings.UNITS = units
        for format in ("text", "json"):
            out = StringIO()
            call_command("use", spool.label, "10m", "--format", format, stdout=out)
            said[f"{units} {format}"] = out.getvalue()
    assert "Took 10.0 m off" in said["metric text"]
    assert "Took 10.9 yd off" in said["imperial text"]
    assert "yd" not in said["imperial json"]
    assert reader() == METRIC


def test_units_end_with_what_they_were_said_for() -> None:
    with read_in(IMPERIAL):
        assert (told_sides(127, 254), told_sides(0.4)) == ("5 × 10 in", "0.016 in")
        with read_in(METRIC):
            assert told_sides(127) == "127 mm"
        assert told_sides(25.4) == "1 in"
    assert told_sides(25.4) == "25.4 mm"
