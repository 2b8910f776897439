"""The scan box: what it reads, what it books, and that booking twice books once."""

import pytest
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.compute.units import METRIC, Units
from inventory.ledger import ledger_problems
from inventory.models import Entry, StockItem
from inventory.shelf import words
from inventory.shelf.reads import item_by_label
from inventory.shelf.scan_box import Meant, NotAMovement, Scanned, movement_meant, read_code
from tests.factories import a_put_up, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text

YARDS = Units(length="yd", weight="oz", size="in")


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


def second_step(client, item, amount, **more):
    """Send the second step as the first one offers it; return the page that it leads to."""
    page = client.get(reverse("scan"), {"code": item.label})
    key = page.context["key"]
    return client.post(
        reverse("scan"), {"code": item.label, "key": key, "amount": amount} | more, follow=True
    )


def held(item):
    return StockItem.objects.get(pk=item.pk).on_hand


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("S0042", Scanned("S0042")),
        ("  s0042 ", Scanned("s0042")),
        ("HTTPS://THREAD.EXAMPLE/S/S0042", Scanned("S0042")),
        ("https://thread.example/s/S0042/", Scanned("S0042")),
        ("HTTP://192.168.1.20:8000/S/S0042", Scanned("S0042")),
        ("https://thread.example/shelf/s/top%20drawer/", Scanned("top drawer")),
        ("S0042 12 m", Scanned("S0042", "12 m")),
    ],
)
def test_a_label_code_is_read_however_it_was_scanned(typed, read):
    assert read_code(typed) == read


@pytest.mark.parametrize(
    ("typed", "kind", "units", "meant"),
    [
        ("12 m", "spool", METRIC, Meant("take", 12_000)),
        ("12,5 m", "spool", METRIC, Meant("take", 12_500)),
        ("-12", "spool", METRIC, Meant("take", 12_000)),
        ("−10", "spool", YARDS, Meant("take", 9_144)),
        ("15 yd", "spool", METRIC, Meant("take", 13_716)),
        ("52.4 g", "spool", METRIC, Meant("weigh", 52_400)),
        ("2 oz", "spool", METRIC, Meant("weigh", 56_699)),
        ("= 400 m", "spool", METRIC, Meant("count", 400_000)),
        ("=400", "spool", METRIC, Meant("count", 400_000)),
        ("half", "spool", METRIC, Meant("judge", level="half")),
        ("Nearly  empty", "spool", METRIC, Meant("judge", level="nearly empty")),
        ("empty", "spool", METRIC, Meant("count", 0)),
        ("3", "bobbins", METRIC, Meant("take", 3)),
        ("-", "bobbins", METRIC, Meant("take", 1)),
        ("-", "offcut", METRIC, Meant("take", 1)),
        ("= 18", "needles", METRIC, Meant("count", 18)),
        ("40", "roll", METRIC, Meant("take", 400)),
        ("1.2 m", "roll", METRIC, Meant("take", 1_200)),
        ("8", "roll", YARDS, Meant("take", 203)),
        ("12", "part_bobbin", METRIC, Meant("take", 12_000)),
    ],
)
def test_the_unit_decides_what_is_meant(typed, kind, units, meant):
    assert movement_meant(typed, kind=kind, units=units) == meant


@pytest.mark.parametrize(
    ("typed", "kind", "says"),
    [
        ("52", "spool", "what you took or what the scale shows"),
        ("-", "spool", "say how much"),
        ("12 parsecs", "spool", "neither a length nor a weight"),
        ("50 g", "roll", "Only spools are weighed"),
        ("half", "bobbins", "Only spools are judged"),
        ("2.5", "bobbins", "not a whole number"),
        ("1.500 m", "spool", "could be 1500 or 1.5"),
        ("many", "spool", "no number"),
    ],
)
def test_what_could_mean_two_things_is_asked_about_and_never_guessed(typed, kind, says):
    with pytest.raises(WorkshopError, match=says):
        movement_meant(typed, kind=kind, units=METRIC)


def test_a_bare_number_on_a_spool_names_both_readings():
    with pytest.raises(NotAMovement, match=r"Type 52 yd for a length, or 52 oz for a weight"):
        movement_meant("52", kind="spool", units=YARDS)


