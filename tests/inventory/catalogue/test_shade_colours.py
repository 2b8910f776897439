"""A shade's colour from a meter's file or a photograph, with how well it is known, on page and command line."""

import io
import json
from io import StringIO

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse
from PIL import Image

from inventory.catalogue.colour_files import ReadingsNotRead, colour_for, read_meter_file, read_photograph
from inventory.catalogue.shade_colours import NoSuchShades, set_colours
from inventory.compute.colour.lab import delta_e_00, lab_from_hex
from inventory.compute.colour.photograph import PhotographUnclear
from inventory.files.importing import apply_import
from inventory.ledger.changes import history_of
from tests.factories import NOW, a_range, a_shade

METER = b"code,L,a,b,illuminant\n147,40.0,50.0,30.0,D65\n147,40.4,50.2,30.1,D65\n147,39.8,49.9,29.8,d65\n"
D50 = b"L;a;b;illuminant\n54,29;80,81;69,88;D50\n"


def picture(thread=(200, 60, 40), *, format="PNG"):
    pixels = np.full((80, 160, 3), 118, dtype=np.uint8)
    pixels[:, 80:] = thread
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, format)
    return file.getvalue()


def test_readings_of_one_code_are_averaged_and_their_spread_is_kept():
    found = read_meter_file(METER).colours["147"]
    assert [round(value, 2) for value in found.lab] == [40.07, 50.03, 29.97]
    assert found.count == 3
    assert found.spread > 0


def test_readings_under_d50_become_d65():
    found = read_meter_file(D50).colours[""]
    assert delta_e_00(tuple(lab_from_hex("#ff0000")), [tuple(found.lab)])[0] < 0.1


def test_nothing_is_guessed_of_the_light():
    unlit = b"L,a,b\n40,50,30\n"
    assert [problem.column for problem in read_meter_file(unlit).problems] == ["illuminant"]
    assert not read_meter_file(unlit, illuminant="D65").problems


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("140,0,0,D65,2", "L"),
        ("40,x,0,D65,2", "a"),
        ("40,0,,D65,2", "b"),
        ("40,0,nan,D65,2", "b"),
        ("40,0,0,A,2", "illuminant"),
        ("40,0,0,D65,10°", "observer"),
    ],
)
def test_each_bad_reading_is_named_with_its_row_and_column(row, column):
    file = read_meter_file(f"L,a,b,illuminant,observer\n40,0,0,D65,2°\n{row}\n".encode())
    (problem,) = file.problems
    assert (problem.row, problem.column) == (3, column)


def test_a_file_without_the_columns_is_refused():
    with pytest.raises(ReadingsNotRead, match="no column L, b"):
        read_meter_file(b"code,a\n1,2\n")
    with pytest.raises(ReadingsNotRead):
        read_meter_file(b"")


def test_a_file_of_other_codes_has_nothing_to_say():
    with pytest.raises(ReadingsNotRead, match="no reading of 9"):
        colour_for(read_meter_file(METER), ["9"])
    assert colour_for(read_meter_file(METER), ["9", "147"]).count == 3


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"no picture",
        b"GIF89a" + bytes(50),
        picture()[:150],
        b"\x89PNG\r\n\x1a\n" + bytes(200),
    ],
)
def test_what_is_no_photograph_is_refused_in_words(content):
    with pytest.raises(PhotographUnclear, match="no photograph that can be read"):
        read_photograph(content)


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_unpacked():
    file = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(file, "PNG")
    assert len(file.getvalue()) < 1_000_000
    with pytest.raises(PhotographUnclear, match="pixels"):
        read_photograph(file.getvalue())


def test_a_large_photograph_is_made_smaller_and_a_turned_one_upright():
    wide = Image.new("RGB", (4_000, 1_000), "#767676")
    exif = wide.getexif()
    exif[0x0112] = 6  # turned by a quarter
    file = io.BytesIO()
    wide.save(file, "JPEG", exif=exif)
    high, across, _ = read_photograph(file.getvalue()).shape
    assert high <= 2_000
    assert high > across


@pytest.mark.django_db
def test_the_colours_of_a_range_are_read_all_or_none():
    red, blue = a_shade("147"), a_shade("9", hex="#2040a0")
    file = read_meter_file(METER)
    (row,) = set_colours(a_range(), file.colours, at=NOW, by=None)
    assert row[0] == red
    red.refresh_from_db()
    assert (round(red.lab_l, 2), red.colour_source, red.sigma) == (40.07, "measured", red.colour_sigma)
    assert history_of(red).count() == 1
    before = blue.lab
    with pytest.raises(NoSuchShades, match="no shade 77"):
        set_colours(a_range(), {"9": file.colours["147"], "77": file.colours["147"]}, at=NOW, by=None)
    blue.refresh_from_db()
    assert blue.lab == before


