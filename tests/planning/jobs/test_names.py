"""Names alone: matched with the library, hooped several at a time, and one file for each hooping, read back."""

import io
import itertools
import zipfile
from collections.abc import Callable

import pytest
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.models import StockItem
from planning.compute.hooping.copies import COPY_SPACING_MM, HoopField, most_copies
from planning.jobs.hoopings import hooping_files, hoopings_of
from planning.jobs.jobs import JobFacts, UnclearNames, list_names, make_names_job, plan_of
from planning.jobs.naming import lettering_of
from planning.library.designs import keep_design
from planning.models import Design, Fabric, Hoop, Job, Machine
from planning.run.finish import Ending, finish
from planning.run.promise import promise, same_again
from planning.run.sheet import sheet_rows
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, note
from planning.stitch_files.reading import read_design_file
from planning.stitch_files.writing import CannotWrite
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED

pytestmark = pytest.mark.django_db
SPOKEN = ("Ada", "Bo", "Cleo", "Dov", "Ebba", "Finn")


@pytest.fixture
def lettering(stitch_file, workshop) -> Callable[..., Design]:
    def made(name: str, *, stitches: int = 60, colours=(BLUE,)) -> Design:
        path = stitch_file(*colours, name=f"{name}.pes", stitches=stitches)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return made


@pytest.fixture
def six(lettering) -> list[Design]:
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins()
    return [lettering(f"name {each} 20mm", stitches=40 + 20 * place) for place, each in enumerate(SPOKEN)]


def a_names_job(lines: str = "\n".join(SPOKEN), **facts) -> Job:
    given = {"what": "name tags", "pieces": 1, "machine": Machine.objects.first(), "tests": 0} | facts
    made = make_names_job(JobFacts(**given), lines, at=NOW, by=None, as_many_as_fit="copies" not in facts)
    return Job.objects.with_everything().get(pk=made.pk)


def test_a_name_finds_the_design_that_has_it_as_a_word(six, lettering):
    other = lettering("BO", stitches=333)
    found = lettering_of("ada\nBo\nthe third: name cleo 20mm")
    assert [(text, design.name) for text, design in found] == [
        ("ada", "name Ada 20mm"),
        ("Bo", other.name),
        ("the third", "name Cleo 20mm"),
    ]


def test_what_is_missing_and_what_fits_twice_is_said_of_every_line(six, lettering):
    lettering("Ada in gold", stitches=333)
    with pytest.raises(UnclearNames) as told:
        lettering_of("Ada\nAd\nZoe\nBo: name of nobody")
    words = str(told.value)
    assert "line 1: 2 designs fit Ada (Ada in gold, name Ada 20mm)" in words
    assert "line 2: no design is called Ad;" in words  # part of a word is no word
    assert "line 3: no design is called Zoe" in words
    assert "line 4: no design is called name of nobody" in words


def test_a_job_of_names_alone_is_planned_promised_and_run(six):
    job = a_names_job(copies=1)
    assert (job.pieces, job.placed.count()) == (6, 0)
    answer = plan_of(job)
    assert answer.verdict in ("enough", "tight")
    own = {block.design: 0.0 for block in answer.blocks}
    for block in answer.blocks:
        own[block.design] += block.needle_mm
    # Six names and a spare, reckoned with the longest.
    assert answer.threads[0].needed_mm == pytest.approx(sum(own.values()) + max(own.values()), abs=6)
    promise(job, at=NOW, by=None, although_short=True)
    begin(job, at=NOW)
    rows = sheet_rows(run_of(job))
    assert [rows[place].notes[0] for place in (0, 5)] == ["Name: Ada.", "Name: Finn."]


