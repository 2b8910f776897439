"""Spools measured across: on a page, by a command, and which way would tell most."""

import io
import json

import pytest
from django.core.management import call_command
from django.db import IntegrityError, transaction
from django.urls import reverse

from inventory.compute.diameters import NotThatSpool
from inventory.ledger import reverse as take_back
from inventory.models import Entry, StockItem
from inventory.shelf.diameters import DiametersNotKnown, best_way_in_words, measure_spool, ways_to_tell
from tests.factories import NOW, a_key, a_put_up, a_spool

pytestmark = pytest.mark.django_db


@pytest.fixture
def spool():
    made = a_spool(left_m=500)
    made.put_up.full_diameter_mm, made.put_up.core_diameter_mm = 32.0, 20.0
    made.put_up.save()
    return made


def held(item):
    return StockItem.objects.get(pk=item.pk)


def test_a_diameter_sets_the_length_with_its_error_and_can_be_undone(spool):
    entry = measure_spool(spool, diameter_mm=29.0, tool="calipers", key=a_key(), at=NOW, by=None)
    assert held(spool).on_hand == pytest.approx(1_000_000 * (29**2 - 400) / 624, abs=1)
    assert held(spool).known == "measured"
    assert 20_000 < held(spool).sigma < 30_000
    assert "29 mm across, calipers" in entry.reference
    take_back(entry, key=a_key(), at=NOW, by=None)
    assert (held(spool).on_hand, held(spool).known) == (500_000, "weighed")


def test_the_same_key_measures_once(spool):
    key = a_key()
    for _ in range(2):
        measure_spool(spool, diameter_mm=29.0, tool="ruler", key=key, at=NOW, by=None)
    assert Entry.objects.filter(key=key).count() == 1


def test_without_diameters_or_with_impossible_ones_it_is_refused_in_words(spool):
    with pytest.raises(NotThatSpool, match="right spool"):
        measure_spool(spool, diameter_mm=45.0, tool="ruler", key=a_key(), at=NOW, by=None)
    other = a_spool(metres=5000)
    with pytest.raises(DiametersNotKnown, match="Measure a sealed"):
        measure_spool(other, diameter_mm=45.0, tool="ruler", key=a_key(), at=NOW, by=None)


def test_the_ways_are_told_the_surest_first_and_a_small_spool_belongs_on_the_scale(spool):
    ways = ways_to_tell(spool)
    assert [way.sigma_mm for way in ways] == sorted(way.sigma_mm for way in ways)
    order = [way.called for way in ways]
    assert order.index("calipers") < order.index("ruler") < order.index("the eye")
    assert order.index("a 0.1 g scale") < order.index("ruler")
    assert best_way_in_words(spool).startswith(f"For this spool as it stands: {order[0]} is good to")
    a_put_up(spool.shade.range)
    spool.put_up.tare_mg = None
    spool.put_up.save()
    assert not any("scale" in way.called for way in ways_to_tell(spool))


def test_the_command_measures_and_answers(spool):
    out = io.StringIO()
    call_command("measure", spool.label, "29,0", "--with", "ruler", "--format", "json", stdout=out)
    (entry,) = json.loads(out.getvalue())["entries"]
    assert (entry["label"], entry["known"]) == (spool.label, "measured")


def test_the_page_measures(client, django_user_model, spool):
    client.force_login(django_user_model.objects.create_superuser("owner"))
    page = client.get(reverse("item", args=[spool.label])).content.decode()
    assert "Measure across" in page
    assert "For this spool as it stands" in page


def test_a_core_as_thick_as_the_full_spool_is_refused_by_the_database(spool):
    spool.put_up.core_diameter_mm = 32.0
    with pytest.raises(IntegrityError), transaction.atomic():
        spool.put_up.save()
