"""Many things moved, relabelled, weighed and retired in one act, and taken back as one."""

import json

import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils.translation import override

from inventory.ledger import ledger_problems, set_aside, use
from inventory.lists.many import (
    NothingDone,
    find_many,
    move_many,
    relabel_many,
    retire_many,
    take_back_many,
)
from inventory.models import ActOnMany, StockItem
from inventory.shelf.counts import Found
from inventory.templatetags.kept_words import act_in_words
from tests.factories import NOW, a_key, a_place, a_shade, a_spool
from tests.pages import page_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def fifty() -> list[StockItem]:
    wall = a_place("wall")
    shade = a_shade("R1")
    return [StockItem.objects.get(pk=a_spool(shade, place=wall).pk) for _ in range(50)]


def now(items: list[StockItem], name: str) -> list:
    found = dict(StockItem.objects.filter(pk__in=[each.pk for each in items]).values_list("pk", name))
    return [found[each.pk] for each in items]


def said() -> dict:
    return {"key": a_key(), "at": NOW, "by": None}


def test_fifty_things_move_in_one_act_and_go_back_in_one(fifty):
    key = a_key()
    done = move_many(fifty, place=a_place("drawer"), key=key, at=NOW, by=None)
    assert done.count == 50
    assert set(now(fifty, "place__name")) == {"drawer"}
    again = move_many(fifty, place=a_place("drawer"), key=key, at=NOW, by=None)
    assert again.act == done.act

    assert not take_back_many(done.act, **said()).problems
    assert set(now(fifty, "place__name")) == {"wall"}
    take_back_many(done.act, **said())  # sent again, nothing happens
    assert set(now(fifty, "place__name")) == {"wall"}


def test_what_has_moved_since_stays_and_is_told(fifty):
    done = move_many(fifty, place=a_place("drawer"), **said())
    move_many(fifty[:1], place=a_place("window"), **said())
    back = take_back_many(done.act, **said())
    assert back.problems == (f"{fifty[0].label} has gone to window since, and stays there.",) or (
        len(back.problems) == 1 and "gone to window since" in back.problems[0]
    )
    assert now(fifty, "place__name")[:2] == ["window", "wall"]


def test_fifty_new_labels_and_back(fifty):
    before = now(fifty, "label")
    done = relabel_many(fifty, labels={each.pk: f"W-{at}" for at, each in enumerate(fifty)}, **said())
    assert now(fifty, "label")[:2] == ["W-0", "W-1"]
    take_back_many(done.act, **said())
    assert now(fifty, "label") == before


def test_a_label_that_another_thing_has_is_refused_and_the_others_are_done(fifty):
    first, second, third = fifty[:3]
    done = relabel_many([first, second], labels={first.pk: third.label, second.pk: "NEW"}, **said())
    assert len(done.problems) == 1
    assert third.label in done.problems[0]
    assert now([first, second], "label") == [first.label, "NEW"]


def test_fifty_things_are_weighed_in_one_act_and_one_that_was_used_since_stays(fifty):
    before = now(fifty, "on_hand")
    done = find_many([(each, Found(quantity=400_000)) for each in fifty], **said())
    assert set(now(fifty, "on_hand")) == {400_000}
    use(fifty[7], quantity=1_000, key=a_key(), at=NOW, by=None)
    back = take_back_many(done.act, **said())
    assert len(back.problems) == 1
    assert fifty[7].label in back.problems[0]
    left = now(fifty, "on_hand")
    assert left[7] == 399_000
    assert left[:7] + left[8:] == before[:7] + before[8:]
    assert not ledger_problems()


