"""A quote: cost with a margin, rounded up, never below the least order, as a page and a PDF."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from planning.compute.batch.cost_by_quantity import QuantityCost
from planning.compute.batch.quoting import QuoteTerms, quoted
from planning.jobs.jobs import plan_of
from planning.models import Job, Rules
from tests.factories import a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import RED, a_job


def a_cost(pieces: int, total: str) -> QuantityCost:
    return QuantityCost(
        pieces=pieces,
        stitched=pieces + 1,
        machine_min=0.0,
        hands_on_min=0.0,
        material=Decimal(total),
        machine=Decimal(0),
        hands_on=Decimal(0),
    )


def terms(margin: str = "40", rounded_to: str = "0.10", minimum: str = "0") -> QuoteTerms:
    return QuoteTerms(Decimal(margin), Decimal(rounded_to), Decimal(minimum))


@pytest.mark.parametrize(
    ("pieces", "cost", "given", "a_piece", "total", "at_minimum"),
    [
        # 100 with 40 % on it is 140; of 24 pieces each 5.8333…, rounded up to a tenth 5.90.
        (24, "100.00", terms(), "5.90", "141.60", False),
        (24, "100.00", terms(rounded_to="0.50"), "6.00", "144.00", False),
        (10, "50.00", terms(margin="0", rounded_to="0.01"), "5.00", "50.00", False),
        (3, "2.00", terms(minimum="25"), "8.33", "25", True),
    ],
)
def test_a_price_is_reckoned_as_by_hand(pieces, cost, given, a_piece, total, at_minimum):
    price = quoted(a_cost(pieces, cost), given)
    assert (price.a_piece, price.total, price.at_minimum) == (Decimal(a_piece), Decimal(total), at_minimum)
    assert price.total >= Decimal(cost) * (1 + given.margin_percent / 100) or price.at_minimum


@pytest.mark.parametrize(
    "wrong", [("-1", "0.1", "0"), ("40", "0", "0"), ("40", "0.1", "-3"), ("NaN", "0.1", "0")]
)
def test_terms_that_make_no_price_are_refused(wrong):
    with pytest.raises(WorkshopError):
        terms(*wrong)


@pytest.fixture
def job(stitch_file, workshop) -> Job:
    a_spool(a_shade(hex=RED), price_each=Decimal("5.00"))
    some_bobbins()
    Rules.objects.update_or_create(pk=1, defaults={"machine_rate": 30, "hands_on_rate": 20})
    return a_job(stitch_file(RED, name="badge.pes", stitches=400), pieces=12)


@pytest.mark.django_db
def test_the_page_and_the_pdf_say_the_same_price(signed_in, job):
    address = reverse("quote", args=[job.pk])
    plan = plan_of(job)
    (own,) = [each for each in plan.quantities if each.is_planned]
    price = quoted(own, terms(margin="25", rounded_to="1.00"))
    asked = f"{address}?margin=25&rounded_to=1.00&minimum=0"
    assert f"{price.total:.2f}" in page_text(signed_in.get(asked))
    pdf = signed_in.get(f"{asked}&as=pdf")
    assert pdf["Content-Type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF")
    assert signed_in.get(f"{address}?margin=-3&rounded_to=1&minimum=0").status_code == 422


@pytest.mark.django_db
def test_the_rules_are_the_usual_terms(signed_in, job):
    Rules.objects.update(quote_minimum=Decimal("9000.00"))
    shown = page_text(signed_in.get(reverse("quote", args=[job.pk])))
    assert "9,000.00" in shown
    assert "the least order" in shown


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("wearer", "said"), [("baby", "no rough backing"), ("night", "flammability rules"), ("", "Keep fingers")]
)
def test_who_wears_it_is_cared_for_on_the_plan(signed_in, job, wearer, said):
    Job.objects.update(wearer=wearer)
    shown = page_text(signed_in.get(reverse("job", args=[job.pk])))
    assert said in shown
    assert ("flammability" in shown) == (wearer == "night")


@pytest.mark.django_db
def test_what_has_no_price_is_told_in_every_row(signed_in, job):
    rows = plan_of(job).quantities
    assert rows
    assert {each.unpriced for each in rows} == {("bobbins",)}
    shown = page_text(signed_in.get(reverse("job", args=[job.pk])))
    assert shown.count("without bobbins") == len(rows)
