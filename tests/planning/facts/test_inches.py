"""Forms of the workshop speak inches where they are chosen, and show numbers as people write them."""

import pytest
from django.urls import reverse

from inventory.compute.units import Units
from inventory.shelf.typed.measures import as_people_write
from planning.facts.forms import HoopForm, MachineForm
from planning.models import Hoop, Machine

pytestmark = pytest.mark.django_db
INCHES = Units(size="in")


def test_a_hoop_is_typed_in_inches_and_kept_in_mm() -> None:
    hoop = Hoop.objects.create(name="small", field_width_mm=100, field_height_mm=127, ring_width_mm=120,
                               ring_height_mm=150)  # fmt: skip
    form = HoopForm(instance=hoop)
    as_people_write(form, INCHES)
    assert form["field_width_mm"].label == "Field, width in inches"
    assert form["field_width_mm"].value() == "3.94"
    typed = {each: form[each].value() or "" for each in form.fields} | {"field_height_mm": "5.5"}
    sent = HoopForm(typed, instance=hoop)
    as_people_write(sent, INCHES)
    assert sent.is_valid(), sent.errors
    # What was not touched stays to the last mm; 5.5 in are 139.7 mm.
    assert (sent.cleaned_data["field_width_mm"], sent.cleaned_data["field_height_mm"]) == (100, 140)


def test_a_third_is_shown_as_people_write_it_and_stays_a_third() -> None:
    machine = Machine(name="m", kappa=1 / 3)
    form = MachineForm(instance=machine)
    as_people_write(form, Units())
    assert form["kappa"].value() == "0.3333"
    assert form.fields["kappa"].clean("0.3333") == 1 / 3
    assert form.fields["kappa"].clean("0,25") == 0.25


def test_the_pages_of_the_workshop_show_no_long_numbers(signed_in, workshop) -> None:
    machine = Machine.objects.first()
    assert machine is not None
    Machine.objects.filter(pk=machine.pk).update(kappa=1 / 3)
    page = signed_in.get(reverse("setup_record", args=["machines", machine.pk])).content.decode()
    assert "0.333333" not in page
    assert 'value="0.3333"' in page