def test_fifty_things_leave_the_shelf_but_for_one_that_is_wanted_and_come_back(fifty):
    set_aside(fifty[3], quantity=1_000, holder="job 9", key=a_key(), at=NOW, by=None)
    done = retire_many(fifty, reference="water damage", **said())
    assert len(done.problems) == 1
    assert "job 9" in done.problems[0]
    assert StockItem.objects.filter(retired_at__isnull=True).count() == 1
    take_back_many(done.act, **said())
    assert not StockItem.objects.filter(retired_at__isnull=False).exists()
    assert set(now(fifty, "on_hand")) == {1_000_000}
    assert not ledger_problems()


def test_nothing_is_marked_as_taken_back_where_nothing_could_be(fifty):
    done = move_many(fifty[:2], place=a_place("drawer"), **said())
    move_many(fifty[:2], place=a_place("window"), **said())
    with pytest.raises(NothingDone):
        take_back_many(done.act, **said())
    done.act.refresh_from_db()
    assert done.act.taken_back_at is None


def test_the_page_moves_many_and_offers_one_undo(signed_in, fifty):
    drawer = a_place("drawer")
    ticked = {"item": [each.pk for each in fifty], "do": "move", "place": drawer.pk, "key": "p1"}
    answer = signed_in.post(reverse("together", args=["thread"]), ticked, follow=True)
    assert "50 things moved: to drawer" in page_text(answer)
    assert "Take all of it back" in page_text(answer)
    act = ActOnMany.objects.get()
    answer = signed_in.post(reverse("take_back_act_on_many", args=[act.pk]), {"key": "p2"}, follow=True)
    assert "Taken back" in page_text(answer)
    assert set(now(fifty, "place__name")) == {"wall"}


def test_the_page_weighs_many_and_keeps_what_was_typed_where_one_cannot_be_read(signed_in, fifty):
    two = fifty[:2]
    asked = {"item": [each.pk for each in two], "do": "find"}
    page = signed_in.post(reverse("together", args=["thread"]), asked)
    assert "Note what was found" in page_text(page)
    typed = asked | {"asked": "yes", "key": "w1", f"found-{two[0].pk}": "350 m", f"found-{two[1].pk}": "many"}
    refused = signed_in.post(reverse("together", args=["thread"]), typed)
    assert refused.status_code == 422
    assert 'value="350 m"' in refused.content.decode()
    assert set(now(two, "on_hand")) == {1_000_000}
    done = signed_in.post(
        reverse("together", args=["thread"]), typed | {f"found-{two[1].pk}": "half"}, follow=True
    )
    assert "2 things weighed or counted" in page_text(done)
    assert now(two, "on_hand") == [350_000, 500_000]


def test_commands_do_list_and_take_back(fifty, capsys):
    a_place("drawer")
    call_command("together", "move", fifty[0].label, fifty[1].label, place="drawer", format="json")
    made = json.loads(capsys.readouterr().out)
    assert [each["after"] for each in made["act"]["things"]] == ["drawer", "drawer"]
    call_command("together", "find", f"{fifty[0].label}=350m", format="json")
    capsys.readouterr()
    call_command("together", "list", format="json")
    assert len(json.loads(capsys.readouterr().out)["acts"]) == 2
    call_command("together", "take-back", str(made["act"]["id"]), format="json")
    assert json.loads(capsys.readouterr().out)["act"]["taken_back"] is True
    assert now(fifty[:2], "place__name") == ["wall", "wall"]


def test_an_act_is_said_as_the_books_have_it_and_said_anew_from_them(fifty):
    shade = a_shade("R2")
    one, two = (StockItem.objects.get(pk=a_spool(shade).pk) for _ in range(2))
    moved = move_many(fifty, place=a_place("rack: the left one"), **said()).act
    away = move_many([one, two], place=a_place("rack"), **said()).act
    back = move_many([one], place=None, **said()).act
    gone = retire_many([two], reference="", **said()).act
    for act in (moved, away, back, gone):
        assert act_in_words(act) == act.what
    assert (back.what, gone.what) == ("1 thing moved: to no place", "1 thing taken off the shelf")
    with override("de"):
        assert retire_many([one], reference="", **said()).act.what == "1 thing taken off the shelf"
