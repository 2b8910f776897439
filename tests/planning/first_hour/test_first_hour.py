"""The first hour: an empty workshop, one stitch file, the spools in the hand, and an honest answer."""

from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from inventory.catalogue.in_own_words import SpoolInWords, how_much, own_bobbins, own_spool
from inventory.compute.lengths import ScaleReading
from inventory.compute.typical import typical_empty_mg, typical_tex
from inventory.compute.weighing import FILL_LEVELS, length_sigma
from inventory.ledger.check import ledger_problems
from inventory.models import BobbinBatch, PutUp, Shade, Spool, ThreadRange
from planning.models import Fabric, Hoop, Machine
from tests.factories import NOW, a_key
from tests.pages import page_text

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#2f6f9f"


@pytest.fixture
def asked_colours(signed_in: Client, stitch_file: Callable[..., Path]) -> str:
    """Return the address at which the colours of a file in red and blue are asked for."""
    path = stitch_file(RED, BLUE)
    sent = SimpleUploadedFile(path.name, path.read_bytes())
    answer = signed_in.post("/first-hour/", {"stitch_files": sent, "pieces": "24"})
    assert answer.status_code == 302
    return str(answer["Location"])


def owns(block: int = 1, **said: str) -> dict[str, str]:
    return {"block": str(block), "key": a_key(), "answer": "own", "weight_label": "40", "full": "1000"} | said


def answered(client: Client, address: str, said: dict[str, str]) -> str:
    """Answer one colour and return where the next is asked for."""
    came = client.post(address, said)
    assert came.status_code == 302, came.context["rows"][0][1].errors
    return str(came["Location"]).partition("#")[0]


def test_an_empty_workshop_comes_to_an_answer_in_the_spools_own_words(
    signed_in: Client, asked_colours: str
) -> None:
    address = answered(
        signed_in, asked_colours, owns(1, maker="Skerry", code="147", looks="half", fibre="polyester")
    )
    address = answered(signed_in, address, owns(2, looks="full"))
    assert "enough for all" in page_text(signed_in.get(address))
    onward = signed_in.get(address).context["onward"]
    said = {"key": a_key(), "machine": "one", "hoop": "130x180", "cloth": "woven", "bobbins": "12"}
    sheet = signed_in.post(onward, said)["Location"]
    plan = signed_in.get(sheet).context["plan"]
    chosen = [(thread.choice.shade.code, thread.verdict) for thread in plan.threads]
    assert chosen == [("147", "enough"), ("colour 2", "enough")]
    assert plan.bobbins.verdict == "enough"
    assert Machine.objects.get().hoops.get() == Hoop.objects.get()
    assert Fabric.objects.get().layers.count() == 1
    assert ledger_problems() == []


def test_many_colours_are_asked_for_some_at_a_time(
    signed_in: Client, stitch_file: Callable[..., Path]
) -> None:
    colours = [f"#{number:02x}{255 - number:02x}80" for number in range(0, 250, 25)]
    path = stitch_file(*colours)
    sent = SimpleUploadedFile(path.name, path.read_bytes())
    address = str(signed_in.post("/first-hour/", {"stitch_files": sent, "pieces": "24"})["Location"])
    first = signed_in.get(address)
    assert [row.number for row, _, _ in first.context["rows"]] == list(range(1, 9))
    assert "Go on, leave the rest open" in page_text(first)
    came = signed_in.post(address, {"block": "8", "no": "yes"})["Location"]
    assert came.endswith("#colour-9")
    second = signed_in.get(came.partition("#")[0])
    assert [row.number for row, _, _ in second.context["rows"]] == [9, 10]
    # What is refused is shown where it was asked, whichever page the address names.
    refused = signed_in.post(
        came.partition("#")[0], {"block": "2", "answer": "own", "key": a_key(), "looks": "weigh"}
    )
    assert refused.status_code == 422
    assert [row.number for row, _, _ in refused.context["rows"]] == list(range(1, 9))


def test_what_is_only_guessed_is_marked_and_less_sure(signed_in: Client, asked_colours: str) -> None:
    answered(signed_in, asked_colours, owns(maker="Skerry", code="147", looks="half"))
    range = ThreadRange.objects.get()
    assert (range.tex, range.tex_is_nominal, range.weight_label) == (typical_tex("40").value, True, "40")
    spool = Spool.objects.get()
    assert (spool.on_hand, spool.known) == (500_000, "judged")
    assert spool.put_up is not None
    assert spool.put_up.tare_mg is None


