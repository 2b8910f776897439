"""What was kept in words by an earlier version is told by ids and keys once the database has moved on."""

from importlib import import_module

import pytest
from django.apps import apps

from inventory.shelf.receipts import receive_sheets
from planning.models import Job, JobCut, KeptStrips, Layer
from tests.factories import NOW, a_delivery, a_stabilizer

pytestmark = pytest.mark.django_db
moved_on = import_module("planning.migrations.0009_references_instead_of_words")


@pytest.fixture
def jobs():
    return [Job.objects.create(what=f"job {number}", pieces=1, made_at=NOW) for number in range(2)]


def test_pieces_cut_before_are_told_by_kind_method_and_product(jobs):
    product = a_stabilizer()
    written = [
        {"layer": f"{kind}, {method.label}", "product": name, "width_mm": 190, "height_mm": 240, "count": 12}
        for kind, method, name in [
            ("tear-away", Layer.Method.HOOPED, str(product)),
            ("topping", Layer.Method.TOPPING, "sold no more"),
        ]
    ]
    JobCut.objects.create(job=jobs[0], key="cut-1", pieces=written)
    moved_on.tell_cuts_by_id(apps, None)
    first, second = JobCut.objects.get().pieces
    assert (first["kind"], first["method"], first["product_id"]) == ("tear-away", "hooped", product.pk)
    assert (second["kind"], second["method"], second["product_id"]) == ("topping", "topping", 0)
    assert (first["layer"], first["count"]) == (written[0]["layer"], 12)


def test_every_method_of_a_layer_was_known_by_its_words():
    # Methods that came later were never kept by their words.
    assert {words: method for method, words in Layer.Method.choices}.items() >= moved_on.METHODS.items()


def test_strips_kept_before_are_told_by_the_key_of_their_entry(jobs):
    one, two = (job.pk for job in jobs)
    for key, about in [
        (f"rings-{one}-2-abc-0", f"rings of job {one}, {two}"),
        (f"rings-{two}-1-def-0", f"rings of job {two}, 9999"),
        ("delivery-1", f"rings of job {one}"),
    ]:
        receive_sheets(
            a_stabilizer(), width_mm=50, height_mm=180, count=3,
            delivery=a_delivery(key=key, reference=about),
        )  # fmt: skip
    moved_on.tell_strips_by_key(apps, None)
    moved_on.tell_strips_by_key(apps, None)
    assert set(KeptStrips.objects.values_list("job_id", "key")) == {
        (one, f"rings-{one}-2-abc-0"),
        (two, f"rings-{one}-2-abc-0"),
        (two, f"rings-{two}-1-def-0"),
    }
