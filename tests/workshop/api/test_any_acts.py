"""Whatever programs do, in whatever order, sent once or again: every account agrees."""

from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.http import HttpResponse
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from inventory.ledger import ledger_problems
from inventory.models import BobbinStyle, Entry, PutUp, Shade, StabilizerProduct, StockItem
from inventory.orders.orders import order_problems
from planning.models import Design, Job, RunEvent
from tests.factories import a_key
from tests.workshop.api.conftest import Program, a_member, a_program, fill_workshop
from workshop.models import Role

which = st.integers(min_value=0, max_value=40)
KINDS = st.sampled_from(
    ["piece", "spoiled", "break", "restitch", "spool", "bobbin", "stop", "needle", "tension"]
)


class AnyActs(RuleBasedStateMachine):
    """Programs at work. Each act is sent twice under its key; the second is answered as the first and moves nothing."""

    folder: Path

    def __init__(self) -> None:
        super().__init__()
        self.transaction = transaction.atomic()
        self.transaction.__enter__()

    @initialize()
    def workshop(self) -> None:
        fill_workshop(self.folder)
        self.program: Program = a_program(a_member("robin", Role.PLANNER))
        self.answers: list[HttpResponse] = []

    def do(self, path: str, body: Any = None) -> HttpResponse:
        key = a_key()
        first = self.program.post(path, body, key=key)
        assert first.status_code in (200, 201, 404, 409, 422), (path, body, first.content)
        if first.status_code < 400:
            before = Entry.objects.count(), RunEvent.objects.count(), Job.objects.count()
            again = self.program.post(path, body, key=key)
            assert (again.status_code, again.content) == (first.status_code, first.content)
            assert (Entry.objects.count(), RunEvent.objects.count(), Job.objects.count()) == before
        return first

    def _item(self, number: int) -> StockItem:
        items = list(StockItem.objects.order_by("pk"))
        return items[number % len(items)]

    def _job(self, number: int) -> Job:
        jobs = list(Job.objects.order_by("pk"))
        return jobs[number % len(jobs)]

    @rule(item=which, act=st.sampled_from(["use", "waste", "put-back", "count"]), share=st.floats(0.0, 1.5))
    def move_some(self, item: int, act: str, share: float) -> None:
        thing = self._item(item)
        amount = max(1, round(thing.on_hand * share))
        self.do(f"stock/{thing.label}/{act}", {"mm" if thing.is_measured else "pieces": amount})

    @rule(item=which, gross_mg=st.integers(10_000, 60_000), sure=st.booleans())
    def weigh(self, item: int, gross_mg: int, sure: bool) -> None:
        weighed = {"gross_mg": gross_mg, "scale_step_mg": 100, "sure": sure}
        answer = self.do(f"stock/{self._item(item).label}/weigh", weighed)
        if answer.status_code == 200:
            (thing,) = answer.json()["things"]
            assert thing["known"] == "weighed"

    @rule(item=which, level=st.sampled_from(["full", "half", "nearly empty"]))
    def judge(self, item: int, level: str) -> None:
        self.do(f"stock/{self._item(item).label}/judge", {"level": level})

    @rule(item=which)
    def retire(self, item: int) -> None:
        self.do(f"stock/{self._item(item).label}/retire", {})

    @rule(count=st.integers(1, 3), what=st.sampled_from(["spools", "bobbins", "rolls"]))
    def receive(self, count: int, what: str) -> None:
        shade = Shade.objects.get(code="R").pk
        bodies = {
            "spools": {"shade_id": shade, "put_up_id": PutUp.objects.get().pk, "count": count},
            "bobbins": {
                "style_id": BobbinStyle.objects.get().pk, "shade_id": shade, "length_mm": 90_000, "count": count,
            },
            "rolls": {
                "product_id": StabilizerProduct.objects.get().pk, "width_mm": 500, "length_mm": 9_000, "count": count,
            },
        }  # fmt: skip
        assert self.do(f"deliveries/{what}", bodies[what]).status_code == 201

    @rule(number=which)
    def take_back(self, number: int) -> None:
        entries = list(Entry.objects.order_by("pk").values_list("pk", flat=True))
        self.do(f"movements/{entries[-1 - number % len(entries)]}/take-back")

    @rule(pieces=st.integers(1, 30))
    def make_a_job(self, pieces: int) -> None:
        asked = {"what": "caps", "pieces": pieces, "designs": [Design.objects.get().pk], "fabric": "twill"}
        assert self.do("jobs", asked).status_code == 201

    @rule(job=which, act=st.sampled_from(["promise", "promise", "release", "drop", "pick-up"]))
    def turn_a_job(self, job: int, act: str) -> None:
        body = {"although_short": True} if act == "promise" else None
        self.do(f"jobs/{self._job(job).pk}/{act}", body)

    @rule(job=which)
    def begin(self, job: int) -> None:
        self.do(f"jobs/{self._job(job).pk}/run")

    @rule(job=which, kind=KINDS, item=which)
    def happen(self, job: int, kind: str, item: int) -> None:
        told: dict[str, Any] = {"kind": kind, "again": True}
        if kind in ("break", "restitch", "spool"):
            told["thread"] = 1
        if kind == "spool":
            told["label"] = self._item(item).label
        if kind == "tension":
            told["showing"] = "thirds"
        self.do(f"jobs/{self._job(job).pk}/run/events", told)

    @rule(number=which)
    def take_an_event_back(self, number: int) -> None:
        events = list(RunEvent.objects.order_by("pk"))
        if events:
            event = events[-1 - number % len(events)]
            self.do(f"jobs/{event.job_id}/run/events/{event.pk}/take-back")

    @rule(job=which, bobbins=st.none() | st.floats(0, 8), weighed=st.integers(0, 60_000), whole=st.booleans())
    def finish(self, job: int, bobbins: float | None, weighed: int, whole: bool) -> None:
        number = self._job(job).pk
        told: dict[str, Any] = {
            "bobbins": bobbins,
            "although_unfinished": True,
            "stabilizer_as_proposed": whole,
        }
        ending = self.program.get(f"jobs/{number}/run/ending")
        if ending.status_code == 200:
            told["shown"] = ending.json()["shown"]
            told["weighed"] = [
                {"label": label, "gross_mg": weighed, "sure": True} for label in ending.json()["spools"] if weighed
            ]  # fmt: skip
        self.do(f"jobs/{number}/run/ending", told)

    @rule(job=which)
    def cut(self, job: int) -> None:
        self.do(f"jobs/{self._job(job).pk}/cut", {})

    @rule(count=st.integers(1, 2))
    def buy(self, count: int) -> None:
        orders = self.do("orders", {}).json().get("orders", [])
        for order in orders:
            self.do(f"orders/{order['number']}/place", {})
            lines = [{"line": order["lines"][0]["line"], "count": count}]
            self.do(f"orders/{order['number']}/receive", {"lines": lines})
            self.do(f"orders/{order['number']}/cancel")

    @invariant()
    def all_accounts_agree(self) -> None:
        if hasattr(self, "program"):
            assert ledger_problems() == []
            assert order_problems() == []

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.transaction.__exit__(None, None, None)


@pytest.fixture
def _own_folder(settings: Any, tmp_path: Path) -> None:
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.API_PER_MINUTE = 10**6
    AnyActs.folder = tmp_path


def walk(*, walks: int, steps: int) -> None:
    run_state_machine_as_test(
        AnyActs,
        settings=settings(max_examples=walks, stateful_step_count=steps, deadline=None, derandomize=True),
    )


@pytest.mark.thorough
@pytest.mark.django_db
@pytest.mark.usefixtures("_own_folder")
def test_a_few_walks_of_acts_leave_every_account_in_order() -> None:
    walk(walks=4, steps=25)


@pytest.mark.exhaustive
@pytest.mark.django_db
@pytest.mark.usefixtures("_own_folder")
def test_many_long_walks_of_acts_leave_every_account_in_order() -> None:
    walk(walks=60, steps=50)
