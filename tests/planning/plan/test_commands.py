"""The command line answers with stable keys and exit codes, and refuses in words."""

import json
from io import StringIO

import pytest
from django.core.management import call_command

from tests.factories import a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1c2b8d"


def run(*words: object) -> tuple[int, str, str]:
    """Return exit code, output and error output of a command."""
    out, err = StringIO(), StringIO()
    try:
        call_command(*[str(word) for word in words], stdout=out, stderr=err)
    except SystemExit as stop:
        return int(stop.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


@pytest.fixture
def full_shelf(workshop):
    a_spool(a_shade("R", hex=RED, name="red"))
    a_spool(a_shade("B", hex=BLUE, name="blue"))
    some_bobbins(count=20)
    a_roll()


def test_enough_exits_0(stitch_file, full_shelf):
    code, out, err = run("plan", stitch_file(RED, BLUE), "--pieces", 10, "--fabric", "twill")
    assert (code, err) == (0, "")
    assert "Enough for all 12 pieces" in out.splitlines()[0]


def test_short_exits_3(stitch_file, full_shelf):
    code, out, _ = run("plan", stitch_file(RED, BLUE), "--pieces", 9000, "--fabric", "twill")
    assert code == 3
    assert "Short: 2 of 2 colours" in out.splitlines()[0]


def test_unknown_exits_4(stitch_file, full_shelf):
    code, _, _ = run("plan", stitch_file(RED, BLUE, name="badge.dst"), "--pieces", 2, "--fabric", "twill")
    assert code == 4


def test_the_json_has_the_keys_that_scripts_rely_on(stitch_file, full_shelf):
    path = stitch_file(RED, BLUE)
    code, out, _ = run(
        "plan", path, "--pieces", 24, "--fabric", "twill", "--by", "2026-03-20", "--format", "json"
    )
    answer = json.loads(out)
    assert code == 0
    expected = {
        "": "verdict pieces pieces_to_stitch copies_per_hooping hoopings designs blocks threads bobbins stabilizer "
        "time cost shopping",
        "designs": "name sha256 format width_mm height_mm stitches trims warnings",
        "blocks": "design block requested stitches penetrations trims drawn_mm needle_mm_per_piece "
        "bobbin_mm_per_piece",
        "threads": "shade blocks delta_e_00 grey_scale_grade needed_mm needed_sigma_mm free_mm free_sigma_mm "
        "p_enough verdict pieces_possible missing_mm spools",
        "bobbins": "thread needed_mm count verdict p_enough changes",
        "stabilizer": "product kind pieces piece_mm from_offcuts roll_mm bound_mm free_mm verdict",
        "time": "machine_min hands_on_min thread_changes",
        "cost": "currency material material_per_piece",
    }
    for part, keys in expected.items():
        value = answer[part] if part else answer
        record = value[0] if isinstance(value, list) else value
        assert set(keys.split()) <= set(record), part
    assert set(answer["threads"][0]["shade"]) == {"id", "maker", "range", "code", "name", "hex"}
    assert set(answer["threads"][0]["spools"][0]) >= {
        "label",
        "from_piece",
        "to_piece",
        "needed_mm",
        "left_mm",
    }
    assert (answer["pieces"], answer["pieces_to_stitch"]) == (24, 26)
    total = sum(block["needle_mm_per_piece"] for block in answer["blocks"]) * answer["pieces_to_stitch"]
    assert sum(thread["needed_mm"] for thread in answer["threads"]) == pytest.approx(total, abs=2)


def test_planning_saves_nothing(stitch_file, full_shelf):
    from planning.models import Design

    run("plan", stitch_file(RED, BLUE), "--pieces", 10)
    assert not Design.objects.exists()


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (["--pieces", 0], "0 pieces are ordered"),
        (["--pieces", 5, "--fabric", "denim"], "There is no fabric called denim"),
        (["--pieces", 5, "--machine", "big one"], "There is no machine called big one. Known: one needle"),
        (["--pieces", 5, "--hoop", "huge"], "There is no hoop called huge"),
    ],
)
def test_a_question_that_makes_no_sense_exits_1_in_words(stitch_file, full_shelf, words, problem):
    code, out, err = run("plan", stitch_file(RED), *words)
    assert (code, out) == (1, "")
    assert problem in err
    assert "Traceback" not in err


def test_a_file_that_is_none_exits_1_in_words(tmp_path, full_shelf):
    text = tmp_path / "letter.pes"
    text.write_text("Dear workshop, please find attached")
    code, _, err = run("plan", text, "--pieces", 1)
    assert code == 1
    assert "letter.pes" in err


def test_read_design_shows_each_block(stitch_file, full_shelf):
    code, out, _ = run("read_design", stitch_file(RED, BLUE), "--format", "json")
    (design,) = json.loads(out)["designs"]
    assert code == 0
    assert [block["requested"]["hex"] for block in design["blocks"]] == [RED, BLUE]
    assert all(block["drawn_mm"] > 0 for block in design["blocks"])


def test_read_design_shows_the_good_files_and_exits_1_for_the_bad(stitch_file, tmp_path, full_shelf):
    bad = tmp_path / "empty.dst"
    bad.touch()
    code, out, err = run("read_design", bad, stitch_file(RED))
    assert code == 1
    assert "empty.dst is empty" in err
    assert "colour 1" in out


def test_match_lists_owned_shades_nearest_first(full_shelf):
    a_shade("X", hex=RED, name="not owned")
    code, out, _ = run("match", "#b01c2f", "--format", "json", "--limit", 5)
    shades = json.loads(out)["shades"]
    assert code == 0
    assert [shade["code"] for shade in shades] == ["R", "B"]
    assert shades[0]["delta_e_00"] <= shades[1]["delta_e_00"]


@pytest.mark.parametrize("colour", ["lab:38.0,58.0,29.0", "R"])
def test_match_takes_lab_and_shade_codes(full_shelf, colour):
    code, out, _ = run("match", colour, "--format", "json", "--limit", 1)
    assert code == 0
    assert json.loads(out)["shades"][0]["code"] == "R"


def test_match_says_what_it_does_not_understand(full_shelf):
    code, _, err = run("match", "nonsense")
    assert code == 1
    assert "neither a colour nor a known shade code" in err


def test_check_ledger_is_sound_or_names_what_is_not(full_shelf):
    from inventory.models import StockItem

    assert run("check_ledger")[0] == 0
    StockItem.objects.filter(kind="spool").update(on_hand=5)
    code, out, _ = run("check_ledger")
    assert code == 1
    assert "on hand is the sum of entries" in out


def test_copies_are_asked_for_by_number_or_as_many_as_a_hoop_holds(stitch_file, full_shelf):
    path = stitch_file(RED, BLUE)
    _, out, _ = run("plan", path, "--pieces", 10, "--copies", "2", "--format", "json")
    answer = json.loads(out)
    assert (answer["copies_per_hooping"], answer["hoopings"]) == (2, 6)
    _, out, _ = run("plan", path, "--pieces", 10, "--copies", "most", "--format", "json")
    most = json.loads(out)
    assert most["copies_per_hooping"] > 2
    assert [each["planned"] for each in most["copies_compared"]] == [False, True]
    code, _, err = run("plan", path, "--pieces", 10, "--copies", "99")
    assert code == 1
    assert "No hoop of this machine holds more than" in err
    _, text, _ = run("plan", path, "--pieces", 10)
    assert "One piece a hooping, or several" in text
