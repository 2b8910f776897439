"""Lists as people keep them: what is understood of them, what is asked, and that they land whole and once."""

import html
import io
import re

import pytest
from django.core.management import call_command
from django.urls import reverse

from fixtures.lists.make import TOLD, Told, ten_lists
from inventory import ledger
from inventory.compute.names.plain import colour_of_name
from inventory.files.listening.landing import StillAsked, land_list, usual_reading
from inventory.files.listening.reading import KeptList, read_kept_list
from inventory.files.listening.rows import Reading, understand
from inventory.ledger.check import ledger_problems
from inventory.models import Entry, ListShape, Shade, Spool, StockItem, ThreadRange
from tests.factories import NOW

LISTS = ten_lists()


@pytest.fixture(autouse=True)
def own_files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "files"


def read(text: str) -> KeptList:
    return read_kept_list(text.encode())


def landed(kept: KeptList, **reading: object):
    way = Reading(kept.guessed, **reading)  # type: ignore[arg-type]
    return land_list(kept, understand(kept, way), reading=way, at=NOW, by=None)


@pytest.mark.parametrize("name", LISTS)
def test_every_list_is_read_as_a_careful_person_reads_it(name):
    kept = read_kept_list(LISTS[name])
    rows = understand(kept, Reading(kept.guessed))
    asked = [row for row in rows if row.asked]
    assert Told(len(rows), sum(len(row.spools) for row in rows if not row.asked), len(asked)) == TOLD[name]


@pytest.mark.django_db
@pytest.mark.parametrize("name", LISTS)
def test_a_list_lands_whole_or_not_at_all_and_once(name):
    kept = read_kept_list(LISTS[name])
    if TOLD[name].asked:
        with pytest.raises(StillAsked):
            landed(kept)
        assert not Spool.objects.exists()
        assert not ThreadRange.objects.exists()
        return
    assert landed(kept).spools == TOLD[name].spools
    assert landed(kept).before
    assert Spool.objects.count() == TOLD[name].spools
    assert ledger_problems() == []


@pytest.mark.django_db
def test_what_the_words_say_is_what_lies_on_the_shelf():
    kept = read(
        "Brand,Colour no,Colour,Wt,Left,Qty,Box,Lot,Price,Our label\n"
        "Skerry,1147,dark blue,40 wt,half,1,A,L7,6.50,W-1\n"
        "Skerry,1147,dark blue,No. 40,new,2,a,,,\n"
        "Skerry,1200,,60,?,1,,,,\n"
        "Skerry,1300,red,60,none,0,,,,\n"
    )
    assert landed(kept).spools == 4
    half = Spool.objects.get(label="W-1")
    assert (half.on_hand, half.known, half.lot, str(half.place)) == (500_000, "judged", "L7", "A")
    assert half.sigma == 120_000
    assert str(half.price_paid) == "6.50"
    assert half.quantity_paid == 1_000_000
    sealed = Spool.objects.filter(known=StockItem.Known.SEALED)
    assert [each.on_hand for each in sealed] == [1_000_000, 1_000_000]
    assert {str(each.place) for each in sealed} == {"A"}
    assert {each.shade for each in [half, *sealed]} == {half.shade}
    assert half.shade.lab == colour_of_name("dark blue") or half.shade.hex
    unknown = Spool.objects.get(shade__code="1200")
    assert unknown.known == StockItem.Known.UNKNOWN
    assert unknown.shade.range.weight_label == "60"
    assert not Shade.objects.filter(code="1300").exists()
    assert {each.tex_is_nominal for each in ThreadRange.objects.all()} == {True}
    assert all(each.label[0] == "S" and len(each.label) == 5 for each in Spool.objects.exclude(label="W-1"))


@pytest.mark.django_db
def test_a_list_that_is_taken_back_is_taken_back_whole_and_may_come_again():
    kept = read("Colour,Left\nred,full\nblue,half\n")
    first = landed(kept)
    ledger.reverse(Entry.objects.filter(key=first.key).first(), key="back", at=NOW, by=None)
    assert not StockItem.objects.on_the_shelf().exists()
    again = landed(kept)
    assert not again.before
    assert again.key != first.key
    assert StockItem.objects.on_the_shelf().count() == 2


@pytest.mark.django_db
def test_how_a_list_was_read_is_remembered_for_lists_of_its_shape():
    kept = read("Thread,Stuff\n1147 red,half\n")
    assert kept.guessed == ("name", "left")
    landed(kept, maker="Skerry", full_mm=5_000_000, unit="yd")
    later = read("Thread,Stuff\n1148 blue,full\n")
    way, before = usual_reading(later, unit="m")
    assert before
    assert (way.maker, way.full_mm, way.unit) == ("Skerry", 5_000_000, "yd")
    assert ListShape.objects.count() == 1


