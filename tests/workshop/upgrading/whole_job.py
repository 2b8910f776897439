"""Update whatever database the environment names, and take a job through it from question to report, over its pages.

Run as a program: a test gives it the database of an earlier commit. Prints what was there after the update.
"""

import json
import os
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")

import django

django.setup()

from django.apps import apps
from django.contrib.auth.models import User
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.models import Order, Stocktake
from inventory.orders.orders import Arrived, receive_order
from inventory.stocktakes import stocktakes
from planning.jobs.jobs import JobFacts, make_job
from planning.models import Design, Job, Machine
from planning.run.finish import Ending, finish
from planning.run.promise import CannotPromise, promise
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, note
from tests.benchmarks.large_shelf.page_walk import pages_to_look_at
from workshop.doctor.database import database_findings
from workshop.doctor.stock import stock_problems

State = Job.State


def main() -> None:
    call_command("migrate", verbosity=0, interactive=False, skip_checks=True)
    assert [str(each) for each in database_findings()] == []
    found = {
        "rows": {model._meta.label: model._base_manager.count() for model in apps.get_models()},
        "jobs": {state: Job.objects.filter(state=state).count() for state in State.values},
        "half received": sum(order.stands == "partly received" for order in Order.objects.all()),
        "stocktakes": Stocktake.objects.filter(finished_at=None).count(),
    }
    client = Client(SERVER_NAME="localhost")
    client.force_login(User.objects.first() or User.objects.create_user("morgan", is_superuser=True))
    look_around(client)
    for job in Job.objects.filter(state__in=[State.PROMISED, State.RUNNING]).order_by("pk"):
        stitch_to_the_end(client, job)
    for order in Order.objects.all():
        if order.is_open:
            rest = [Arrived(line, line.to_come) for line in order.lines.all()]
            receive_order(order, arrived=rest, key=f"rest-{order.pk}", at=timezone.now(), by=None)
    for stocktake in Stocktake.objects.going_on():
        stocktakes.finish(stocktake, at=timezone.now())
    designs = Design.objects.filter(variant_of=None, blocks__isnull=False).distinct().order_by("stitches")
    wanted = JobFacts(
        what="after the update", pieces=3, tests=1, machine=Machine.objects.order_by("pk").first()
    )
    job = make_job(wanted, designs=[designs[0]], at=timezone.now(), by=None)
    try:
        promise(job, at=timezone.now(), by=None)
    except CannotPromise:
        promise(job, at=timezone.now(), by=None, although_short=True)
    stitch_to_the_end(client, job)
    assert stock_problems() == []
    print(json.dumps(found))


def stitch_to_the_end(client: Client, job: Job) -> None:
    if job.state == State.PROMISED:
        begin(job, at=timezone.now())
    look(client, reverse("run_sheet", args=[job.pk]))
    while left := run_of(job).left:
        tick = Happening("piece", key=f"job-{job.pk}-{left[0]}", position=left[0])
        note(job, tick, at=timezone.now(), by=None)
    finish(job, Ending(), at=timezone.now(), by=None)
    look(client, reverse("job_report", args=[job.pk]))


def look_around(client: Client) -> None:
    for address in pages_to_look_at().values():
        look(client, address)
    for job in Job.objects.all():
        look(client, reverse("job", args=[job.pk]))
        if job.state == State.FINISHED:
            look(client, reverse("job_report", args=[job.pk]))
    for order in Order.objects.all():
        look(client, reverse("order", args=[order.number]))
    for machine in Machine.objects.all():
        look(client, reverse("learned", args=[machine.pk]))


def look(client: Client, address: str) -> Any:
    page = client.get(address)
    assert page.status_code == 200, f"{address} answers {page.status_code}"
    return page


if __name__ == "__main__":
    main()
