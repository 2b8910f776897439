"""Every operation does what the page beside it does, by the very same verb."""

import json
from collections.abc import Mapping
from typing import Any, get_args

import pytest
from django.urls import reverse

from inventory.compute.weighing import FILL_LEVELS
from inventory.ledger import ledger_problems
from inventory.lists.found import TABS
from inventory.models import (
    BobbinStyle,
    Change,
    Entry,
    Order,
    PutUp,
    Shade,
    Spool,
    StabilizerProduct,
    StockItem,
)
from planning.buying.materials import Material
from planning.models import Design, Job, RunEvent
from planning.plan.json_keys import PLAN, SHADE
from tests.workshop.api.conftest import Program
from workshop.api.buying import NeedTold
from workshop.api.jobs import JobRow
from workshop.api.runs import HappenedAsked
from workshop.api.stock import JudgeAsked, StockAsked, StockThing

pytestmark = pytest.mark.django_db


def typed_paths(model: Any, beneath: str = "") -> set[str]:
    """Every key of a typed answer, as the table of JSON keys names it."""
    from workshop.api.plan_shape import PlannedShade, _model_within

    found: set[str] = set()
    for name, field in model.model_fields.items():
        path = f"{beneath}.{name}" if beneath else name
        path += "[]" if str(field.annotation).startswith("list[") else ""
        within = _model_within(field)
        is_leaf = within is None or within is PlannedShade
        found |= {path} if is_leaf or path.endswith("[]") else set()
        found |= set() if is_leaf else typed_paths(within, path)
    return found


def test_what_is_told_of_things_names_every_kind_list_and_way_of_knowing() -> None:
    def named(model: Any, field: str) -> set[str]:
        return set(get_args(model.model_fields[field].annotation))

    assert named(StockThing, "kind") == set(StockItem.Kind.values)
    assert named(StockThing, "known") == set(StockItem.Known.values)
    assert named(StockAsked, "of") == set(TABS)
    assert named(JudgeAsked, "level") == set(FILL_LEVELS)
    assert named(JobRow, "state") == set(Job.State.values)
    assert named(HappenedAsked, "kind") == set(RunEvent.Kind.values) - {"back"}
    assert named(HappenedAsked, "showing") == {"", *RunEvent.Showing.values}
    assert named(HappenedAsked, "test_verdict") == {"", *RunEvent.TestVerdict.values}


@pytest.fixture(autouse=True)
def _the_ledger_agrees(planner: Program) -> Any:
    yield
    assert ledger_problems() == []


def spool() -> Spool:
    return Spool.objects.get()


def test_a_spool_is_weighed(planner: Program) -> None:
    label = spool().label
    answer = planner.post(f"stock/{label}/weigh", {"gross_mg": 30_000, "scale_step_mg": 100})
    assert answer.status_code == 200, answer.content
    (moved,) = answer.json()["movements"]
    (thing,) = answer.json()["things"]
    # (30 g - 12 g) / 27 tex
    assert thing["on_hand_mm"] == round(18_000 / 27 * 1000)
    assert (moved["by"], moved["reason"], thing["known"]) == ("robin", "weigh", "weighed")


def test_a_spool_heavier_than_full_is_asked_about(planner: Program) -> None:
    weighed = {"gross_mg": 90_000, "scale_step_mg": 100}
    refused = planner.post(f"stock/{spool().label}/weigh", weighed)
    assert refused.status_code == 422
    assert "Is it the right spool" in refused.json()["detail"]
    assert planner.post(f"stock/{spool().label}/weigh", weighed | {"sure": True}).status_code == 200


def test_thread_is_used_put_back_counted_wasted_and_all_of_it_taken_back(planner: Program) -> None:
    label, before = spool().label, spool().on_hand
    for act, body in (
        ("use", {"mm": 12_000, "reference": "caps"}),
        ("put-back", {"mm": 2_000}),
        ("waste", {"mm": 1_000}),
        ("judge", {"level": "half"}),
        ("count", {"mm": 400_000}),
    ):
        answer = planner.post(f"stock/{label}/{act}", body)
        assert answer.status_code == 200, (act, answer.content)
    assert spool().on_hand == 400_000
    rows = planner.get(f"stock/{label}/movements").json()["rows"]
    for row in rows[:5]:
        assert planner.post(f"movements/{row['number']}/take-back").status_code == 200
    assert spool().on_hand == before


def test_what_is_kept_in_mm_is_not_taken_in_pieces(planner: Program) -> None:
    refused = planner.post(f"stock/{spool().label}/use", {"pieces": 1})
    assert (refused.status_code, refused["Content-Type"]) == (422, "application/problem+json")
    assert "kept in mm" in refused.json()["detail"]


