"""What a day asks: jobs with the one act each needs, what runs, what is late, what nobody has measured."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.compute.units import METRIC
from inventory.models import Spool
from inventory.orders.orders import OrderedThing, draft_order, place_order
from inventory.shelf.weights import mark_unknown
from planning.day.agenda import Agenda, agenda
from planning.models import Design
from planning.run.promise import promise
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW, a_put_up, a_shade, an_offer
from tests.planning.day.open_jobs import a_job

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)


def day() -> Agenda:
    return agenda(today=TODAY, units=METRIC)


def test_a_day_without_anything_asks_nothing() -> None:
    assert day().is_empty


def test_each_job_has_the_one_act_it_needs(design: Design) -> None:
    a_job(design, "soon", needed_on=date(2026, 4, 1))
    a_job(design, "late", needed_on=date(2026, 5, 1))
    asked = [(each.standing.job.what, each.standing.verdict, each.act) for each in day().asking]
    assert asked == [("soon", "enough", "promise"), ("late", "short", "buy")]
    assert "ox red" in day().asking[1].cause
    assert day().unmeasured == ()


def test_a_spool_that_nobody_measured_is_asked_for_by_its_label(design: Design) -> None:
    spool = Spool.objects.get()
    mark_unknown(spool, key="k", at=NOW, by=None)
    job = a_job(design, "soon")
    (asked,) = day().asking
    assert asked.thing is not None
    assert (asked.act, asked.thing.label) == ("measure", spool.label)
    (unmeasured,) = day().unmeasured
    assert (unmeasured.spool, unmeasured.wanted_by) == (spool, (job,))


def test_what_runs_stands_first_with_its_next_piece(design: Design) -> None:
    job = a_job(design, "flags")
    promise(job, at=NOW, by=None)
    (held,) = day().asking
    assert (held.act, held.standing.holds) == ("begin", True)
    run = begin(job, at=NOW)
    for number, kind in enumerate(("piece", "spoiled")):
        note(job, Happening(kind=kind, position=run.left[number], key=f"k{number}"), at=NOW, by=None)
    (running,) = day().running
    assert running.stitches[:4] == ("done", "spoiled", "now", "open")
    assert running.called
    assert day().asking == ()


def test_a_long_batch_is_drawn_with_one_stitch_for_several_pieces(design: Design) -> None:
    job = a_job(design, "flags", pieces=130)
    promise(job, at=NOW, by=None, although_short=True)
    run = begin(job, at=NOW)
    for number, kind in enumerate(("piece", "spoiled", "piece", "piece")):
        note(job, Happening(kind=kind, position=run.left[number], key=f"k{number}"), at=NOW, by=None)
    (running,) = day().running
    assert running.pieces_a_stitch == 3
    assert running.stitches[:3] == ("spoiled", "now", "open")
    assert 3 * (len(running.stitches) - 1) < len(run.left) <= 3 * len(running.stitches)


def test_orders_not_sent_and_orders_late_are_told(design: Design) -> None:
    red = a_shade("R2", hex="#c01c2e")
    offer = an_offer(a_put_up(red.range))
    things = [OrderedThing(offer, 3, Decimal("12.60"), shade=red)]
    sent = place_order(draft_order(offer.supplier, things=things, key="a", at=NOW, by=None), at=NOW)
    draft = draft_order(offer.supplier, things=things, key="b", at=NOW, by=None)
    asked = agenda(today=sent.expected_on + timedelta(days=3), units=METRIC)
    assert [(each.order, each.days_late) for each in asked.coming] == [(sent, 3)]
    assert asked.to_send == (draft,)


def test_the_first_page_shows_it_and_ticks_at_once(client: Client, person: Any, design: Design) -> None:
    client.force_login(person)
    assert "What the jobs need" not in client.get(reverse("today")).content.decode()
    job = a_job(design, "flags")
    a_job(design, "caps")
    promise(job, at=NOW, by=None)
    run = begin(job, at=NOW)
    page = client.get(reverse("today"))
    html = page.content.decode()
    for said in ("flags", "is done", "What the jobs need", "caps", "Is there enough?"):
        assert said in html
    ((_, key),) = page.context["running"]
    sent = {"kind": "piece", "key": key, "position": run.left[0]}
    for _ in range(2):
        client.post(reverse("happened", args=[job.pk]), sent)
    assert job.events.count() == 1


def test_more_jobs_are_no_more_queries(client: Client, person: Any, design: Design) -> None:

    client.force_login(person)
    counted = []
    for number in (2, 3):
        for each in range(number):
            a_job(design, f"job {number}.{each}")
        client.get(reverse("today"))
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("today"))
        counted.append(len(queries))
    assert counted[0] == counted[1]


def test_more_jobs_at_machines_are_no_more_queries(design: Design) -> None:
    counted = []
    for number in (1, 2):
        begun = a_job(design, f"flags {number}", pieces=1)
        promise(begun, at=NOW, by=None)
        begin(begun, at=NOW)
        day()
        with CaptureQueriesContext(connection) as queries:
            assert len(day().running) == number
        counted.append(len(queries))
    assert counted[0] == counted[1]


def test_of_many_jobs_at_machines_two_have_a_card_and_every_one_its_tick(
    design: Design, signed_in: Client
) -> None:
    for number in range(5):
        job = a_job(design, f"flags {number}")
        promise(job, at=NOW, by=None, although_short=True)
        begin(job, at=NOW)
    page = signed_in.get(reverse("today")).content.decode()
    assert page.count('<section class="running"') == 2
    assert page.count('name="kind" value="piece"') == 5
    assert not day().is_full
    for what in ("soon", "later"):
        a_job(design, what)
    assert day().is_full
    assert "is-folded" in signed_in.get(reverse("today")).content.decode()


def test_a_quiet_day_has_its_question_open(design: Design, signed_in: Client) -> None:
    a_job(design, "soon", needed_on=date(2026, 4, 1))
    assert not day().is_full
    assert "is-folded" not in signed_in.get(reverse("today")).content.decode()
