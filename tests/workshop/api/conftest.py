"""A workshop with something of everything, and programs that come in with tokens."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pyembroidery
import pytest
from django.contrib.auth.models import User
from django.http import HttpResponse
from django.test import Client
from django.utils import timezone

from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Fabric, Hoop, Job, Layer, Machine
from planning.run.promise import promise
from planning.run.ticks import begin
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_bobbin_style,
    a_key,
    a_place,
    a_roll,
    a_shade,
    a_spool,
    an_offer,
    some_bobbins,
)
from workshop.models import Member, Role, Station, Token
from workshop.people.rights import Right
from workshop.people.tokens import make_token


class Program:
    """A program that holds a token."""

    def __init__(self, client: Client, secret: str, token: Token | None) -> None:
        self.client, self.secret, self.token = client, secret, token

    def get(self, path: str, **asked: Any) -> HttpResponse:
        return self.client.get(f"/api/1/{path}", asked, headers={"Authorization": f"Bearer {self.secret}"})

    def post(self, path: str, body: Any = None, *, key: str = "") -> HttpResponse:
        headers = {"Authorization": f"Bearer {self.secret}", "Idempotency-Key": key or a_key()}
        sent = {} if body is None else {"data": json.dumps(body)}
        return self.client.post(f"/api/1/{path}", content_type="application/json", headers=headers, **sent)


def a_member(name: str, role: str) -> User:
    user = User.objects.create_user(name)
    Member.objects.create(user=user, role=role)
    return user


def a_program(
    user: User, right: Right = Right.PLAN, *, station: Station | None = None, client: Client | None = None
) -> Program:
    at = timezone.now()
    token, secret = make_token("a program", user=user, right=right, at=at, by=user, station=station)
    browser = client or Client()
    browser.raise_request_exception = False
    return Program(browser, secret, token)


def a_badge(folder: Path) -> Path:
    """Return a small stitch file of one colour that is written into ``folder``."""
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": "#b01c2e", "name": "harbour red"})
    for step in range(200):
        pattern.stitch_abs(20 * (step % 20), 30 * (step // 20))
    pattern.trim()
    pattern.end()
    path = folder / "badge.pes"
    pyembroidery.write(pattern, str(path), {"pes version": 6})
    return path


def fill_workshop(folder: Path) -> None:
    """Put something of everything into an empty workshop: stock, an offer, a kept design, a job in each state."""
    hoop = Hoop.objects.create(
        name="medium", field_width_mm=130, field_height_mm=180, ring_width_mm=150, ring_height_mm=200
    )
    machine = Machine.objects.create(name="one needle", needles=1, bobbin_style=a_bobbin_style())
    machine.hoops.add(hoop)
    twill = Fabric.objects.create(name="twill", thickness_mm=0.6)
    Layer.objects.create(fabric=twill, kind="tear-away", count=1)
    spool = a_spool(a_shade("R", hex="#b01c2e", name="harbour red"), left_m=900, place=a_place())
    assert spool.put_up is not None
    an_offer(spool.put_up)
    some_bobbins(count=20)
    a_roll()
    badge = a_badge(folder)
    design = keep_design(read_design_file(badge), content=badge, trim_at_jumps=3, at=NOW)
    for number in range(3):
        wanted = JobFacts(
            what=f"job {number}", pieces=3, tests=1, machine=machine, fabric=twill, needed_on=date(2027, 4, 1)
        )
        job = make_job(wanted, designs=[design], at=NOW, by=None)
        if number:
            promise(job, at=NOW, by=None, although_short=True)
        if number == 2:
            begin(job, at=NOW)


@pytest.fixture
def workshop(db: None, settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.API_PER_MINUTE = 10**6
    fill_workshop(tmp_path)


@pytest.fixture
def planner(workshop: None) -> Program:
    return a_program(a_member("robin", Role.PLANNER))


@pytest.fixture
def running(workshop: None) -> Job:
    return Job.objects.get(state=Job.State.RUNNING)