@pytest.mark.django_db
def test_the_commands_tell_how_well_a_colour_is_known(tmp_path):
    shade = a_shade("147")
    meter, photo = tmp_path / "meter.csv", tmp_path / "thread.png"
    meter.write_bytes(METER)
    photo.write_bytes(picture())

    def run(*words):
        out = StringIO()
        call_command(*words, "--format", "json", stdout=out)
        return json.loads(out.getvalue())

    measured = run("shade_colour", "147", "--readings", str(meter))
    assert (measured["source"], measured["count"]) == ("measured", 3)
    of_photo = (
        "shade_colour",
        "147",
        "--photo",
        str(photo),
        "--card",
        "0,0,50,100",
        "--thread",
        "50,0,50,100",
    )
    looked_at = run(*of_photo)
    shade.refresh_from_db()
    assert (looked_at["saved"], shade.colour_source) == (False, "measured")
    assert (looked_at["plain_name"], looked_at["notes"]) == ("deep reddish orange", [])
    photographed = run(*of_photo, "--yes")
    assert photographed["saved"] is True
    assert photographed["source"] == "photo"
    assert photographed["sigma"] > measured["sigma"]
    shade.refresh_from_db()
    assert (shade.colour_source, round(shade.sigma, 2)) == ("photo", photographed["sigma"])
    typed = run("shade_colour", "147", "--colour", "#2040a0", "--source", "maker")
    assert (typed["source"], typed["sigma"]) == ("maker", 1.0)
    rows = run("read_colours", str(meter), "--range", "skerry forty")["colours"]
    assert [(row["readings"], row["changed"]) for row in rows] == [(3, True)]
    assert run("read_colours", str(meter), "--range", "skerry forty")["colours"][0]["changed"] is False


@pytest.mark.django_db
def test_a_command_refuses_in_words(tmp_path):
    a_shade("147")

    def refused(*words):
        out = StringIO()
        with pytest.raises(SystemExit) as stop:
            call_command(*words, stderr=out)
        assert stop.value.code == 1
        return out.getvalue()

    assert "cannot be read" in refused("shade_colour", "147", "--readings", str(tmp_path / "none.csv"))
    assert "--card" in refused("shade_colour", "147", "--photo", str(tmp_path / "none.png"))
    assert "No shade is called" in refused("shade_colour", "none", "--colour", "#123456")
    assert "no range" in refused("read_colours", "x.csv", "--range", "none")


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


def upload(content, name="readings.csv"):
    return SimpleUploadedFile(name, content)


def test_the_page_shows_what_it_found_before_it_counts(signed_in):
    shade = a_shade("147")
    address = reverse("shade_colour", args=[shade.pk])
    found = signed_in.post(address, {"form": "readings", "readings": upload(METER)})
    shade.refresh_from_db()
    assert shade.colour_source == "screen"
    use = found.context["use"]
    done = signed_in.post(address, {"form": "use"} | {name: use[name].value() for name in use.fields})
    assert done.status_code == 302
    shade.refresh_from_db()
    assert (shade.colour_source, round(shade.lab_l, 2)) == ("measured", 40.07)
    assert (
        "may be off by"
        in signed_in.get(reverse("catalogue_record", args=["shades", shade.pk])).content.decode()
    )


def test_the_page_reads_a_photograph(signed_in):
    shade = a_shade("147")
    address = reverse("shade_colour", args=[shade.pk])
    sent = {"form": "photograph", "card": "0, 0, 50, 100", "thread": "50 0 50 100"}
    page = signed_in.post(address, sent | {"photograph": upload(picture(), "thread.png")})
    assert page.context["found"].source == "photo"
    assert "Approximate" in page.content.decode()
    for changed, words in (
        ({"card": "0, 0, 50"}, "is no region"),
        ({"card": "90, 0, 50, 100"}, "beyond the picture"),
        ({"card": "25, 0, 50, 100"}, "not evenly grey"),
    ):
        refused = signed_in.post(address, sent | changed | {"photograph": upload(picture(), "thread.png")})
        assert refused.status_code == 422
        assert words in refused.content.decode()


def test_the_page_of_a_range_reads_all_its_colours(signed_in):
    shade = a_shade("147")
    address = reverse("range_readings", args=[shade.range_id])
    assert signed_in.get(address).status_code == 200
    page = signed_in.post(address, {"readings": upload(METER)})
    assert [row["shade"] for row in page.context["rows"]] == [shade]
    refused = signed_in.post(address, {"readings": upload(METER.replace(b"147", b"148"))})
    assert refused.status_code == 422
    assert "nothing was changed" in refused.content.decode()