def test_a_thing_is_moved_and_taken_off_the_shelf(planner: Program) -> None:
    roll = StockItem.objects.get(kind="roll")
    StockItem.objects.filter(pk=roll.pk).update(place=None)
    answer = planner.post(f"stock/{roll.label}/move", {"place": "WALL"})
    assert answer.json()["place"] == "wall"
    assert planner.post(f"stock/{roll.label}/move", {"place": "nowhere"}).status_code == 422
    (offcut,) = planner.post(
        "deliveries/rolls",
        {"product_id": StabilizerProduct.objects.get().pk, "width_mm": 300, "length_mm": 5000},
    ).json()["things"]
    assert planner.post(f"stock/{offcut['label']}/retire", {"reference": "wet"}).status_code == 200
    assert planner.get(f"stock/{offcut['label']}").json()["is_on_the_shelf"] is False


def test_deliveries_come_onto_the_shelf(planner: Program) -> None:
    shade, put_up = Shade.objects.get(code="R"), PutUp.objects.get()
    three = planner.post(
        "deliveries/spools",
        {
            "shade_id": shade.pk,
            "put_up_id": put_up.pk,
            "count": 3,
            "lot": "L7",
            "price_each": "4.20",
            "place": "wall",
        },
    )
    assert three.status_code == 201, three.content
    assert [each["lot"] for each in three.json()["things"]] == ["L7"] * 3
    opened = planner.post("deliveries/open-spool", {"shade_id": shade.pk, "length_mm": 150_000})
    assert opened.json()["things"][0]["on_hand_mm"] == 150_000
    style = BobbinStyle.objects.get()
    full = {"style_id": style.pk, "shade_id": shade.pk, "length_mm": 100_000, "count": 12}
    assert planner.post("deliveries/bobbins", full).json()["things"][0]["on_hand_pieces"] == 12
    assert planner.post("deliveries/bobbins", full | {"style_id": 999}).status_code == 422


def test_lists_are_cut_into_pages_that_lead_to_the_next(planner: Program) -> None:
    shade, put_up = Shade.objects.get(code="R"), PutUp.objects.get()
    planner.post("deliveries/spools", {"shade_id": shade.pk, "put_up_id": put_up.pk, "count": 4})
    labels: list[str] = []
    page = planner.get("stock", of="thread", limit=2).json()
    while True:
        labels += [row["label"] for row in page["rows"]]
        if page["next"] is None:
            break
        page = planner.get(page["next"].removeprefix("/api/1/")).json()
    assert labels == sorted(labels)
    assert len(labels) == page["count"] == 5


@pytest.mark.parametrize("of", [*TABS])
def test_each_list_of_the_shelf_is_told(planner: Program, of: str) -> None:
    assert planner.get("stock", of=of, text="e", place="wall", low=False).status_code == 200


def test_the_catalogue_is_told_and_a_colour_matched(planner: Program) -> None:
    for path in ("makers", "ranges", "shades", "places", "bobbin-styles", "stabilizers", "designs"):
        answer = planner.get(path)
        assert answer.status_code == 200, path
        assert answer.json()["rows"], path
    row = planner.get("shades", code="R").json()["rows"][0]
    assert planner.get(f"shades/{row['id']}").json() == row
    assert planner.get(f"ranges/{row['range_id']}").json()["tex"] == 27.0
    (near,) = planner.get("match", colour="#b01c2e", limit=1).json()["shades"]
    assert (near["shade"]["code"], near["delta_e_00"], near["grey_scale_grade"]) == ("R", 0.0, "5")
    assert planner.get("match", colour="no such colour").status_code == 422


def test_a_plan_is_asked_for_a_kept_design(planner: Program) -> None:
    design = Design.objects.get()
    answer = planner.get("plan", design=design.pk, pieces=3, fabric="twill", needed_on="2027-04-01")
    assert answer.status_code == 200, answer.content
    assert answer.json()["pieces"] == 3
    assert planner.get("plan", design=99, pieces=3).status_code == 422
    assert planner.get("plan", design=design.pk, pieces=3, machine="none such").status_code == 422


