"""The catalogue from files: shades with their ranges and put-ups, suppliers with their offers."""

from collections.abc import Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from fixtures.imports import make
from inventory.compute.colour.lab import lab_from_hex
from inventory.files.importing import NothingLanded, Preview, apply_import, preview_import
from inventory.models import Change, Offer, PriceBreak, PutUp, Shade, Supplier, ThreadRange
from tests.factories import NOW, a_put_up, a_range, a_shade, a_stabilizer, an_offer

pytestmark = pytest.mark.django_db

IMPORTS = Path(make.__file__).parent


def a_file(head: Sequence[str], *rows: Sequence[object]) -> bytes:
    return make.text_of([head, *rows]).encode()


def apply(content: bytes, *, kind: str, **particulars: Any) -> Preview:
    return apply_import(content, kind=kind, **({"at": NOW, "by": None} | particulars))


def good(kind: str) -> bytes:
    return (IMPORTS / "good" / f"{kind}.csv").read_bytes()


def test_shades_land_with_their_ranges_and_put_ups():
    landed = apply(good("shades"), kind="shades")
    assert (landed.new, landed.failed) == (8, ())
    forty = ThreadRange.objects.get(name="Forty")
    assert (forty.maker, forty.tex, forty.fibre, forty.purpose) == ("Skerry", 27.0, "polyester", "needle")
    assert [(each.length_mm, each.tare_mg) for each in forty.put_ups.all()] == [
        (1_000_000, 12_000),
        (5_000_000, 41_500),
    ]
    red = Shade.objects.get(code="R140")
    assert (red.name, red.lab_l, red.lab_a, red.lab_b, red.colour_source) == (
        "Harbour Red",
        38.41,
        56.2,
        33.09,
        "measured",
    )
    assert [each.code for each in red.earlier_codes.all()] == ["1147", "47-B"]
    foam = Shade.objects.get(code="B150")
    assert foam.lab == lab_from_hex("#c3d9ea")
    assert Shade.objects.get(code="12").name == "Łosoś"
    assert Shade.objects.get(code="N180").lab_l == 29.125
    assert not Change.objects.exists()


def test_shades_that_are_there_are_unchanged():
    apply(good("shades"), kind="shades")
    again = apply(good("shades"), kind="shades")
    assert (again.new, again.changed, again.unchanged) == (0, 0, 8)
    assert not Change.objects.exists()


def test_an_edited_shade_leaves_what_it_was(person):
    shade = a_shade("R1", name="harbour red")
    content = a_file(("maker", "range", "code", "name"), ("Skerry", "Forty", "R1", "Harbour Red"))
    landed = apply(content, kind="shades", by=person)
    assert landed.outcomes[0].changes == ("Skerry Forty R1, name: harbour red → Harbour Red",)
    (change,) = Change.objects.all()
    assert (change.table, change.record, change.by, change.at) == ("shade", shade.pk, person, NOW)
    assert change.fields == {"name": {"before": "harbour red", "after": "Harbour Red"}}


def test_a_blank_cell_leaves_a_field_as_it_is():
    a_shade("R1", name="harbour red")
    landed = apply(a_file(("maker", "range", "code", "name"), ("Skerry", "Forty", "R1", "")), kind="shades")
    assert landed.unchanged == 1
    assert Shade.objects.get().name == "harbour red"


def test_makers_ranges_and_codes_are_known_in_any_case():
    a_shade("R1", name="red")
    landed = apply(
        a_file(("maker", "range", "code", "name"), ("SKERRY", "forty ", "r1", "Red")), kind="shades"
    )
    assert (landed.new, landed.changed) == (0, 1)
    assert Shade.objects.get().name == "Red"


def test_a_new_range_needs_its_tex_and_a_new_put_up_its_length_wherever_it_is_said():
    head = ("maker", "range", "tex", "put_up", "put_up_length_m", "code")
    rows = [("Tern", "Lustre", "", "", "", "1"), ("Tern", "Lustre", "", "500 m spool", "", "")]
    preview = preview_import(a_file(head, *rows), kind="shades")
    assert [(each.row, each.column) for each in preview.problems] == [
        (2, "tex"),
        (3, "tex"),
        (3, "put_up_length_m"),
    ]
    said_later = ("Tern", "Lustre", "22", "500 m spool", "500", "")
    assert apply(a_file(head, *rows, said_later), kind="shades").failed == ()
    assert PutUp.objects.get().length_mm == 500_000