def test_a_colour_typed_over_a_measured_one_is_no_longer_as_sure(signed_in):
    shade = a_shade("147")
    set_colours(shade.range, read_meter_file(METER).colours, at=NOW, by=None)
    shade.refresh_from_db()
    assert shade.sigma < 1.0
    form = {
        "range": shade.range_id,
        "code": "147",
        "name": "",
        "colour": "#2040a0",
        "colour_source": "screen",
    }
    sigma = f"{shade.colour_sigma:g}"
    signed_in.post(
        reverse("catalogue_record", args=["shades", shade.pk]),
        form | {"colour_sigma": sigma, "earlier": "", "key": "over"},
    )
    shade.refresh_from_db()
    assert (shade.colour_source, shade.colour_sigma) == ("screen", None)
    assert shade.sigma > 1.0


def test_a_colour_imported_over_a_measured_one_is_no_longer_as_sure(db):
    shade = a_shade("147")
    set_colours(shade.range, read_meter_file(METER).colours, at=NOW, by=None)
    content = b"maker,range,code,hex,colour_source\nSkerry,Forty,147,#2040a0,screen\n"
    apply_import(content, kind="shades", at=NOW, by=None)
    shade.refresh_from_db()
    assert (shade.hex, shade.colour_sigma) == ("#2040a0", None)
    set_colours(shade.range, read_meter_file(METER).colours, at=NOW, by=None)
    apply_import(b"maker,range,code,name\nSkerry,Forty,147,red\n", kind="shades", at=NOW, by=None)
    shade.refresh_from_db()
    assert (shade.name, shade.colour_source) == ("red", "measured")
    assert shade.colour_sigma is not None


def profile_with_red_and_green_exchanged() -> bytes:
    """Return an ICC profile (ICC.1:2001-04) of a screen that is sRGB but for its first two colours."""

    def fixed(*values):
        return b"".join(round(value * 65536).to_bytes(4, "big", signed=True) for value in values)

    xyz = {
        "rXYZ": (0.3851, 0.7169, 0.0971),
        "gXYZ": (0.4361, 0.2225, 0.0139),
        "bXYZ": (0.1431, 0.0606, 0.7141),
        "wtpt": (0.9642, 1.0, 0.8249),
    }
    tags = {name: b"XYZ " + bytes(4) + fixed(*values) for name, values in xyz.items()}
    curve = b"curv" + bytes(4) + (1).to_bytes(4, "big") + round(2.2 * 256).to_bytes(2, "big") + bytes(2)
    tags |= dict.fromkeys(("rTRC", "gTRC", "bTRC"), curve)
    words = b"exchanged\0"
    tags["desc"] = b"desc" + bytes(4) + len(words).to_bytes(4, "big") + words + bytes(80)
    tags["cprt"] = b"text" + bytes(4) + b"none\0"
    at, table, body = 128 + 4 + 12 * len(tags), b"", b""
    for name, data in tags.items():
        data += bytes(-len(data) % 4)
        table += name.encode() + (at + len(body)).to_bytes(4, "big") + len(data).to_bytes(4, "big")
        body += data
    header = bytearray(128)
    header[0:4] = (at + len(body)).to_bytes(4, "big")
    header[8:12], header[12:24], header[36:40] = b"\x02\x40\0\0", b"mntrRGB XYZ ", b"acsp"
    header[68:80] = fixed(0.9642, 1.0, 0.8249)
    return bytes(header) + len(tags).to_bytes(4, "big") + table + body


def test_a_picture_is_read_by_its_own_profile():
    plain = Image.new("RGB", (40, 40), (60, 200, 40))
    file = io.BytesIO()
    plain.save(file, "PNG", icc_profile=profile_with_red_and_green_exchanged())
    red, green, blue = read_photograph(file.getvalue())[0, 0].tolist()
    assert (red, green, blue) == (
        pytest.approx(200, abs=4),
        pytest.approx(60, abs=6),
        pytest.approx(40, abs=6),
    )


def test_a_profile_that_cannot_be_read_is_no_profile_to_guess_by():
    file = io.BytesIO()
    Image.new("RGB", (40, 40), "#767676").save(file, "PNG", icc_profile=b"no profile at all")
    with pytest.raises(PhotographUnclear, match="colour profile that cannot be read"):
        read_photograph(file.getvalue())


def test_swapped_rectangles_are_refused_on_the_page(signed_in):
    shade = a_shade("147")
    sent = {"form": "photograph", "card": "50, 0, 50, 100", "thread": "0, 0, 50, 100"}
    content = picture(thread=(30, 30, 60))
    page = signed_in.post(
        reverse("shade_colour", args=[shade.pk]), sent | {"photograph": upload(content, "t.png")}
    )
    assert page.status_code == 422
    assert "not swapped" in page.content.decode()