def test_a_label_leads_to_its_thing_in_capitals_or_not(signed_in):
    spool = a_spool()
    response = signed_in.get(reverse("label", args=[spool.label.lower()]))
    assert response.url == reverse("item", args=[spool.label])


@pytest.mark.parametrize("address", ["/s/{}/", "/s/{}", "/S/{}"])
def test_the_address_in_a_code_on_a_label_leads_to_its_thing(signed_in, address):
    spool = a_spool()
    assert signed_in.get(address.format(spool.label)).url == reverse("item", args=[spool.label])


def test_a_label_that_nothing_carries_says_so(signed_in):
    response = signed_in.get(reverse("label", args=["S9999"]))
    assert response.status_code == 404
    assert "Nothing carries S9999" in response.content.decode()


def test_the_first_step_shows_the_thing_and_asks_how_much(signed_in):
    spool = a_spool(a_shade("R1", name="harbour red"))
    page = page_text(signed_in.get(reverse("scan"), {"code": f"HTTPS://SHELF.EXAMPLE/S/{spool.label}"}))
    assert "harbour red" in page
    assert "1,000.0 m" in page
    assert 'name="amount"' in page


def test_a_code_that_nothing_carries_is_kept_in_the_box(signed_in):
    response = signed_in.get(reverse("scan"), {"code": "S9999"})
    assert response.status_code == 422
    assert 'value="S9999"' in response.content.decode()
    assert "Nothing on the shelf carries S9999" in response.content.decode()


def test_a_length_is_taken_and_the_result_can_be_undone(signed_in):
    spool = a_spool()
    page = second_step(signed_in, spool, "12 m").content.decode()
    assert held(spool) == 988_000
    assert f"Took 12.0 m off {spool.label}; 988.0 m left." in page
    entry = Entry.objects.get(item=spool, reason="use")
    assert reverse("take_back", args=[entry.pk]) in page

    undone = signed_in.post(
        reverse("take_back", args=[entry.pk]), {"back": "scan"}, follow=True
    ).content.decode()
    assert held(spool) == 1_000_000
    assert f"Taken back: {spool.label} holds 1,000.0 m." in undone
    assert ledger_problems() == []


def test_a_weight_sets_the_spool_to_what_the_scale_tells(signed_in):
    spool = a_spool()  # 12 g empty, tex 27
    page = second_step(signed_in, spool, "25.5 g").content.decode()
    assert held(spool) == 500_000
    assert "holds 500.0 m" in page
    assert StockItem.objects.get(pk=spool.pk).known == "weighed"


def test_a_finer_reading_makes_the_length_surer(signed_in):
    coarse, fine = a_spool(), a_spool()
    second_step(signed_in, coarse, "25 g")
    second_step(signed_in, fine, "25.00 g")
    fine.refresh_from_db()
    coarse.refresh_from_db()
    assert 0 < (fine.sigma or 0) < (coarse.sigma or 0)


def test_more_than_a_full_spool_is_booked_only_by_one_who_is_sure(signed_in):
    spool = a_spool(metres=500)
    response = second_step(signed_in, spool, "120 g")
    assert response.status_code == 422
    assert 'value="120 g"' in response.content.decode()
    assert 'name="sure"' in response.content.decode()
    assert held(spool) == 500_000
    second_step(signed_in, spool, "120 g", sure="on")
    assert held(spool) == 4_000_000


def test_a_spool_whose_empty_weight_is_unknown_says_what_to_do(signed_in):
    shade = a_shade()
    a_put_up(shade.range, metres=1000, tare_mg=None)
    spool = a_spool(shade)
    page = second_step(signed_in, spool, "40 g").content.decode()
    assert "empty weight" in page
    assert held(spool) == 1_000_000


def test_pieces_are_taken_one_by_one_with_a_minus_sign(signed_in):
    batch = some_bobbins(count=20)
    second_step(signed_in, batch, "-")
    second_step(signed_in, batch, "3")
    assert held(batch) == 16


def test_the_next_label_instead_of_a_quantity_moves_nothing_and_goes_on(signed_in):
    first, second = a_spool(), a_spool(a_shade(name="deep blue"))
    page = second_step(signed_in, first, second.label)
    assert page.context["scanned"].item.pk == second.pk
    assert held(first) == held(second) == 1_000_000


