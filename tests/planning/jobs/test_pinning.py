"""A job that was promised keeps the shades that were chosen for it."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.shelf.things import retire
from planning.jobs.jobs import JobFacts, NotInThisState, make_job, plan_of
from planning.jobs.pinning import ShadeChanges, change_pins, pin_all
from planning.library.designs import keep_design
from planning.models import Job
from planning.plan.pins import NoSuchPin
from planning.run.promise import promise
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED, ROSE = "#b01c2e", "#bc2a3a"


@pytest.fixture
def job(stitch_file, workshop):
    a_spool(a_shade("R1", hex="#b42232", name="harbour red"))
    a_spool(a_shade("R2", hex="#ac1a2c", name="deep red"))
    a_spool(a_shade("R3", hex="#c63648", name="pale red"))
    some_bobbins(count=20)
    a_roll()
    path = stitch_file(RED, ROSE)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    return make_job(JobFacts("crew caps", 5), designs=[design], at=NOW, by=None)


def again(job):
    return Job.objects.with_everything().get(pk=job.pk)


def codes(job):
    return [thread.choice.shade.code for thread in plan_of(again(job)).threads]


def test_a_pin_of_a_job_holds_and_the_rest_is_chosen_anew(job):
    assert codes(job) == ["R2", "R1"]
    change_pins(job, ShadeChanges(pin=["1=R1"]))
    assert codes(job) == ["R1", "R3"]
    assert [thread.is_pinned for thread in plan_of(again(job)).threads] == [True, False]


def test_a_pin_is_taken_off_again(job):
    change_pins(job, ShadeChanges(pin=["1=R1"]))
    change_pins(job, ShadeChanges(unpin=["1"]))
    assert codes(job) == ["R2", "R1"]
    assert not job.pinned_shades.exists()


def test_a_new_pin_takes_the_place_of_the_one_before(job):
    change_pins(job, ShadeChanges(pin=["1=R1"]))
    change_pins(job, ShadeChanges(pin=["1=R3"]))
    assert job.pinned_shades.get().shade.code == "R3"


def test_a_shade_left_out_is_not_used_until_it_is_used_again(job):
    change_pins(job, ShadeChanges(leave_out=["R2"]))
    change_pins(job, ShadeChanges(leave_out=["R2"]))
    assert "R2" not in codes(job)
    change_pins(job, ShadeChanges(use_again=["Skerry Forty R2"]))
    assert codes(job) == ["R2", "R1"]
    with pytest.raises(NoSuchPin, match='does not leave out "R2"'):
        change_pins(job, ShadeChanges(use_again=["R2"]))


def test_the_shades_of_a_promise_are_settled(job, signed_in):
    promise(again(job), at=NOW, by=None)
    with pytest.raises(NotInThisState, match="Take the promise back"):
        change_pins(again(job), ShadeChanges(pin=["1=R1"]))
    with pytest.raises(NotInThisState, match="Take the promise back"):
        pin_all(again(job))
    shown = signed_in.get(reverse("job", args=[job.pk])).content.decode()
    assert 'name="pin"' not in shown
    assert "chosen anew each time" not in shown


def test_what_was_promised_stays_whatever_comes_onto_the_shelf(job):
    assert pin_all(job) == 2
    a_spool(a_shade("R8", hex=ROSE))
    assert codes(job) == ["R2", "R1"]
    change_pins(job, ShadeChanges(unpin=["2"]))
    assert codes(job) == ["R2", "R8"]


def test_a_pinned_shade_that_has_left_the_shelf_is_told_of(job):
    change_pins(job, ShadeChanges(pin=["1=R3"]))
    spool = job.pinned_shades.get().shade.spools.get()
    retire(spool, key=a_key(), at=NOW, by=None)
    plan = plan_of(again(job))
    assert plan.threads[0].choice.shade.code == "R2"
    assert any("R3 pale red, pinned to block 1" in note for note in plan.notes)


def test_a_pin_that_names_nothing_changes_nothing(job):
    change_pins(job, ShadeChanges(pin=["1=R1"]))
    with pytest.raises(NoSuchPin):
        change_pins(job, ShadeChanges(unpin=["1"], pin=["7=R1"]))
    assert job.pinned_shades.count() == 1


def test_the_command_pins_and_tells(job):
    def run(*words):
        out = StringIO()
        call_command("pin_shades", str(job.pk), *words, stdout=out)
        return out.getvalue()

    assert "holds on to no shade" in run()
    said = json.loads(run("--pin", "1=R1", "--exclude", "R2", "--format", "json"))
    assert [(row["block"], row["shade"]) for row in said["pinned"]] == [(1, "Skerry Forty R1 harbour red")]
    assert said["left_out"] == ["Skerry Forty R2 deep red"]
    assert "block 2" in run("--all")
    assert json.loads(run("--unpin", "1", "--use-again", "R2", "--format", "json"))["left_out"] == []


def test_the_page_of_a_job_pins_and_undoes(client, django_user_model, job):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    page = client.get(reverse("job", args=[job.pk]))
    written = page.context["threads"][0]["pins"]["runners_up"][0]["written"]
    assert written == "1=Skerry Forty R1"
    pinned = client.post(reverse("hold_shades", args=[job.pk]), {"pin": written}, follow=True)
    assert "Take back the pin" in pinned.content.decode()
    assert pinned.context["threads"][0]["thread"].is_pinned
    client.post(reverse("hold_shades", args=[job.pk]), {"unpin": "1"})
    assert codes(job) == ["R2", "R1"]
    client.post(reverse("hold_shades", args=[job.pk]), {"hold": "all"})
    assert job.pinned_shades.count() == 2
    refused = client.post(reverse("hold_shades", args=[job.pk]), {"pin": "9=R1"}, follow=True)
    assert "There is no block" in refused.content.decode()


def test_a_job_kept_from_a_sheet_keeps_the_pins_of_its_address(client, django_user_model, job):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    design = job.placed.get().design
    query = f"design={design.pk}&pieces=5&pin=1%3DR1&exclude=R3"
    client.post(
        f"{reverse('keep_job')}?{query}",
        {"what": "promised", "design": design.pk, "pieces": 5},
    )
    kept = Job.objects.get(what="promised")
    assert kept.pinned_shades.get().shade.code == "R1"
    assert kept.left_out_shades.get().shade.code == "R3"


def test_colours_chosen_by_block_on_the_page_of_a_job_are_held(client, django_user_model, stitch_file, job):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    path = stitch_file(RED, ROSE, name="rope.dst")
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    bare = make_job(JobFacts("pennants", 5), designs=[design], at=NOW, by=None)
    first, second = client.get(reverse("job", args=[bare.pk])).context["choose"]
    sent = {first["field"]: "1=Skerry Forty R3", second["field"]: ["2=Skerry Forty R1", ""]}
    client.post(reverse("hold_shades", args=[bare.pk]), sent)
    assert codes(bare) == ["R3", "R1"]
    assert client.get(reverse("job", args=[bare.pk])).context["choose"] == []
