"""Files like those of the wild, put to the demo shelf: what was answered before wishes were known, and what is now."""

import json
from collections import Counter
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from fixtures.corpus_verdicts import answer
from fixtures.drawing.wild import corpus
from planning.library.designs import asked_from_file
from planning.plan.ask import Question, plan
from planning.plan.data import plan_as_data
from planning.stitch_files.reading import read_design_file

pytestmark = pytest.mark.django_db
# What commit 9e231f5 answered by its own code: `python fixtures/corpus_verdicts.py`, run in its root.
BEFORE = Path(__file__).resolve().parents[2] / "data" / "corpus_before.json"
# The thread a person would take from the demo's wall for each colour of a screen, and how it stands for it.
TAKEN = {
    "#000000": ("S199", "as near as thread comes"),
    "#ffffff": ("W101", "near"),
    "#ff0000": ("R145", "as near as thread comes"),
    "#0000ff": ("10-2", "something nearer can be bought"),
    "#ffff00": ("05-2", "as near as thread comes"),
    "#00ff00": ("M07-1", "as near as thread comes"),
    "#808080": ("M01-2", "near"),
}


@pytest.fixture
def demo(db, settings, tmp_path):
    settings.DATA_FOLDER, settings.MEDIA_ROOT = tmp_path / "data", tmp_path / "files"
    settings.DATA_FOLDER.mkdir()
    call_command("demo", "--shelf-only", verbosity=0, stdout=StringIO())


def test_each_colour_of_a_screen_is_answered_with_the_thread_a_person_takes(demo, stitch_file):
    found = {}
    for hex in TAKEN:
        path = stitch_file(hex, name=f"{hex[1:]}.pes")
        answered = plan([asked_from_file(read_design_file(path))], Question(pieces=2))
        (row,) = plan_as_data(answered)["threads"]
        found[hex] = (row["shade"]["code"], row["colour"]["word"])
        assert (row["verdict"], answered.verdict) == ("enough", "enough"), hex
        assert row["free_mm"] > 0
    assert found == TAKEN


@pytest.mark.thorough
def test_the_table_of_verdicts_before_and_after(demo, tmp_path, capsys):
    before = json.loads(BEFORE.read_text(encoding="utf-8"))
    after = {}
    for file in corpus():
        path = tmp_path / file.name
        path.write_bytes(file.content)
        after[file.name] = answer(path)
    assert set(after) == set(before)
    with capsys.disabled():
        print(f"\n{'file':70} {'before':10} after")
        for name in sorted(after):
            print(f"{name[:70]:70} {before[name]['verdict']:10} {after[name]['verdict']}")
        for told, answers in (("before", before), ("after", after)):
            print(told, dict(Counter(each["verdict"] for each in answers.values())))
    # The drawn files are the same; in what was answered then, every file with colours was short.
    assert Counter(each["verdict"] for each in before.values())["short"] == 39
    assert not [name for name, each in after.items() if each["verdict"] in ("short", "refused")]
    threads = [thread for each in after.values() for thread in each["threads"]]
    # No wish is short unless no thread of its hue is owned, and then not by that word.
    assert not [each for each in threads if each["verdict"] == "short"]
    assert {each["colour"] for each in threads if each["asked"] is None} == {"none asked"}