def test_the_typed_plan_leaves_no_key_of_the_stable_json_out(planner: Program) -> None:
    from workshop.api.plan_shape import PlanAnswer, PlannedShade

    schema = PlanAnswer.model_json_schema()
    # What may be null as a whole has a line of its own in the table, beside those of its parts.
    whole = {"threads[].colour.nearer", "threads[].colour.wished", "threads[].spools[].from_block"}
    assert typed_paths(PlanAnswer) - {"threads[].spools[].from_block[]"} == set(PLAN) - whole
    assert set(PlannedShade.model_json_schema()["properties"]) == set(SHADE)
    meaning = schema["$defs"]["ThreadPart"]["properties"]["needed_mm"]["description"]
    assert meaning == PLAN["threads[].needed_mm"]
    job = Job.objects.get(state="draft")
    from planning.jobs.jobs import plan_of
    from planning.plan.data import plan_as_data

    told = planner.get(f"jobs/{job.pk}/plan").json()["plan"]
    assert told == json.loads(json.dumps(plan_as_data(plan_of(job))))


def test_a_job_is_made_promised_as_shown_and_released(planner: Program) -> None:
    design = Design.objects.get()
    made = planner.post("jobs", {"what": "pennants", "pieces": 2, "designs": [design.pk], "fabric": "twill"})
    assert made.status_code == 201, made.content
    number = made.json()["id"]
    shown = planner.get(f"jobs/{number}/plan").json()["shown"]
    spool().refresh_from_db()
    stale = planner.post(f"jobs/{number}/promise", {"shown": "0.0.0.0.0", "although_short": True})
    assert stale.status_code == 409
    assert "has changed" in stale.json()["detail"]
    promised = planner.post(f"jobs/{number}/promise", {"shown": shown, "although_short": True})
    assert promised.status_code == 200, promised.content
    assert promised.json()["state"] == "promised"
    assert promised.json()["set_aside"]
    released = planner.post(f"jobs/{number}/release").json()
    assert (released["state"], released["set_aside"]) == ("draft", [])
    dropped, picked = planner.post(f"jobs/{number}/drop"), planner.post(f"jobs/{number}/pick-up")
    assert (dropped.json()["state"], picked.json()["state"]) == ("dropped", "draft")
    states = [
        change.fields["state"]["after"]
        for change in Change.objects.filter(record=number, fields__has_key="state")
    ]
    assert states == ["draft", "dropped", "draft"]
    assert {change.by.get_username() for change in Change.objects.filter(record=number) if change.by} == {
        "robin"
    }


def test_a_run_is_begun_ticked_told_of_and_taken_back(planner: Program) -> None:
    job = Job.objects.get(state=Job.State.PROMISED)
    begun = planner.post(f"jobs/{job.pk}/run")
    assert begun.json()["state"] == "running"
    before = spool().on_hand
    ticked = planner.post(f"jobs/{job.pk}/run/events", {"kind": "piece"})
    assert ticked.status_code == 201, ticked.content
    number = ticked.json()["event"]["number"]
    assert spool().on_hand < before
    assert planner.post(f"jobs/{job.pk}/run/events", {"kind": "piece", "position": 1}).status_code == 409
    stop = planner.post(f"jobs/{job.pk}/run/events", {"kind": "stop", "note": "lunch"})
    assert stop.json()["run"]["events"][-1]["note"] == "lunch"
    back = planner.post(f"jobs/{job.pk}/run/events/{number}/take-back")
    assert back.status_code == 200, back.content
    assert spool().on_hand == before
    assert RunEvent.objects.get(pk=number).by == RunEvent.objects.get(takes_back=number).by
    assert planner.get(f"jobs/{job.pk}/run").json()["good"] == 0
    assert planner.post(f"jobs/{job.pk}/run/events/999999/take-back").status_code == 404


def test_a_run_is_finished_as_it_was_looked_at_and_its_report_is_told(planner: Program) -> None:
    job = Job.objects.get(state=Job.State.RUNNING)
    assert planner.get(f"jobs/{job.pk}/report").status_code == 404
    ending = planner.get(f"jobs/{job.pk}/run/ending").json()
    assert ending["left"] == [1, 2, 3, 4]
    (label,) = ending["spools"]
    refused = planner.post(f"jobs/{job.pk}/run/ending", {"shown": ending["shown"]})
    assert refused.status_code == 422
    assert "not ticked" in refused.json()["detail"]
    for _ in ending["left"]:
        assert planner.post(f"jobs/{job.pk}/run/events", {"kind": "piece"}).status_code == 201
    told = {"weighed": [{"label": label, "gross_mg": 40_000, "sure": True}], "bobbins": 2.5}
    stale = planner.post(f"jobs/{job.pk}/run/ending", told | {"shown": ending["shown"]})
    assert stale.status_code == 409
    now = planner.get(f"jobs/{job.pk}/run/ending").json()
    report = planner.post(f"jobs/{job.pk}/run/ending", told | {"shown": now["shown"]}).json()
    assert report["pieces"] == {"ordered": 3, "good": 3, "tests": 1, "spoiled": 0}
    assert [each["label"] for each in report["threads"][0]["spools"] if each["weighed"]] == [label]
    assert (report["by"], report["station"], report["bobbins"]["used"]) == ("robin", None, 2.5)
    assert planner.get(f"jobs/{job.pk}/report").json() == report
    assert planner.get(f"jobs/{job.pk}").json()["state"] == "finished"


