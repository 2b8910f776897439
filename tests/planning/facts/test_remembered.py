"""A colour of files answered once, and used by the next file by itself."""

import json
from io import StringIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse

from inventory.catalogue.equivalents import NoOneShade
from planning.facts.remembered import (
    ColourAnswer,
    NotRemembered,
    forget,
    proposals,
    remember,
    remembered_now,
    take_back,
)
from planning.facts.remembered_files import answers_in_file, remembered_as_csv
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.pinning import ShadeChanges, change_pins
from planning.library.colours import RequestedColour, recolour
from planning.library.designs import asked_from_file, asked_from_record, keep_design
from planning.plan.ask import Question, plan
from planning.plan.data import plan_as_data
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
BLACK, RED = "#000000", "#b01c2e"


@pytest.fixture
def shades(workshop):
    some_bobbins(count=20)
    made = {code: a_shade(code, hex=hex) for code, hex in (("K1", "#202022"), ("K2", "#2e2e30"), ("R1", RED))}
    for shade in made.values():
        a_spool(shade)
    return made


@pytest.fixture
def kept(stitch_file):
    def keep(*colours, name="badge.pes"):
        path = stitch_file(*colours, name=name)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return keep


def chosen(design, **question):
    answer = plan([asked_from_record(design)], Question(pieces=5, **question))
    return [thread.choice.shade.code if thread.choice.shade else None for thread in answer.threads]


def test_the_next_file_uses_what_was_said_once(kept, shades):
    first = kept(BLACK)
    assert chosen(first) == ["K1"]
    remember([ColourAnswer(BLACK, shades["K2"])], at=NOW, by=None)
    second = kept(BLACK, RED, name="other.pes")
    assert chosen(second) == ["K2", "R1"]
    (row, _) = plan_as_data(plan([asked_from_record(second)], Question(pieces=5)))["threads"]
    assert (row["remembered"], row["colour"]["word"], row["verdict"]) == (True, "remembered", "enough")


def test_what_is_said_of_one_question_goes_before_what_was_said_once(kept, shades):
    design = kept(BLACK)
    remember([ColourAnswer(BLACK, shades["K2"])], at=NOW, by=None)
    assert chosen(design, pins=("1=K1",)) == ["K1"]
    assert chosen(design, exclude=("K2",)) == ["K1"]
    assert chosen(design, strictness="brand") == ["K1"]
    recolour(design, {1: RequestedColour(hex="#212123")})
    assert chosen(design) == ["K1"]


def test_a_pin_of_one_block_holds_for_all_of_its_colour_whatever_is_remembered(kept, shades):
    design = kept(BLACK, RED, BLACK)
    remember([ColourAnswer(BLACK, shades["K2"])], at=NOW, by=None)
    answer = plan([asked_from_record(design)], Question(pieces=5, pins=("1=K1",)))
    assert (answer.threads[0].choice.shade.code, answer.threads[0].is_remembered) == ("K1", False)


def test_the_nearer_answer_holds_block_before_design_before_every_file(kept, shades):
    one, other = kept(BLACK), kept(BLACK, RED, name="other.pes")
    remember([ColourAnswer(BLACK, shades["K2"])], at=NOW, by=None)
    remember([ColourAnswer(BLACK, shades["K1"], one)], at=NOW, by=None)
    assert (chosen(one)[0], chosen(other)[0]) == ("K1", "K2")
    remember([ColourAnswer(BLACK, shades["R1"], one, 1)], at=NOW, by=None)
    assert (chosen(one)[0], chosen(other)[0]) == ("R1", "K2")


def test_a_block_without_a_colour_is_remembered_alone(kept, shades):
    design = kept(BLACK, RED, name="badge.dst")
    with pytest.raises(NotRemembered, match="for that block alone"):
        remember([ColourAnswer("", shades["K1"], design)], at=NOW, by=None)
    remember([ColourAnswer("", shades["K1"], design, 2)], at=NOW, by=None)
    assert chosen(design) == [None, "K1"]


def test_what_has_left_the_shelf_is_told_of(kept, shades):
    gone = a_shade("GONE", hex="#101010")
    remember([ColourAnswer(BLACK, gone)], at=NOW, by=None)
    answer = plan([asked_from_record(kept(BLACK))], Question(pieces=5))
    assert answer.threads[0].choice.shade.code == "K1"
    assert any("GONE" in note and "not on the shelf" in note for note in answer.notes)


def test_every_act_is_taken_back_and_nothing_is_deleted(shades):
    first = remember([ColourAnswer(BLACK, shades["K1"])], at=NOW, by=None)
    second = remember([ColourAnswer(BLACK, shades["K2"]), ColourAnswer(RED, shades["R1"])], at=NOW, by=None)
    assert {each.shade.code for each in remembered_now()} == {"K2", "R1"}
    take_back(second, at=NOW)
    assert [each.shade.code for each in remembered_now()] == ["K1"]
    gone = forget([each.pk for each in remembered_now()], at=NOW)
    assert remembered_now() == []
    take_back(gone, at=NOW)
    assert [each.shade.code for each in remembered_now()] == ["K1"]
    take_back(first, at=NOW)
    with pytest.raises(NotRemembered, match="nothing of that to take back"):
        take_back(first, at=NOW)