def test_a_weighing_without_an_empty_weight_counts_on_a_typical_one() -> None:
    said = SpoolInWords(gross=ScaleReading(28_000, 1_000))
    range = ThreadRange(tex=34.0, tex_is_nominal=True, fibre="polyester")
    typical = typical_empty_mg(1_000_000)
    length_mm, sigma_mm, known = how_much(said, range)
    assert (length_mm, known) == (round((28_000 - typical.value) / 34 * 1000), "weighed")
    exactly = length_sigma(
        gross_mg=28_000,
        tare_mg=typical.value,
        tex=34.0,
        scale_resolution_mg=1_000,
        tare_sigma_mg=0.3 * typical.value,
        tex_relative_sigma=10 / 34 / 3**0.5,
        moisture_relative_sigma=0.25 * 0.004 / 1.004,
    )
    assert sigma_mm == pytest.approx(exactly)


def test_a_spool_lighter_than_a_typical_empty_one_is_taken_for_empty() -> None:
    range = ThreadRange(tex=34.0, tex_is_nominal=True, fibre="polyester")
    length_mm, sigma_mm, _ = how_much(SpoolInWords(gross=ScaleReading(9_000, 1_000)), range)
    assert length_mm == 0
    assert sigma_mm is not None
    assert sigma_mm > 0


def test_the_same_request_sent_twice_brings_one_spool() -> None:
    key = a_key()
    said = SpoolInWords(name="red", level=FILL_LEVELS["half"])
    first, again = (own_spool(said, key=key, at=NOW, by=None) for _ in range(2))
    assert first.pk == again.pk
    assert (Spool.objects.count(), Shade.objects.count()) == (1, 1)
    bobbins = [own_bobbins("small", 5, key="b" + key, at=NOW, by=None) for _ in range(2)]
    assert bobbins[0].pk == bobbins[1].pk
    assert BobbinBatch.objects.get().on_hand == 5


def test_a_thread_that_is_here_already_is_asked_about_and_not_counted_twice(
    signed_in: Client, asked_colours: str
) -> None:
    address = answered(signed_in, asked_colours, owns(1, maker="Skerry", code="147", looks="half"))
    again = owns(2, maker="skerry", code="147", looks="half")
    refused = signed_in.post(address, again)
    assert refused.status_code == 422
    assert "is on the shelf already" in page_text(refused)
    address = answered(signed_in, address, again | {"which": "same"})
    assert Spool.objects.count() == 1
    assert [row.is_answered for row, _, _ in signed_in.get(address).context["rows"]] == [True, True]
    answered(signed_in, address, owns(2, maker="Skerry", code="147", looks="full", which="another"))
    assert Spool.objects.count() == 2
    assert (Shade.objects.count(), PutUp.objects.count()) == (1, 1)


def test_something_near_is_of_the_colour_that_it_is_said_to_be(signed_in: Client, asked_colours: str) -> None:
    answered(signed_in, asked_colours, owns(answer="near", colour="dark blue", looks="half"))
    assert "blue" in Shade.objects.get().plain_name
    refused = signed_in.post(asked_colours, owns(answer="near", colour="gloomy", looks="half"))
    assert "is no colour known here" in page_text(refused)


def test_no_is_an_answer_and_any_question_may_stay_open(signed_in: Client, asked_colours: str) -> None:
    address = answered(signed_in, asked_colours, {"block": "1", "no": "yes"})
    assert "Not owned: colour 1" in page_text(signed_in.get(address))
    onward = signed_in.get(address).context["onward"]
    sheet = signed_in.post(onward, {"key": a_key()})
    assert signed_in.get(sheet["Location"]).status_code == 200
    assert [each.objects.count() for each in (Machine, Hoop, Spool)] == [0, 0, 0]


def test_odd_addresses_and_answers_are_no_errors_of_the_site(signed_in: Client, asked_colours: str) -> None:
    path = asked_colours.partition("?")[0]
    for address in (path, f"{path}?pieces=0", f"{path}?pieces=x&no=y&pin=7", f"{path}?pin=1=Nobody+99"):
        assert signed_in.get(address).status_code == 200
    assert signed_in.post(asked_colours, {"block": "77"}).status_code == 302
    assert signed_in.post(asked_colours, {"block": "1"}).status_code == 422
    measured = owns(looks="measure", thread_across="31", full_across="20", core_across="25")
    assert signed_in.post(asked_colours, measured).status_code == 422
    assert not Spool.objects.exists()
    text = SimpleUploadedFile("letter.pes", b"Dear all")
    assert signed_in.post("/first-hour/", {"stitch_files": text, "pieces": "3"}).status_code == 422