def test_nothing_typed_moves_nothing(signed_in):
    spool = a_spool()
    page = second_step(signed_in, spool, "").content.decode()
    assert f"Nothing was moved on {spool.label}." in page
    assert held(spool) == 1_000_000


def test_code_and_quantity_in_one_go_are_offered_for_a_second_enter(signed_in):
    spool = a_spool()
    page = signed_in.get(reverse("scan"), {"code": f"{spool.label} 12 m"}).content.decode()
    assert 'value="12 m"' in page
    assert held(spool) == 1_000_000


def test_more_than_there_is_is_refused_and_what_was_typed_is_kept(signed_in):
    spool = a_spool()
    response = second_step(signed_in, spool, "1200 m")
    assert response.status_code == 422
    assert 'value="1200 m"' in response.content.decode()
    assert "cannot be taken" in response.content.decode()
    assert held(spool) == 1_000_000


def test_the_same_step_sent_twice_books_once(signed_in):
    spool = a_spool()
    key = signed_in.get(reverse("scan"), {"code": spool.label}).context["key"]
    for _ in range(2):
        signed_in.post(reverse("scan"), {"code": spool.label, "key": key, "amount": "12 m"})
    assert held(spool) == 988_000
    assert Entry.objects.filter(item=spool, reason="use").count() == 1


def test_a_step_without_a_key_is_refused(signed_in):
    spool = a_spool()
    response = signed_in.post(reverse("scan"), {"code": spool.label, "amount": "12 m"})
    assert response.status_code == 422
    assert held(spool) == 1_000_000


def test_in_place_only_the_box_is_answered_and_the_result_is_announced(signed_in):
    spool = a_spool()
    in_place = {"HX-Request": "true"}
    step = signed_in.get(reverse("scan"), {"code": spool.label}, headers=in_place)
    assert "<html" not in step.content.decode()
    sent = {"code": spool.label, "key": step.context["key"], "amount": "12 m"}
    answer = signed_in.post(reverse("scan"), sent, headers=in_place)
    page = answer.content.decode()
    assert 'id="scan-said" hx-swap-oob="innerHTML"' in page
    assert f"Took 12.0 m off {spool.label}" in page
    assert 'name="code"' in page


def test_a_refusal_in_place_is_drawn_too(signed_in):
    answer = signed_in.get(reverse("scan"), {"code": "S9999"}, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    assert "Nothing on the shelf carries S9999" in answer.content.decode()


def test_yards_and_ounces_for_those_who_use_them(signed_in, person):
    from workshop.models import Preference

    Preference.objects.create(user=person, length_unit="yd", weight_unit="oz")
    spool = a_spool()
    page = second_step(signed_in, spool, "-10").content.decode()
    assert held(spool) == 1_000_000 - 9_144
    assert "Took 10.0 yd off" in page


def test_a_roll_is_cut_shorter_by_what_was_taken(signed_in):
    roll = a_roll(metres=10)
    page = second_step(signed_in, roll, "40 cm").content.decode()
    assert held(roll) == 9_600
    assert "960.0 cm left" in page


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_visitor_is_asked_to_sign_in_and_books_nothing(client, person, method):
    spool = a_spool()
    sent = {"code": spool.label, "key": "k", "amount": "12 m"}
    assert getattr(client, method)(reverse("scan"), sent).url.startswith(reverse("sign_in"))
    assert held(spool) == 1_000_000


def test_a_label_that_a_person_wrote_by_hand_is_found_too(signed_in):
    spool = a_spool()
    StockItem.objects.filter(pk=spool.pk).update(label="red/left 2")
    found = item_by_label("RED/LEFT 2")
    assert found is not None
    assert signed_in.get(reverse("item", args=["red/left 2"])).status_code == 200


def test_what_a_spool_looks_like_is_typed_in_the_reader_s_language_too(monkeypatch):
    monkeypatch.setattr(words, "_", {"half": "Halb", "empty": "Leer"}.get)
    monkeypatch.setattr(words, "LEVELS", ("half", "empty"))
    for typed in ("halb", " HALB ", "half"):
        assert movement_meant(typed, kind="spool", units=METRIC) == Meant("judge", level="half")
    assert movement_meant("leer", kind="sheets", units=METRIC) == Meant("count", 0)