def test_the_same_request_sent_twice_is_one_act(shades):
    for _ in range(2):
        remember([ColourAnswer(BLACK, shades["K1"])], at=NOW, by=None, act="once")
    remember([ColourAnswer(BLACK, shades["K1"])], at=NOW, by=None)
    assert len(remembered_now()) == 1


def test_a_later_answer_is_not_undone_by_taking_an_earlier_forgetting_back(shades):
    remember([ColourAnswer(BLACK, shades["K1"])], at=NOW, by=None)
    forgetting = forget([remembered_now()[0].pk], at=NOW)
    remember([ColourAnswer(BLACK, shades["K2"])], at=NOW, by=None)
    with pytest.raises(NotRemembered, match="answered anew since"):
        take_back(forgetting, at=NOW)
    assert [each.shade.code for each in remembered_now()] == ["K2"]


def test_a_choice_is_proposed_once_it_was_made_twice(kept, shades):
    design = kept(BLACK)

    def pin():
        job = make_job(JobFacts("caps", 5), designs=[design], at=NOW, by=None)
        change_pins(job, ShadeChanges(pin=("1=K2",)))

    pin()
    assert proposals() == []
    pin()
    (proposal,) = proposals()
    assert (proposal.hex, proposal.shade, proposal.times) == (BLACK, shades["K2"], 2)
    remember([ColourAnswer(proposal.hex, proposal.shade)], at=NOW, by=None)
    assert proposals() == []


def test_the_list_goes_out_as_a_table_and_comes_back(kept, shades):
    design = kept(BLACK)
    remember(
        [ColourAnswer(BLACK, shades["K2"]), ColourAnswer(BLACK, shades["K1"], design, 1)], at=NOW, by=None
    )
    table = remembered_as_csv()
    forget([each.pk for each in remembered_now()], at=NOW)
    answers, problems = answers_in_file(table.encode())
    assert problems == []
    remember(answers, at=NOW, by=None)
    assert remembered_as_csv() == table


def test_what_is_wrong_with_a_table_is_told_by_row(shades):
    rows = "colour;shade;design\n#000000;K1;\nblackish;K1;\n#ff0000;Z9;\n#ff0000;R1;no such design\n"
    answers, problems = answers_in_file(rows.encode())
    assert [each.hex for each in answers] == [BLACK]
    assert [(each.row, each.column) for each in problems] == [(3, "colour"), (4, "shade"), (5, "design")]


def test_the_page_says_lists_changes_imports_and_takes_back(client, django_user_model, kept, shades):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    page, change = reverse("remembered_colours"), reverse("change_remembered")
    assert "None yet" in client.get(page).content.decode()
    done = client.post(change, {"colour": BLACK, "shade": "K1"})
    assert "Skerry Forty K1" in client.get(done.url).content.decode()
    client.post(change, {"colour": BLACK, "shade": "K2"})
    assert [each.shade.code for each in remembered_now()] == ["K2"]
    client.post(change, {"forget": str(remembered_now()[0].pk)})
    assert remembered_now() == []
    table = SimpleUploadedFile("c.csv", f"colour,shade\n{BLACK},K1\n{RED},R1\n".encode())
    done = client.post(change, {"file": table})
    assert len(remembered_now()) == 2
    assert client.get(reverse("remembered_colours_csv")).content.decode().count("\n") == 3
    act = client.get(done.url).context["act"]
    client.post(change, {"take_back": act})
    assert remembered_now() == []
    bad = client.post(change, {"colour": "blackish", "shade": "K1"}, follow=True)
    assert "is not a colour" in bad.content.decode()


def test_a_pin_on_the_plan_can_be_remembered_and_is_then_used(client, django_user_model, kept, shades):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    design = kept(BLACK)
    asked = {"design": design.pk, "pieces": 5}
    pinned = client.get(reverse("plan_sheet"), asked | {"pin": "1=K2"})
    offered = pinned.context["threads"][0]["remember"]
    assert [words for _, words in offered["for"]] == ["this block", "this design", "every file"]
    back = reverse("plan_sheet") + f"?design={design.pk}&pieces=5"
    done = client.post(
        reverse("change_remembered"),
        {"colour": offered["colour"], "shade_id": offered["shade_id"], "for": "", "next": back},
    )
    assert done.url == back
    row = client.get(back).context["threads"][0]
    assert (row["thread"].choice.shade.code, row["colour_word"]) == ("K2", "remembered")
    assert row["pins"]["leave_out"]


def test_nobody_is_sent_elsewhere_after_remembering(client, django_user_model, shades):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    done = client.post(
        reverse("change_remembered"),
        {"colour": BLACK, "shade": "K1", "next": "https://elsewhere.example/"},
    )
    assert done.url.startswith(reverse("remembered_colours"))


def test_the_command_remembers_lists_and_takes_back(shades, stitch_file):
    def run(*words):
        out, err = StringIO(), StringIO()
        call_command("remembered_colours", *words, stdout=out, stderr=err)
        return out.getvalue(), err.getvalue()

    _, err = run("--remember", f"{BLACK}=K2")
    answer = plan([asked_from_file(read_design_file(stitch_file(BLACK)))], Question(pieces=5))
    assert answer.threads[0].choice.shade.code == "K2"
    out, _ = run("--format", "json")
    assert [row["colour"] for row in json.loads(out)["remembered"]] == [BLACK]
    run("--take-back", err.split()[-1])
    assert remembered_now() == []
    with pytest.raises((NoOneShade, SystemExit)):
        run("--remember", f"{BLACK}=Z9")
