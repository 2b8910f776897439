"""Both threads of a strip, at the command line and on its page: written, solved, machine and cloth set."""

import json
from urllib.parse import urlencode

import pytest
from django.urls import reverse

from inventory.models import Change
from planning.compute.stitches.strip_threads import PARTS, strip_to_measure
from planning.compute.stitches.thread_length import bobbin_geometry_mm, needle_geometry_mm
from planning.models import Fabric, Machine
from planning.stitch_files.reading import read_design_file
from tests.factories import a_range
from tests.pages import page_text
from tests.planning.plan.test_commands import run

pytestmark = pytest.mark.django_db
LAY = {"kappa": 0.3, "thickness_mm": 0.8, "interlock_depth": 0.7}


def threads() -> dict[str, tuple[float, float]]:
    return {
        part: (needle_geometry_mm(sums, **LAY), bobbin_geometry_mm(sums, **LAY))
        for part, sums in zip(PARTS, strip_to_measure().sums, strict=True)
    }


def typed() -> list[object]:
    return [word for part, both in threads().items() for word in (f"--{part.replace(' ', '-')}", *both)]


def test_the_command_writes_three_parts_as_three_colours(tmp_path, workshop):
    path = tmp_path / "threads.pes"
    code, out, err = run("strip_threads", path, "--format", "json")
    assert (code, err) == (0, "")
    told = json.loads(out)
    assert [each["name"] for each in told["parts"]] == list(PARTS)
    assert told["parts"][0]["needle_mg"] is None
    assert len(read_design_file(path).walked.blocks) == 3
    _, text, _ = run("strip_threads", path, "--scale-mg", 1, "--needle-tex", 27, "--bobbin-tex", 17)
    assert "manual comes first" in text


def test_the_command_solves_and_keeps_when_told_to(workshop):
    _, out, _ = run("strip_threads", *typed(), "--format", "json")
    told = json.loads(out)
    for name, value in LAY.items():
        assert told[name] == pytest.approx(value, abs=2e-3)
        assert 0 < told[f"{name}_sigma"] < 0.1
    assert not Change.objects.exists()
    run("strip_threads", *typed(), "--fabric", "twill", "--save")
    machine = Machine.objects.get()
    assert machine.kappa == pytest.approx(0.3, abs=2e-3)
    assert machine.interlock_depth == pytest.approx(0.7, abs=2e-3)
    assert Fabric.objects.get(name="twill").thickness_mm == pytest.approx(0.8, abs=2e-3)


def test_the_command_says_what_is_missing(workshop):
    for words, said in (
        ((), "Name a file"),
        (("--fill", 3, 4), "give all three"),
        (("x.pes", "--scale-mg", 1), "--needle-tex"),
        (("x.pes", "--scale-mg", 1000, "--needle-tex", 27, "--bobbin-tex", 17), "unravel a small strip"),
    ):
        code, _, err = run("strip_threads", *words)
        assert code == 1
        assert said in err


def test_the_page_draws_solves_and_keeps(signed_in, workshop):
    twill = Fabric.objects.get(name="twill")
    address = f"{reverse('strip_threads')}?{urlencode({'way': 'measured', 'fabric': twill.pk})}"
    assert "Draw the strip" in page_text(signed_in.get(reverse("strip_threads")))
    page = page_text(signed_in.get(address))
    assert "Keep fingers" in page
    assert "Satin column, bobbin thread, cm" in page
    read = {
        f"{part.replace(' ', '_')}_{thread}": f"{value:.0f} mm"
        for part, both in threads().items()
        for thread, value in zip(("needle", "bobbin"), both, strict=True)
    }
    page = page_text(signed_in.post(address, read))
    assert "Draw-in κ" in page
    keep = f"{reverse('strip_threads_keep')}?{address.partition('?')[2]}"
    told = {"kappa": "0.3", "interlock_depth": "0.7", "thickness_mm": "0.8", "key": "abc"}
    for _ in range(2):  # a second click does no harm
        signed_in.post(keep, told)
    assert Machine.objects.get().interlock_depth == 0.7
    assert Fabric.objects.get(pk=twill.pk).thickness_mm == 0.8
    assert Change.objects.count() == 2
    signed_in.post(keep, {"key": "abd"})
    assert Change.objects.count() == 2
    assert signed_in.post(address, read | {"fill_needle": ""}).status_code == 422


def test_a_strip_to_weigh_wants_its_threads_and_its_scale(signed_in, workshop):
    address = reverse("strip_threads")
    assert signed_in.get(f"{address}?way=weighed").status_code == 422
    fields = {
        "way": "weighed",
        "needle_range": a_range("Skerry", "Forty").pk,
        "bobbin_range": a_range("Skerry", "Under", purpose="bobbin", tex=16.67).pk,
        "step_g": "0.001",
        "error_percent": "5",
    }
    page = page_text(signed_in.get(f"{address}?{urlencode(fields)}"))
    assert "Needle, mg" in page
    assert "Satin column, needle thread, g" in page
    file = signed_in.get(f"{reverse('strip_threads_download', args=['dst'])}?{urlencode(fields)}")
    assert file["Content-Disposition"] == 'attachment; filename="threads.dst"'
    coarse = signed_in.get(f"{address}?{urlencode(fields | {'step_g': '1'})}")
    assert coarse.status_code == 422
    assert "unravel a small strip" in page_text(coarse)