def test_stabilizer_is_cut_as_it_was_looked_at_once(planner: Program) -> None:
    job = Job.objects.get(state=Job.State.DRAFT)
    cut = planner.get(f"jobs/{job.pk}/cut").json()
    (product,) = cut["cuts"]
    (source,) = product["sources"]
    assert source["from"] == "roll"
    assert sum(len(strip["pieces"]) for strip in source["strips"]) == product["layers"][0]["pieces"] >= 4
    done = planner.post(f"jobs/{job.pk}/cut", {"shown": cut["shown"]}, key="cut-it")
    assert done.status_code == 201
    moved = {each["label"]: each for each in done.json()["movements"]}
    assert moved[source["label"]]["moved_mm"] == -product["roll_mm"]
    assert planner.post(f"jobs/{job.pk}/cut", {"shown": cut["shown"]}, key="cut-it").content == done.content
    assert planner.post(f"jobs/{job.pk}/cut", {"shown": cut["shown"]}).status_code == 409


def test_what_is_missing_is_ordered_and_received(planner: Program) -> None:
    design = Design.objects.get()
    planner.post(
        "jobs", {"what": "very many", "pieces": 4000, "designs": [design.pk], "needed_on": "2027-05-01"}
    )
    assert any(row["missing"] for row in planner.get("needs").json()["rows"])
    basket = planner.get("basket").json()
    assert any(row["packs"] for row in basket["rows"])
    drafted = planner.post("orders", {"shown": basket["shown"]})
    assert drafted.status_code == 201, drafted.content
    (order,) = drafted.json()["orders"]
    number = order["number"]
    assert planner.post("orders", {"shown": basket["shown"]}).status_code == 409
    assert planner.post(f"orders/{number}/place", {"expected_on": None}).json()["state"] == "placed"
    line = order["lines"][0]["line"]
    came = planner.post(f"orders/{number}/receive", {"lines": [{"line": line, "count": 2, "lot": "L9"}]})
    assert came.status_code == 201, came.content
    assert [thing["lot"] for thing in came.json()["things"]] == ["L9"] * 2
    assert planner.get(f"orders/{number}").json()["lines"][0]["received"] == 2
    assert planner.post(f"orders/{number}/receive", {"lines": [{"line": 77, "count": 1}]}).status_code == 422
    assert planner.post(f"orders/{number}/cancel").json()["stands"] == "received"
    assert planner.get("orders").json()["count"] == Order.objects.count()


def test_the_description_names_every_operation_with_its_problems_and_key(planner: Program) -> None:
    described: Mapping[str, Any] = planner.client.get(reverse("api_description")).json()
    assert described["openapi"].startswith("3.1")
    for path, ways in described["paths"].items():
        for way, operation in ways.items():
            assert {"401", "403", "429"} <= {str(status) for status in operation["responses"]}, path
            keys = [each for each in operation.get("parameters", []) if each["name"] == "Idempotency-Key"]
            assert bool(keys) == (way == "post"), (path, way)
            assert operation["description"], path


def test_entries_of_programs_carry_person_and_key(planner: Program) -> None:
    planner.post(f"stock/{spool().label}/use", {"mm": 1000}, key="k-1")
    entry = Entry.objects.latest("id")
    assert (entry.by.get_username() if entry.by else "", entry.station) == ("robin", None)
    assert entry.key.startswith("api-")


def test_a_misspelt_filter_is_refused_instead_of_answering_everything(planner: Program) -> None:
    refused = planner.get("stock", off="thread")
    assert refused.status_code == 422
    assert "of, offset, place, text" in refused.json()["detail"]
    assert planner.get(f"stock/{spool().label}", limit=1).status_code == 422


@pytest.mark.parametrize("kind", ["thread", "bobbins", "stabilizer", "spray", "needles"])
def test_a_need_is_told_in_the_unit_of_its_material_whatever_that_is(kind: str) -> None:
    material = Material("key", kind, "name", "detail", None, 0.0, 0.0)
    assert material.unit in get_args(NeedTold.model_fields["unit"].annotation)