def test_the_diameters_of_a_put_up_come_in_and_must_be_possible():
    head = ("maker", "range", "tex", "put_up", "put_up_length_m", "put_up_full_mm", "put_up_core_mm")
    row = ("Tern", "Lustre", "22", "500 m spool", "500", "32,5", "20")
    assert apply(a_file((*head, "put_up_height_mm"), (*row, "45")), kind="shades").failed == ()
    put_up = PutUp.objects.get()
    assert (put_up.full_diameter_mm, put_up.core_diameter_mm, put_up.winding_height_mm) == (32.5, 20.0, 45.0)
    thin = ("Tern", "Lustre", "", "500 m spool", "", "", "40")
    (problem,) = preview_import(a_file(head, thin), kind="shades").problems
    assert (problem.row, problem.column) == (2, "put_up_core_mm")
    assert "thicker than its core" in problem.reason
    (nameless,) = preview_import(
        a_file(head, ("Tern", "Lustre", "", "", "", "30", "")), kind="shades"
    ).problems
    assert nameless.column == "put_up"


def test_two_rows_that_disagree_name_each_other():
    content = a_file(
        ("maker", "range", "tex", "code"), ("Tern", "Lustre", "22", "1"), ("Tern", "Lustre", "27", "2")
    )
    (problem,) = preview_import(content, kind="shades").problems
    assert (problem.row, problem.column) == (3, "tex")
    assert problem.reason == "Row 2 says 22 of Tern Lustre. Make both rows say the same."


def test_what_only_a_bad_row_tells_of_does_not_land():
    head = ("maker", "range", "tex", "code", "lab_l", "lab_a", "lab_b")
    content = a_file(
        head, ("Tern", "Lustre", "22", "1", "50", "0", "0"), ("Skerry", "Ten", "100", "2", "50", "0", "")
    )
    landed = apply(content, kind="shades", skip_bad=True)
    assert [(each.row, each.column) for each in landed.problems] == [(3, "lab_b")]
    assert list(ThreadRange.objects.values_list("name", flat=True)) == ["Lustre"]


def test_a_screen_colour_that_is_not_the_one_of_its_lab_is_refused():
    a_range()
    head = ("maker", "range", "code", "lab_l", "lab_a", "lab_b", "hex")
    # sRGB red (IEC 61966-2-1) is Lab 53.24, 80.09, 67.20 under D65.
    content = a_file(
        head,
        ("Skerry", "Forty", "1", "53.24", "80.09", "67.20", "#ff0000"),
        ("Skerry", "Forty", "2", "53.24", "80.09", "67.20", "#00ff00"),
    )
    preview = preview_import(content, kind="shades")
    assert [(each.row, each.column) for each in preview.problems] == [(3, "hex")]
    assert "#ff0000 on a screen" in preview.problems[0].reason


def test_suppliers_land_with_their_offers():
    for kind in ("shades", "bobbins", "stabilizer", "suppliers"):
        apply(good(kind), kind=kind)
    quay = Supplier.objects.get(name="Quay Supplies")
    assert (quay.lead_time_days, quay.shipping, quay.free_shipping_from) == (4, Decimal("5.90"), Decimal(80))
    assert sorted((offer.pack, offer.price) for offer in quay.offers.all()) == [
        (1, Decimal("4.20")),
        (10, Decimal("38.00")),
        (144, Decimal("61.50")),
    ]
    roll = Offer.objects.get(product__isnull=False)
    assert (roll.supplier.name, roll.roll_width_mm, roll.roll_length_mm) == (
        "Chandler & Daughters",
        500,
        10_000,
    )
    again = apply(good("suppliers"), kind="suppliers")
    assert (again.new, again.changed, again.unchanged) == (0, 0, 5)


