"""Nothing is left out in silence: every spool on the shelf is considered, or listed with its reason."""

import contextlib
from collections import Counter
from dataclasses import dataclass
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from inventory.models import Reservation, Shade, Spool, StockItem
from planning.buying.needs import needs_of_all
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.season import in_turn
from planning.library.designs import asked_from_file, keep_design
from planning.models import Rules
from planning.plan.ask import Question, plan
from planning.plan.data import plan_as_data
from planning.plan.shelf import shelf
from planning.run.promise import promise
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_range, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED = "#b01c2e"
# Labels by whether they may be the planned weight of 40, as a person reads them.
LABELS = {"": True, "40": True, "40 wt": True, "No. 40": True, "#40": True, "60": False, "60 wt": False}


@dataclass(frozen=True)
class Odd:
    """A spool as a workshop may have it."""

    label: str = "40"
    fibre: str = "polyester"
    purpose: str = "needle"
    tex_is_nominal: bool = False
    has_colour: bool = True
    left_m: int = 900
    is_known: bool = True
    held_m: int = 0
    is_retired: bool = False

    def reason(self, *, fibre: str) -> str | None:
        """Return the reason for which a careful person would not count on it, the plainest first."""
        return next(
            (
                why
                for why, holds in (
                    ("retired", self.is_retired),
                    ("purpose", self.purpose != "needle"),
                    ("fibre", bool(fibre) and self.fibre != fibre),
                    ("weight", not LABELS[self.label]),
                    ("colour", not self.has_colour),
                    ("quantity", not self.is_known),
                    ("set aside", self.held_m > 0),
                )
                if holds
            ),
            None,
        )


ODD_SPOOLS = st.builds(
    Odd,
    label=st.sampled_from(sorted(LABELS)),
    fibre=st.sampled_from(["polyester", "rayon", "metallic"]),
    purpose=st.sampled_from(["needle", "needle", "needle", "bobbin"]),
    tex_is_nominal=st.booleans(),
    has_colour=st.booleans(),
    left_m=st.sampled_from([0, 3, 900]),
    is_known=st.booleans(),
    held_m=st.sampled_from([0, 0, 2, 900]),
    is_retired=st.booleans(),
).filter(lambda odd: odd.held_m <= odd.left_m and not (odd.is_retired and odd.held_m))


def put_on_the_shelf(odd: Odd, number: int) -> Spool:
    range = a_range(
        "Skerry",
        f"{odd.label} {odd.fibre} {odd.purpose} {odd.tex_is_nominal}",
        weight_label=odd.label,
        fibre=odd.fibre,
        purpose=odd.purpose,
        tex_is_nominal=odd.tex_is_nominal,
    )
    shade = a_shade(f"A{number}", range=range)
    spool = a_spool(shade)
    if not odd.has_colour:
        Shade.objects.filter(pk=shade.pk).update(lab_l=None, lab_a=None, lab_b=None)
    StockItem.objects.filter(pk=spool.pk).update(
        on_hand=odd.left_m * 1000,
        reserved=odd.held_m * 1000,
        known="weighed" if odd.is_known else "unknown",
        sigma=5_000.0 if odd.is_known else None,
        retired_at=NOW if odd.is_retired else None,
    )
    if odd.held_m:
        Reservation.objects.create(
            item_id=spool.pk, quantity=odd.held_m * 1000, holder="job 99", key=a_key(), at=NOW
        )
    return spool


