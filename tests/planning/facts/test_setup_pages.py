"""The workshop set up in the browser: machines and needles, hoops, fabrics with recipes, rules."""

import pytest
from django.urls import reverse

from inventory.models import Change
from inventory.shelf.receipts import receive_needles
from planning.models import Fabric, Hoop, Machine, Rules
from tests.factories import a_delivery, a_key
from tests.pages import page_text

pytestmark = pytest.mark.django_db


def fields_of(page):
    """Return what a form on ``page`` would send if nothing were typed."""
    sent = {}
    for form in [page.context["form"], *(page.context.get("layers") or [])]:
        for bound in form:
            value = bound.value()
            if value is not None and value is not False:
                sent[bound.html_name] = value
    if page.context.get("layers") is not None:
        for bound in page.context["layers"].management_form:
            sent[bound.html_name] = bound.value()
    return sent


def test_a_visitor_is_asked_to_sign_in(client, person):
    assert client.get(reverse("setup")).status_code == 302


def test_an_empty_workshop_says_what_each_thing_is_for(signed_in):
    page = signed_in.get(reverse("setup")).content.decode()
    assert "None yet. How it lays thread" in page
    assert "Add a machine" in page


def test_a_machine_is_added_with_the_stated_defaults(signed_in):
    address = reverse("setup_add", args=["machines"])
    sent = fields_of(signed_in.get(address)) | {"name": "by the door", "needles": 4}
    assert signed_in.post(address, sent).status_code == 302
    machine = Machine.objects.get()
    assert (machine.name, machine.needles, machine.threaded_path_mm) == ("by the door", 4, 600.0)
    assert Change.objects.get().what == "added by the door"


def test_two_machines_of_one_name_are_refused_in_words(signed_in, workshop):
    address = reverse("setup_add", args=["machines"])
    sent = fields_of(signed_in.get(address)) | {"name": workshop.name}
    response = signed_in.post(address, sent)
    assert response.status_code == 422
    assert "already exists" in response.content.decode()
    assert Machine.objects.count() == 1


def test_an_edit_is_noted_with_what_was_there_before(signed_in, workshop, person):
    address = reverse("setup_record", args=["machines", workshop.pk])
    sent = fields_of(signed_in.get(address)) | {"kappa": 0.3}
    page = page_text(signed_in.post(address, sent, follow=True))
    workshop.refresh_from_db()
    assert workshop.kappa == 0.3
    assert workshop.hoops.count() == 1
    assert "Draw-in κ from" in page
    assert person.username in page


@pytest.mark.parametrize(("field", "value"), [("kappa", 0.7), ("needles", 0), ("efficiency", 0)])
def test_what_no_machine_can_be_is_refused(signed_in, workshop, field, value):
    address = reverse("setup_record", args=["machines", workshop.pk])
    response = signed_in.post(address, fields_of(signed_in.get(address)) | {field: value})
    assert response.status_code == 422
    assert getattr(Machine.objects.get(), field) == getattr(workshop, field)


def test_stitches_are_counted_until_the_needle_is_due(signed_in, workshop):
    Machine.objects.update(needle_life_stitches=1_000)
    address = reverse("needle", args=[workshop.pk])
    page = signed_in.post(address, {"stitches": 400, "key": a_key()}, follow=True).content.decode()
    assert "600 stitches are left" in page
    page = signed_in.post(address, {"stitches": 700, "key": a_key()}, follow=True).content.decode()
    assert "Due: 1,100 stitches were made with it" in page


def test_stitches_sent_twice_count_once(signed_in, workshop):
    sent = {"stitches": 400, "key": a_key()}
    for _ in range(2):
        signed_in.post(reverse("needle", args=[workshop.pk]), sent)
    assert Machine.objects.get().stitches_since_needle == 400


