"""The strip to weigh, at the command line and on its page: written, reckoned, κ kept."""

import json
from urllib.parse import urlencode

import pytest
from django.urls import reverse

from inventory.models import Change
from planning.compute.stitches.weighed_strip import Scale
from planning.models import Machine
from planning.stitch_files.reading import read_design_file
from planning.strip.strips import StripAsked, keep_kappa, promised
from tests.factories import NOW, a_range
from tests.planning.plan.test_commands import run

pytestmark = pytest.mark.django_db
THREADS = ("--scale-mg", 10, "--needle-tex", 27, "--bobbin-tex", 16.7, "--error", 0.05)


@pytest.fixture
def address(workshop):
    needle = a_range("Skerry", "Forty")
    bobbin = a_range("Skerry", "Under", purpose="bobbin", tex=16.67)
    fields = {"needle_range": needle.pk, "bobbin_range": bobbin.pk, "step_g": "0.01", "error_percent": "5"}
    return f"{reverse('strip')}?{urlencode(fields)}"


def test_the_command_writes_a_strip_and_says_what_it_takes(tmp_path, workshop):
    path = tmp_path / "strip.pes"
    code, out, err = run("test_strip", path, *THREADS, "--format", "json")
    told = json.loads(out)
    assert (code, err) == (0, "")
    assert told["bobbin_error"] <= 0.05
    walked = read_design_file(path).walked
    assert walked.stitches == pytest.approx(told["stitches"], abs=2)
    assert walked.width_mm == pytest.approx(told["width_mm"], abs=0.2)
    _, text, _ = run("test_strip", path, *THREADS)
    assert "satin 7 mm" in text
    assert "manual comes first" in text


def test_the_command_refuses_a_scale_too_coarse_a_format_unknown_and_half_a_measurement(tmp_path, workshop):
    coarse = ("--scale-mg", 1000, "--needle-tex", 27, "--bobbin-tex", 16.7)
    for words, said in (
        ((tmp_path / "strip.pes", *coarse), "finer scale"),
        ((tmp_path / "strip.abc", *THREADS), "ABC files cannot be written"),
        ((*THREADS, "--light-share", 0.4), "give all three"),
        (THREADS, "Name a file"),
    ):
        code, _, err = run("test_strip", *words)
        assert code == 1
        assert said in err
    assert not list(tmp_path.iterdir())


def test_the_command_reckons_kappa_and_keeps_it_when_told_to(workshop):
    workshop.kappa = 1 / 3
    workshop.save()
    asked = StripAsked(workshop, Scale(10, 27, 16.7), 0.05)
    promise = promised(asked)
    weighed = (
        "--light-share",
        1 / 3,
        "--needle-mg",
        promise.needle_mg,
        "--bobbin-mg",
        1.25 * promise.bobbin_mg,
    )
    _, out, _ = run("test_strip", *THREADS, *weighed, "--format", "json")
    told = json.loads(out)
    assert told["kappa"] == pytest.approx(1 / 3, abs=1e-4)
    assert told["needle_factor"] == pytest.approx(1.0, abs=1e-3)
    assert told["bobbin_factor"] == pytest.approx(1.25, abs=1e-3)
    assert not Change.objects.exists()
    run("test_strip", *THREADS, "--light-share", 0.4, *weighed[2:], "--save-kappa")
    assert Machine.objects.get().kappa == 0.3


def test_keeping_kappa_twice_under_one_key_is_one_edit(workshop):
    for _ in range(2):
        keep_kappa(workshop, kappa=0.28, key="k1", at=NOW, by=None)
    (edit,) = Change.objects.all()
    assert edit.fields["kappa"]["after"] in (0.28, "0.28")


def test_the_page_draws_the_strip_and_gives_it_as_a_file(signed_in, address, tmp_path):
    assert "Draw the strip" in signed_in.get(reverse("strip")).content.decode()
    page = signed_in.get(address).content.decode()
    assert "Satin 7 mm" in page
    assert "Keep fingers" in page
    file = signed_in.get(address.replace("strip/?", "strip/strip.dst?"))
    assert file["Content-Disposition"] == 'attachment; filename="strip.dst"'
    path = tmp_path / "strip.dst"
    path.write_bytes(file.content)
    assert read_design_file(path).walked.stitches > 1000


def test_the_page_says_why_a_strip_cannot_be_drawn(signed_in, address):
    answer = signed_in.get(address.replace("step_g=0.01", "step_g=1"))
    assert answer.status_code == 422
    assert "finer scale" in answer.content.decode()


def test_the_page_reckons_and_sets_the_machines_kappa(signed_in, address):
    weighed = {"light_percent": "40", "light_error": "5", "needle_g": "0.40", "bobbin_g": "0.12"}
    page = signed_in.post(address, weighed).content.decode()
    assert "0.300 ± 0.025" in page
    machine = Machine.objects.get()
    for _ in range(2):  # a second click does no harm
        signed_in.post(reverse("strip_keep", args=[machine.pk]), {"kappa": "0.3000", "key": "abc"})
    machine.refresh_from_db()
    assert machine.kappa == 0.3
    assert Change.objects.filter(table="machine").count() == 1
    assert signed_in.post(address, weighed | {"light_percent": "140"}).status_code == 422
    signed_in.post(reverse("strip_keep", args=[machine.pk]), {"kappa": "0.9", "key": "abd"})
    machine.refresh_from_db()
    assert machine.kappa == 0.3