def check_left_out(odd: list[Odd], *, fibre: str) -> None:
    Rules.objects.update_or_create(pk=1, defaults={"fibre": fibre, "weight_label": "40"})
    spools = {put_on_the_shelf(each, number).label: each for number, each in enumerate(odd)}
    read = shelf(fibre=fibre, weight_label="40")
    why = {label: each.why for each in read.left_out for label in each.labels}
    due = {label: each.reason(fibre=fibre) for label, each in spools.items()}
    assert why == {label: reason for label, reason in due.items() if reason not in (None, "retired")}
    assert all(each.count == len(each.labels) for each in read.left_out if each.labels)
    retired = sum(each.count for each in read.left_out if each.why == "retired")
    assert retired == Counter(due.values())["retired"]
    # What is listed nowhere can be chosen, with all that is on it.
    considered = {
        spool.label: spool.free_mm
        for shade in read.shades
        if shade.lab is not None
        for spool in shade.spools
        if spool.is_known and spool.label not in why
    }
    assert considered == {
        label: spools[label].left_m * 1000 for label, reason in due.items() if reason is None
    }
    # As if nothing were set aside, and then set aside for jobs in turn, the same is listed.
    aside = {label for label, reason in due.items() if reason == "set aside"}
    (standing,) = in_turn(plans=8)
    assert standing.plan is not None
    told = {label: each.why for each in standing.plan.left_out for label in each.labels}
    # A piece is of one fibre: what is on the shelf in others is listed, and nothing in its own is.
    other = {label for label, each in told.items() if each == "fibre" and label not in why}
    assert {label: each for label, each in told.items() if label not in other} == why
    assert not fibre or not other
    free = {label for label, reason in due.items() if reason is None}
    its = {spools[label].fibre for label in free - other}
    assert len(its - {"metallic"}) <= 1
    assert not its & {spools[label].fibre for label in other}
    assert "metallic" not in its or fibre
    assert aside <= set(told)


@pytest.fixture
def waiting(workshop, stitch_file):
    """A job that waits; it asks for no fibre and the weight 40."""
    path = stitch_file(RED)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    return make_job(JobFacts(what="caps", pieces=2, machine=workshop), designs=[design], at=NOW, by=None)


EVERY_REASON = [
    Odd(),
    Odd(label="60"),
    Odd(label="", left_m=0),
    Odd(purpose="bobbin"),
    Odd(has_colour=False),
    Odd(is_known=False, held_m=2),
    Odd(held_m=900),
    Odd(is_retired=True),
]


@given(odd=st.lists(ODD_SPOOLS, max_size=6), fibre=st.sampled_from(["", "polyester"]))
@example(odd=EVERY_REASON, fibre="polyester")
@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_spool_is_considered_or_listed_with_its_reason(waiting, odd, fibre):
    with transaction.atomic():
        check_left_out(odd, fibre=fibre)
        transaction.set_rollback(True)


@pytest.mark.thorough
@given(odd=st.lists(ODD_SPOOLS, max_size=12), fibre=st.sampled_from(["", "polyester"]))
@settings(max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_every_spool_of_any_shelf_is_considered_or_listed_with_its_reason(waiting, odd, fibre):
    with transaction.atomic():
        check_left_out(odd, fibre=fibre)
        transaction.set_rollback(True)


def test_jobs_in_turn_and_the_shopping_list_list_what_others_hold(workshop, stitch_file):
    red = a_shade("R", hex=RED)
    a_spool(red, left_m=900)
    some_bobbins(count=40)
    a_roll()
    path = stitch_file(RED, stitches=400)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    facts = JobFacts(what="caps", pieces=5, machine=workshop)
    first = make_job(facts, designs=[design], at=NOW, by=None)
    promise(type(first).objects.with_everything().get(pk=first.pk), at=NOW, by=None)
    foreign = put_on_the_shelf(Odd(held_m=900), 7)
    make_job(facts, designs=[design], at=NOW, by=None)
    standing = next(each for each in in_turn(plans=8) if each.plan is not None)
    (spool,) = Spool.objects.filter(shade=red)
    listed = {label for each in standing.plan.left_out if each.why == "set aside" for label in each.labels}
    assert listed == {spool.label, foreign.label}
    # What an open job holds is for what is bought for; what somebody else holds is not.
    needs = needs_of_all(today=NOW.date())
    assert [each.labels for each in needs.left_out if each.why == "set aside"] == [(foreign.label,)]
    said = StringIO()
    with contextlib.suppress(SystemExit):
        call_command("shopping_list", "--format", "json", stdout=StringIO(), stderr=said)
    assert "1 spool set aside for other jobs" in said.getvalue()


def test_stabilizer_of_which_nobody_knows_how_much_it_is_is_listed(workshop, stitch_file):
    roll = a_roll()
    StockItem.objects.filter(pk=roll.pk).update(known="unknown", sigma=None)
    data = plan_as_data(plan([asked_from_file(read_design_file(stitch_file(RED)))], Question(pieces=1)))
    assert {"what": "rolls of stabilizer", "count": 1, "why": "quantity", "labels": [roll.label]} in data[
        "left_out"
    ]