@pytest.mark.parametrize(
    ("written", "column", "told"),
    [
        ("a few", "count", "How many are there?"),
        ("lots", "left", "How much is on it?"),
        ("W 1!", "label", "letters, digits"),
        ("cheap", "price", "what one spool cost"),
        ("longish", "full", "on a full one"),
        ("plastic", "fibre", "Which fibre"),
    ],
)
def test_what_is_not_understood_is_asked_and_an_answer_mends_it(written, column, told):
    kept = read(f"code,x\n1147,{written}\n")
    way = Reading(("code", column))
    (row,) = understand(kept, way)
    assert [told in each.reason for each in row.asked] == [True], row.asked
    (mended,) = understand(kept, way, mended={(2, 1): ""})
    assert mended.asked == []
    assert len(mended.spools) == 1
    assert understand(kept, way, left_out=[2]) == []


@pytest.mark.django_db
def test_from_the_page_to_the_shelf_with_an_answer_in_place(client, person):
    client.force_login(person)
    sent = client.post(
        reverse("own_list"), {"pasted": "Colour\tHow many\tLeft\nred\ta few\thalf\nblue\t2\tfull"}
    )
    page = client.get(sent.url).content.decode()
    assert "1 of 2 rows" in page
    assert "How many are there?" in page
    refused = client.post(sent.url, {"cell-2-1": "some"})
    assert refused.status_code == 422
    assert not Spool.objects.exists()
    done = client.post(sent.url, {"cell-2-1": "3"}, follow=True)
    assert Spool.objects.count() == 5
    assert "On the shelf now" in done.content.decode()
    assert "Take back" in done.content.decode()


@pytest.mark.django_db
def test_a_column_is_read_as_a_person_says(client, person):
    client.force_login(person)
    sent = client.post(reverse("own_list"), {"pasted": "Colour,Mark\nred,Tern\nblue,Tern\n"})
    query = {"unit": "m", "full": "1000", "column-0": "name", "column-1": "maker", "weight_label": "40"}
    page = client.get(sent.url, query).content.decode()
    assert "Tern red" in page
    client.post(f"{sent.url}?column-0=name&column-1=maker&unit=m&full=1000&weight_label=40")
    assert set(Spool.objects.values_list("shade__range__maker", flat=True)) == {"Tern"}
    twice = client.get(sent.url, query | {"column-1": "name"})
    assert twice.status_code == 422
    assert "Another column is" in twice.content.decode()


@pytest.mark.django_db
def test_what_was_shown_is_what_lands_though_another_list_was_read_otherwise_meanwhile(client, person):
    client.force_login(person)
    sent = client.post(reverse("own_list"), {"pasted": "Colour,Left\nred,half\n"})
    page = client.get(sent.url).content.decode()
    action = html.unescape(re.search(r'<form method="post" action="(\?unit=[^"]*)"', page)[1])
    landed(read("Colour,Left\nblue,half\n"), full_mm=5_000_000)
    client.post(sent.url + action)
    assert Spool.objects.latest("pk").on_hand == 500_000


@pytest.mark.django_db
def test_nothing_lands_while_it_is_not_said_how_the_columns_are_read(client, person):
    client.force_login(person)
    sent = client.post(reverse("own_list"), {"pasted": "Colour,Left\nred,half\n"})
    refused = client.post(f"{sent.url}?unit=m&full=1000&column-0=name&column-1=name")
    assert refused.status_code == 422
    assert "say first how the columns are read" in refused.content.decode()
    assert not Spool.objects.exists()


@pytest.mark.django_db
def test_the_page_asks_as_often_whatever_the_list_holds(client, person, django_assert_max_num_queries):
    client.force_login(person)
    lines = "\n".join(f"{number},half" for number in range(300))
    sent = client.post(reverse("own_list"), {"pasted": f"code,left\n{lines}"})
    with django_assert_max_num_queries(12):
        assert client.get(sent.url).status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize("sent", ["", "x", "\x00", "PK\x03\x04junk", "a," * 60 + "\n" + "b," * 60])
def test_what_is_no_list_is_refused_in_words(client, person, sent):
    client.force_login(person)
    assert client.post(reverse("own_list"), {"pasted": sent}).status_code in {302, 422}
    assert client.get(reverse("own_list_read", args=["0" * 64])).status_code == 404


@pytest.mark.django_db
def test_the_command_says_what_it_does_not_understand_and_lands_the_rest_when_told(tmp_path, capsys):
    path = tmp_path / "list.csv"
    path.write_bytes(LISTS["scribbled.csv"])
    with pytest.raises(SystemExit):
        call_command("import_list", str(path), stdout=io.StringIO())
    assert not Spool.objects.exists()
    said = io.StringIO()
    call_command("import_list", str(path), "--leave-out=2", "--leave-out=5", "--leave-out=6", stdout=said)
    assert "Understood: 2 of 2 rows, 4 spools." in said.getvalue()
    assert Spool.objects.count() == 4