def test_names_alone_cannot_be_nothing_and_follow_their_list(six):
    with pytest.raises(UnclearNames, match="needs a list of names"):
        a_names_job(" \n")
    job = a_names_job()
    with pytest.raises(UnclearNames, match="all that is stitched"):
        list_names(job, "")
    list_names(job, "Ada\nBo")
    assert Job.objects.get(pk=job.pk).pieces == 2
    again = same_again(Job.objects.with_everything().get(pk=job.pk), pieces=2, at=NOW, by=None)
    assert [each.text for each in again.names.all()] == ["Ada", "Bo"]
    with pytest.raises(WorkshopError, match="one a piece"):
        same_again(job, pieces=5, at=NOW, by=None)


def by_brute_force(boxes: list[tuple[float, float]], width: float, height: float) -> int:
    """Return how many equal boxes lie in a straight grid, by trying every number of columns and rows."""
    across, along = (max(side) for side in zip(*boxes, strict=True))
    found = [
        columns * rows
        for (a, b), columns, rows in itertools.product(
            ((across, along), (along, across)), range(12), range(12)
        )
        if columns
        and rows
        and columns * a + (columns - 1) * COPY_SPACING_MM <= width + 1e-6
        and rows * b + (rows - 1) * COPY_SPACING_MM <= height + 1e-6
    ]
    return max(found, default=0)


@pytest.mark.parametrize("field", [(130, 180), (100, 100), (60, 200), (200, 45), (37, 12)])
def test_as_many_names_are_hooped_together_as_brute_force_finds(six, field):
    boxes = [(design.width_mm, design.height_mm) for design in six]
    across, along = (max(side) for side in zip(*boxes, strict=True))
    assert most_copies([(across, along)], HoopField("any", *field)) == by_brute_force(boxes, *field)


def test_of_two_hoops_the_smaller_that_holds_as_many_is_taken_and_hoopings_follow(six):
    small = Hoop.objects.create(
        name="small", field_width_mm=100, field_height_mm=60, ring_width_mm=120, ring_height_mm=80
    )
    Machine.objects.get().hoops.add(small)
    job = a_names_job()
    largest = by_brute_force([(d.width_mm, d.height_mm) for d in six], 130, 180)
    assert job.copies == min(largest, 7)  # six names, and one that may be spoiled
    laid = hoopings_of(job)
    assert [len(each.pieces) for each in laid] == [min(job.copies, 6)] + [6 - job.copies] * (job.copies < 6)
    two = a_names_job(copies=2)
    assert {each.hoop for each in hoopings_of(two)} == {"small"}
    assert [[piece.text for piece in each.pieces] for each in hoopings_of(two)] == [
        ["Ada", "Bo"], ["Cleo", "Dov"], ["Ebba", "Finn"],
    ]  # fmt: skip


@pytest.mark.parametrize("extension", ["pes", "dst", "exp", "jef", "vp3"])
def test_a_hooping_is_one_file_that_reads_back_to_the_same_stitches(six, extension, tmp_path):
    job = a_names_job(copies=3)
    files = hooping_files(job, extension=extension)
    assert [name for name, _ in files] == [f"01-Ada-Bo-Cleo.{extension}", f"02-Dov-Ebba-Finn.{extension}"]
    for (name, content), designs in zip(files, (six[:3], six[3:]), strict=True):
        path = tmp_path / name
        path.write_bytes(content)
        walked = read_design_file(path).walked
        whole = sum(design.stitches for design in designs)
        assert walked.stitches == pytest.approx(whole, rel=0.005)
        # One colour on all of them is one block: the thread is not changed between names.
        assert len(walked.blocks) == 1
        assert walked.width_mm <= 130
        assert walked.height_mm <= 180


def test_names_of_two_colours_are_stitched_colour_by_colour(lettering, tmp_path):
    for stitches, each in ((50, "Ada"), (70, "Bo")):
        lettering(each, stitches=stitches, colours=(RED, BLUE))
    ((_, content),) = hooping_files(a_names_job("Ada\nBo", copies=2), extension="pes")
    path = tmp_path / "both.pes"
    path.write_bytes(content)
    read = read_design_file(path)
    assert [block.thread.hex for block in read.walked.blocks] == [RED, BLUE]