def test_a_new_price_leaves_the_old_one():
    an_offer(a_put_up(), price="4.20")
    head = ("supplier", "maker", "range", "put_up", "price")
    landed = apply(
        a_file(head, ("Quay Supplies", "Skerry", "Forty", "1000 m spool", "4,50")), kind="suppliers"
    )
    assert landed.changed == 1
    assert Offer.objects.get().price == Decimal("4.50")
    assert Change.objects.get().fields == {"price": {"before": "4.20", "after": "4.50"}}


@pytest.mark.parametrize(
    ("cells", "problems"),
    [
        ({"price": "4"}, [("price", "The price is for nothing")]),
        ({"put_up": "1000 m spool", "maker": "Skerry", "range": "Forty"}, [("price", "needs a price")]),
        (
            {"put_up": "1000 m spool", "product": "x", "price": "4"},
            [("product", "An offer is for one thing")],
        ),
        (
            {"put_up": "2 m", "maker": "Skerry", "range": "Forty", "price": "4"},
            [("put_up", "has no put-up 2 m")],
        ),
        (
            {"maker": "Skerry", "product": "tear-away 50", "price": "4"},
            [("roll_width_mm", "needs roll_width_mm"), ("roll_length_m", "needs roll_length_m")],
        ),
        (
            {"bobbin_style": "Z", "bobbin_length_m": "100", "price": "4"},
            [("code", "needs code"), ("bobbin_style", "no such bobbin style")],
        ),
    ],
)
def test_an_offer_for_no_one_thing_is_refused(cells, problems):
    a_put_up()
    a_stabilizer()
    content = a_file(("supplier", *cells), ("Quay Supplies", *cells.values()))
    found = preview_import(content, kind="suppliers").problems
    assert [(each.column, says in each.reason) for each, (_, says) in zip(found, problems, strict=True)] == [
        (column, True) for column, _ in problems
    ]


def test_the_same_offer_twice_in_a_file_is_refused():
    a_put_up()
    head = ("supplier", "maker", "range", "put_up", "price")
    row = ("Quay Supplies", "Skerry", "Forty", "1000 m spool")
    with pytest.raises(NothingLanded) as refused:
        apply(a_file(head, (*row, "4"), (*row, "5")), kind="suppliers")
    assert [each.reason for each in refused.value.preview.problems] == [
        "Row 2 makes the same offer. Keep one of them."
    ]
    assert not Supplier.objects.exists()


def test_a_price_list_brings_its_steps_and_smallest_orders():
    put_up = a_put_up(metres=1000)
    head = ("supplier", "minimum_order", "maker", "range", "put_up", "price", "minimum_packs", "steps_for",
            "step_1_from", "step_1_price", "step_2_from", "step_2_price")  # fmt: skip
    row = (
        "Quay Supplies",
        "20.00",
        "Skerry",
        "Forty",
        put_up.name,
        "4.00",
        "2",
        "further",
        "5",
        "3.80",
        "10",
        "3.50",
    )
    content = a_file(head, row)
    preview = preview_import(content, kind="suppliers")
    assert preview.problems == ()
    assert PriceBreak.objects.count() == 0
    apply(content, kind="suppliers")
    offer = Offer.objects.get()
    assert (offer.minimum_packs, offer.steps_for, offer.supplier.minimum_order) == (2, "further", 20)
    assert [(step.from_packs, str(step.price)) for step in offer.breaks.all()] == [(5, "3.80"), (10, "3.50")]
    again = apply(content, kind="suppliers")
    assert (again.new, again.changed) == (0, 0)
    assert PriceBreak.objects.count() == 2


def test_half_a_price_step_is_refused():
    put_up = a_put_up(metres=1000)
    head = ("supplier", "maker", "range", "put_up", "price", "step_1_from", "step_2_price")
    content = a_file(head, ("Quay Supplies", "Skerry", "Forty", put_up.name, "4.00", "5", "3.10"))
    problems = preview_import(content, kind="suppliers").problems
    assert [each.column for each in problems] == ["step_1_price", "step_2_from"]
