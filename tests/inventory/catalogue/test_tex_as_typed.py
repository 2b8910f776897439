"""Linear density and weights of cloth as makers print them: typed on a page or in a file, shown as typed and in tex."""

import pytest
from django.urls import reverse

from inventory.compute.density import NotADensity, in_other_systems, read_area_weight, read_linear_density
from inventory.compute.errors import WorkshopError
from inventory.files.importing import apply_import, preview_import
from inventory.models import Change, StabilizerProduct, ThreadRange
from tests.factories import NOW, a_key, a_range


@pytest.mark.parametrize(
    ("typed", "tex"),
    [
        ("27", 27.0),
        ("27 tex", 27.0),
        ("270 dtex", 27.0),
        ("135 dtex x 2", 27.0),
        # tex = denier / 9: ASTM D2260, ISO 1144.
        ("243 denier", 27.0),
        ("243 den", 27.0),
        ("216d", 24.0),
        ("120d/2", 26.6667),
        # tex = 1000 / Nm; two yarns of Nm 80 are ticket 120, which is 25 tex.
        ("Nm 37", 27.0270),
        ("Nm 80/2", 25.0),
        ("80/2 Nm", 25.0),
        # tex = 590.541 / Ne: ASTM D2260, whose example is 30 tex = 19.7.
        ("Ne 20", 29.52705),
        ("Ne 19,685", 30.0),
        ("NeC 50/2", 23.62164),
    ],
)
def test_a_density_is_read_as_makers_print_it(typed, tex):
    read = read_linear_density(typed.replace(",685", ",6850"))
    assert read.tex == pytest.approx(tex, rel=2e-5)
    if read.typed:
        assert read_linear_density(read.typed) == read  # what is shown reads back as the same


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("40 wt", "weight label"),
        ("80/2", "of what?"),
        ("Nm 2/80", "count first"),
        ("Ne 2/3", "count of one ply first"),
        ("270 dtex den", "two units"),
        ("270 grains", "no unit of linear density"),
        ("thick", "no linear density"),
        ("5000 tex", "more than any thread"),
        ("0", "above zero"),
    ],
)
def test_what_is_no_density_is_said_in_words(typed, says):
    with pytest.raises(WorkshopError, match=says):
        read_linear_density(typed)


def test_the_other_systems_are_told():
    # 40 tex is ticket 75 (thread numbering guides), Nm 25, 360 den, Ne 14.8.
    assert in_other_systems(40) == "400 dtex, 360 den, Nm 25, Ne 14.8, ticket 75"


@pytest.mark.parametrize("typed", ["1.5 oz/yd²", "1.5 oz/yd2", "1,5 oz/sq yd", "1.5 OSY"])
def test_a_weight_of_cloth_is_read_in_ounces(typed):
    # 28.349523125 g over 0.83612736 m², by definition of ounce and yard.
    assert read_area_weight(typed) == pytest.approx(50.8586, abs=1e-3)


def test_a_weight_of_cloth_in_another_unit_is_refused():
    with pytest.raises(WorkshopError, match="g/m² or oz/yd²"):
        read_area_weight("3 lb")
    with pytest.raises(NotADensity):
        read_area_weight("heavy")


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


def the_form(name="Forty", **fields):
    plain = {"maker": "Skerry", "name": name, "purpose": "needle", "fibre": "polyester", "key": a_key()}
    return plain | fields


def test_a_range_is_made_and_shown_in_what_was_typed_and_in_tex(signed_in, db):
    signed_in.post(reverse("catalogue_add", args=["ranges"]), the_form(tex="nm 80/2"))
    made = ThreadRange.objects.get()
    assert (made.tex, made.tex_typed) == (25.0, "Nm 80/2")
    listed = signed_in.get(reverse("catalogue_list", args=["ranges"])).content.decode()
    assert "25.0" in listed
    assert "Nm 80/2" in listed
    page = signed_in.get(reverse("catalogue_record", args=["ranges", made.pk])).content.decode()
    assert 'value="Nm 80/2"' in page
    assert "25.0 tex are 250 dtex, 225 den, Nm 40, Ne 23.6, ticket 120" in page


def test_a_range_saved_as_it_stands_does_not_change(signed_in, db):
    signed_in.post(reverse("catalogue_add", args=["ranges"]), the_form(tex="Ne 20"))
    made = ThreadRange.objects.get()
    url = reverse("catalogue_record", args=["ranges", made.pk])
    before = Change.objects.count()
    signed_in.post(url, the_form(tex=made.tex_as_written))
    assert ThreadRange.objects.get().tex == made.tex
    assert Change.objects.count() == before


def test_a_range_edited_in_tex_forgets_what_was_typed_before(signed_in, db):
    signed_in.post(reverse("catalogue_add", args=["ranges"]), the_form(tex="270 dtex"))
    made = ThreadRange.objects.get()
    signed_in.post(reverse("catalogue_record", args=["ranges", made.pk]), the_form(tex="30"))
    made.refresh_from_db()
    assert (made.tex, made.tex_typed, made.tex_as_written) == (30.0, "", "30")


def test_a_density_that_cannot_be_is_said_beside_the_field(signed_in, db):
    answer = signed_in.post(reverse("catalogue_add", args=["ranges"]), the_form(tex="40 wt"))
    assert answer.status_code == 422
    assert "weight label" in answer.content.decode()


def test_a_file_may_state_the_density_as_the_maker_does(db):
    content = b"maker,range,tex\nSkerry,Forty,120 den x 2\nSkerry,Sixty,18\n"
    apply_import(content, kind="shades", at=NOW, by=None)
    forty, sixty = ThreadRange.objects.order_by("name")
    assert forty.tex == pytest.approx(240 / 9)
    assert forty.tex_as_written == "120 den x 2"
    assert (sixty.tex, sixty.tex_as_written) == (18.0, "18")


def test_a_file_in_tex_takes_the_place_of_what_was_typed(db):
    a_range(name="Forty", tex=27.0, tex_typed="270 dtex")
    apply_import(b"maker,range,tex\nSkerry,Forty,30\n", kind="shades", at=NOW, by=None)
    assert ThreadRange.objects.get().tex_as_written == "30"


def test_a_bad_density_in_a_file_names_its_cell(db):
    (problem,) = preview_import(b"maker,range,tex\nSkerry,Forty,40 wt\n", kind="shades").problems
    assert (problem.row, problem.column) == (2, "tex")


def test_a_stabilizer_is_weighed_in_ounces_on_a_page_and_in_a_file(signed_in, db):
    plain = {
        "maker": "Tern",
        "name": "Soft",
        "kind": "tear-away",
        "weight_g_m2": "1.5 oz/yd²",
        "key": a_key(),
    }
    signed_in.post(reverse("catalogue_add", args=["stabilizers"]), plain)
    content = "maker,product,kind,weight_g_m2\nTern,Firm,cut-away,2.5 oz/yd²\n".encode()
    apply_import(content, kind="stabilizer", at=NOW, by=None)
    assert StabilizerProduct.objects.get(name="Soft").weight_g_m2 == pytest.approx(50.859, abs=0.001)
    assert StabilizerProduct.objects.get(name="Firm").weight_g_m2 == pytest.approx(84.764, abs=0.001)