def test_a_file_that_reads_back_otherwise_is_never_given(six, monkeypatch):
    from planning.jobs import hoopings

    real = hoopings.stitch_file_of_runs
    monkeypatch.setattr(
        hoopings,
        "stitch_file_of_runs",
        lambda blocks, **more: real([[run[: len(run) // 2] for run in block] for block in blocks], **more),
    )
    with pytest.raises(CannotWrite, match="differs from what was laid"):
        hooping_files(a_names_job(copies=3), extension="pes")


@pytest.mark.thorough
def test_thirty_names_on_two_hoops_read_back_within_half_a_percent(lettering, tmp_path):
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins()
    texts = [f"N{number}" for number in range(30)]
    designs = [lettering(text, stitches=25 + 2 * place) for place, text in enumerate(texts)]  # no two alike
    small = Hoop.objects.create(
        name="small", field_width_mm=100, field_height_mm=60, ring_width_mm=120, ring_height_mm=80
    )
    Machine.objects.get().hoops.add(small)
    job = a_names_job("\n".join(texts))
    files = hooping_files(job, extension="pes")
    assert len(files) == -(-30 // job.copies) == len(hoopings_of(job))
    read = 0
    for name, content in files:
        path = tmp_path / name
        path.write_bytes(content)
        read += read_design_file(path).walked.stitches
    assert read == pytest.approx(sum(each.stitches for each in designs), rel=0.005)


def test_the_pages_of_a_job_of_names(signed_in, six):
    sent = {"what": "tags", "names": "Ada\nBo\nNobody", "copies": "most", "tests": "0", "key": "k"}
    refused = signed_in.post(reverse("names_job"), sent)
    assert refused.status_code == 422
    assert "line 3: no design is called Nobody" in page_text(refused)
    sent["names"] = "Ada\nBo\nCleo"
    first, again = (signed_in.post(reverse("names_job"), sent) for _ in range(2))
    assert first.url == again.url
    job = Job.objects.get()
    assert signed_in.get(reverse("job", args=[job.pk])).status_code == 200
    assert signed_in.get(reverse("jobs")).status_code == 200
    shown = page_text(signed_in.get(reverse("job_hoopings", args=[job.pk])))
    assert "1 hooping with up to" in shown
    assert "piece 3: <strong>Cleo</strong>" in shown
    archive = signed_in.get(reverse("job_hooping_files", args=[job.pk, "dst"]))
    assert zipfile.ZipFile(io.BytesIO(archive.content)).namelist() == ["01-Ada-Bo-Cleo.dst"]
    wrong = signed_in.get(reverse("job_hooping_files", args=[job.pk, "tiff"]))
    assert wrong.status_code == 302


def test_the_pieces_of_a_hooping_lie_about_its_middle(six):
    for hooping in hoopings_of(a_names_job(copies=4)):
        for side in range(2):
            places = [piece.at_mm[side] for piece in hooping.pieces]
            assert min(places) == pytest.approx(-max(places))


def test_names_alone_go_all_the_way_to_their_report(signed_in, six):
    a_roll()
    job = a_names_job(copies=3, fabric=Fabric.objects.get(name="twill"))
    roll = StockItem.objects.get(kind="roll")

    def page(name: str) -> str:
        answer = signed_in.get(reverse(name, args=[job.pk]))
        assert answer.status_code == 200, name
        return page_text(answer)

    for name in ("job", "edit_job", "cut_sheet", "quote", "same_again", "what_if_first"):
        page(name)
    assert signed_in.get(reverse("buying")).status_code == 200
    promise(job, at=NOW, by=None, although_short=True)
    begin(job, at=NOW)
    assert "Name: Ada." in page("run_sheet")
    while run_of(job).left:
        note(job, Happening("piece", key=a_key()), at=NOW, by=None)
    page("finish_job")
    report = finish(job, Ending(), at=NOW, by=None)
    (layer,) = report.facts["stabilizer"]
    assert layer["used_pieces"] == 2  # six names, three to a hooping
    assert StockItem.objects.get(pk=roll.pk).on_hand < roll.on_hand
    page("job_report")
    page("job")
