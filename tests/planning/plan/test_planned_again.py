"""What is promised of a purchase is what comes true: bought, received, and planned again."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from django.db import transaction

from inventory.compute.colour.lab import lab_from_hex
from inventory.models import PutUp, Shade
from inventory.shelf.receipts import receive_spools
from planning.compute.batch.asked import AskedDesign
from planning.compute.batch.needle_thread import judge_threads
from planning.compute.batch.plan import carried_so
from planning.compute.buying.priced_instead import PricedInstead
from planning.library.designs import asked_from_file
from planning.models import Strictness
from planning.plan.ask import Question, asked_by, plan, plan_asked, terms_on
from planning.plan.data import plan_as_data
from planning.plan.hooping import hooping_of
from planning.plan.shelf import shelf as read_shelf
from planning.plan.words import instead_in_words
from planning.stitch_files.reading import read_design_file
from tests.factories import a_delivery, a_put_up, a_range, a_roll, a_shade, a_spool, an_offer, some_bobbins

pytestmark = pytest.mark.django_db
WITHIN = 0.05
BLOCKS = 4


def a_colour(rng: np.random.Generator) -> str:
    # Mostly among themselves, so that shades compete and rules bind.
    middle = np.array([170, 60, 60]) if rng.random() < 0.6 else rng.integers(30, 220, 3)
    return "#" + "".join(f"{value:02x}" for value in np.clip(middle + rng.integers(-45, 46, 3), 0, 255))


@pytest.fixture
def market(workshop) -> None:
    """Some shades nearly gone, some full, some only sold; three in four of the owned are sold again."""
    rng = np.random.default_rng(17)
    ranges = [a_range("Skerry", "Forty"), a_range("Cormorant", "Bright")]
    an_offer(a_put_up(ranges[1]), price="3.90")
    an_offer(a_put_up(ranges[1], metres=200), price="1.50", supplier="Mole Yarns")
    only = a_range("Petrel", "Plain")  # owned, and sold by nobody
    for number in range(26):
        range_ = only if number % 4 == 0 else ranges[1]
        shade = a_shade(f"A{number}", hex=a_colour(rng), range=range_)
        a_spool(shade, left_m=int(rng.choice([2, 12, 60, 400])))
    for number in range(26):
        a_shade(f"B{number}", hex=a_colour(rng), range=ranges[1])
    some_bobbins(count=60)
    a_roll()


@pytest.fixture
def drawn(stitch_file) -> AskedDesign:
    colours = [f"#{number}{number}{number}{number}{number}{number}" for number in range(1, BLOCKS + 1)]
    return asked_from_file(read_design_file(stitch_file(*colours, stitches=400)))


def coloured(design: AskedDesign, rng: np.random.Generator) -> AskedDesign:
    blocks = []
    for block in design.blocks:
        hex = a_colour(rng)
        blocks.append(replace(block, hex=hex, lab=lab_from_hex(hex), name=""))
    return replace(design, blocks=tuple(blocks))


@contextmanager
def received(bought: PricedInstead) -> Iterator[None]:
    """Put what was bought on the shelf, for a moment."""
    with transaction.atomic():
        for each in bought.shades:
            shade = Shade.objects.get(pk=each.shade.id)
            offer = each.purchase.offer
            put_up = PutUp.objects.get(range=shade.range, length_mm=offer.holds // offer.pack)
            receive_spools(
                shade, put_up=put_up, delivery=a_delivery(), count=each.purchase.packs * offer.pack
            )
        yield
        transaction.set_rollback(True)


def promises_kept(purchases: int, *, seed: int, design: AskedDesign) -> list[tuple[float, bool]]:
    """Return for so many purchases how far the mean was off, and whether the verdict was the one promised."""
    rng, found = np.random.default_rng(seed), []
    while len(found) < purchases:
        strictness = Strictness.BRAND if rng.random() < 0.5 else Strictness.PICTURE
        question = Question(pieces=int(rng.integers(2, 25)), strictness=strictness)
        asked = coloured(design, rng)
        for bought in plan([asked], question).instead:
            with received(bought):
                then = plan([asked], question)
                found.append(
                    (abs(then.mean_delta_e - bought.mean_after), then.verdict == bought.verdict_after)
                )
    return found[:purchases]


def test_a_few_purchases_come_true(market, drawn):
    kept = promises_kept(3, seed=1, design=drawn)
    assert max(off for off, _ in kept) <= WITHIN
    assert all(same for _, same in kept)


def test_judging_comes_to_what_planning_does(market, drawn):
    rng = np.random.default_rng(5)
    for _ in range(6):
        strictness = Strictness.BRAND if rng.random() < 0.5 else Strictness.PICTURE
        question = Question(pieces=int(rng.integers(2, 25)), strictness=strictness)
        asked = asked_by(question, [coloured(drawn, rng)])
        shelf = read_shelf(
            fibre=asked.rules.fibre,
            weight_label=asked.rules.weight_label,
            bobbin_style=asked.machine.bobbin_style,
            holder=asked.holder,
        )
        planned = plan_asked(asked, with_advice=False)
        terms, _ = terms_on(asked, hooping_of(asked), shelf)
        _, carried, terms = carried_so(asked.designs, pieces=asked.pieces, terms=terms)
        judged = judge_threads(carried, shelf, terms)
        assert list(judged.verdicts) == [(each.verdict, each.colour_verdict) for each in planned.threads]
        assert judged.mean_delta_e == planned.mean_delta_e


@pytest.mark.thorough
def test_a_hundred_purchases_come_true(market, drawn):
    kept = promises_kept(100, seed=2, design=drawn)
    worst, equal = max(off for off, _ in kept), sum(same for _, same in kept)
    print(
        f"\n100 purchases received and planned again: worst mean off by {worst:.4f}, verdict equal in {equal}"
    )
    assert worst <= WITHIN
    assert equal == 100


def test_a_shade_with_two_metres_left_is_proposed_with_its_remnant(workshop, drawn):
    thread = a_range("Cormorant", "Bright")
    an_offer(a_put_up(thread), price="3.90")
    exact = a_shade("EXACT", hex="#b04848", range=thread)
    a_spool(exact, left_m=2)
    a_spool(a_shade("NEAR", hex="#b54d4a", range=a_range("Petrel", "Plain")))
    asked = replace(drawn, blocks=(replace(drawn.blocks[0], hex=exact.hex, lab=exact.lab, source="shade"),))
    answer = plan([asked], Question(pieces=20, strictness=Strictness.PICTURE))
    assert answer.threads[0].choice.shade.code == "NEAR"
    (bought,) = answer.instead
    assert bought.shades[0].shade.id == exact.pk
    assert bought.mean_after == pytest.approx(0.0, abs=1e-6)
    assert bought.shades[0].needed_mm < answer.threads[0].needed_mm * 1.5
    (told,) = plan_as_data(answer)["instead"]
    assert told["verdict_then"] == bought.verdict_after
    assert f"the verdict stays {answer.verdict}" in instead_in_words(
        bought, currency="EUR", now=answer.verdict
    )