def test_a_changed_needle_leaves_its_pack_and_begins_anew(signed_in, workshop):
    pack = receive_needles(system="flat shank", size=75, count=10, delivery=a_delivery())
    Machine.objects.update(stitches_since_needle=5_000)
    sent = {"pack": pack.pk, "count": 1, "key": a_key()}
    page = signed_in.post(reverse("needle", args=[workshop.pk]), sent, follow=True).content.decode()
    assert "has a new needle" in page
    pack.refresh_from_db()
    assert (pack.on_hand, Machine.objects.get().stitches_since_needle) == (9, 0)


def test_more_needles_than_the_pack_holds_are_refused_in_words(signed_in, workshop):
    pack = receive_needles(system="flat shank", size=75, count=1, delivery=a_delivery())
    sent = {"pack": pack.pk, "count": 2, "key": a_key()}
    page = signed_in.post(reverse("needle", args=[workshop.pk]), sent, follow=True).content.decode()
    assert "cannot be taken" in page


def test_a_hoop_gives_both_sides_of_its_piece_or_neither(signed_in):
    address = reverse("setup_add", args=["hoops"])
    sides = {"field_width_mm": 100, "field_height_mm": 100, "ring_width_mm": 120, "ring_height_mm": 120}
    response = signed_in.post(address, {"name": "small", "piece_width_mm": 150} | sides)
    assert response.status_code == 422
    assert "Give both sides" in response.content.decode()
    assert signed_in.post(address, {"name": "small"} | sides).status_code == 302
    assert Hoop.objects.get().piece_mm(margin_mm=20) == (160, 160)


def test_a_fabric_gets_its_layers_in_order(signed_in, workshop):
    fabric = Fabric.objects.get(name="twill")
    address = reverse("setup_record", args=["fabrics", fabric.pk])
    sent = fields_of(signed_in.get(address)) | {"layers-1-kind": "topping", "layers-1-method": "topping"}
    assert signed_in.post(address, sent).status_code == 302
    assert [layer.kind for layer in fabric.layers.all()] == ["tear-away", "topping"]
    sent = fields_of(signed_in.get(address)) | {"layers-0-DELETE": "on"}
    signed_in.post(address, sent)
    assert [layer.kind for layer in fabric.layers.all()] == ["topping"]


def test_saving_a_fabric_as_it_was_changes_no_layer(signed_in, workshop):
    fabric = Fabric.objects.get(name="twill")
    address = reverse("setup_record", args=["fabrics", fabric.pk])
    assert signed_in.post(address, fields_of(signed_in.get(address))).status_code == 302
    assert [str(layer) for layer in fabric.layers.all()] == ["1 × tear-away, hooped with the cloth"]
    assert not Change.objects.exists()


def test_rules_begin_as_the_stated_defaults_and_can_be_changed(signed_in):
    address = reverse("setup_rules")
    sent = fields_of(signed_in.get(address)) | {"enough_at": "90"}
    assert signed_in.post(address, sent).status_code == 302
    assert (Rules.current().enough_at, Rules.current().test_pieces) == (0.9, 1)


def test_shares_are_typed_in_percent_and_a_share_of_one_is_asked_about(signed_in):
    address = reverse("setup_rules")
    page = signed_in.get(address)
    assert page.context["form"]["enough_at"].value() == "95"
    meant = signed_in.post(address, fields_of(page) | {"enough_at": "0.9"})
    assert meant.status_code == 422
    assert "Is 90 meant?" in meant.content.decode()
    assert signed_in.post(address, fields_of(page) | {"spoilage": "2,5 %"}).status_code == 302
    assert Rules.current().spoilage == 0.025


def test_rules_that_contradict_each_other_are_refused(signed_in):
    address = reverse("setup_rules")
    response = signed_in.post(address, fields_of(signed_in.get(address)) | {"tight_at": "97"})
    assert response.status_code == 422
    assert Rules.current().tight_at == 0.5


def test_nothing_else_is_set_up(signed_in):
    assert signed_in.get(reverse("setup_add", args=["boats"])).status_code == 404
