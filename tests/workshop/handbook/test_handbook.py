"""The handbook: short pages that lead somewhere, alike in every language, found by the words people type."""

import importlib
import re
from pathlib import Path

import pytest
from django.core.management import get_commands
from django.test import Client
from django.urls import reverse

from inventory.management.examples import WithExample
from workshop.handbook.pages import ORDER, WRITTEN, HandbookPage, handbook, languages
from workshop.handbook.search import SMALL, folded, search

PICTURES = WRITTEN.parent / "static" / "workshop" / "pictures"
MOST_WORDS = 260
MOST_BYTES = 160_000
PAGES = [
    pytest.param(page, id=f"{each}-{page.slug}") for each in languages() for page in handbook(each).values()
]


def examples_of_commands() -> set[str]:
    """Return the example at the foot of each command's help; another test runs every one of them."""
    found = set()
    for name, app in get_commands().items():
        if app in ("workshop", "inventory", "planning"):
            command = importlib.import_module(f"{app}.management.commands.{name}").Command
            if issubclass(command, WithExample):
                found.add(command.example)
    return found


@pytest.mark.parametrize("page", PAGES)
def test_each_page_is_short_and_leads_somewhere(page: HandbookPage) -> None:
    assert page.title
    assert 40 < len(page.plain.split()) <= MOST_WORDS
    for kind, name, _place in page.links:
        if kind == "page":
            assert name in ORDER, name
        elif kind == "route":
            assert reverse(name)
        else:
            assert name in page.pictures


@pytest.mark.parametrize("language", languages())
def test_each_picture_is_there_in_the_language_of_its_page_and_small(language: str) -> None:
    shown = {name for page in handbook(language).values() for name in page.pictures}
    there = {path.stem: path for path in (PICTURES / language).glob("*.png")}
    assert set(there) == shown
    for path in there.values():
        assert path.stat().st_size < MOST_BYTES, path


@pytest.mark.parametrize(("language", "others"), [("en", "de"), ("de", "en")])
def test_pages_show_and_devices_keep_the_pictures_of_the_readers_language(
    signed_in: Client, language: str, others: str
) -> None:
    asks = {"HTTP_ACCEPT_LANGUAGE": language}
    kept = signed_in.get(reverse("handbook"), **asks).content.decode()
    for slug, page in handbook(language).items():
        read = signed_in.get(reverse("handbook_page", args=[slug]), **asks).content.decode()
        for name in page.pictures:
            address = f"pictures/{language}/{name}.png"
            assert address in read
            assert address in kept
            assert re.search(rf'<img alt="\w[^"]+" src="[^"]*{address}"', read)
        assert f"pictures/{others}/" not in read
    assert f"pictures/{language}/" in kept
    assert f"pictures/{others}/" not in kept


def test_a_picture_is_described_in_the_language_of_its_page() -> None:
    described = {
        language: re.findall(
            r"!\[([^\]]+)\]\(picture:", "".join(p.written for p in handbook(language).values())
        )
        for language in languages()
    }
    assert all(described.values())
    assert not set(described["en"]) & set(described["de"])


def test_every_command_that_it_shows_is_one_that_is_run_by_a_test() -> None:
    there = examples_of_commands()
    assert len(there) > 40
    shown = {line for each in languages() for page in handbook(each).values() for line in page.examples}
    assert shown - there == set()
    assert len(shown) > 30


@pytest.mark.parametrize("language", languages())
def test_a_language_leaves_nothing_out(language: str) -> None:
    assert {path.stem for path in (WRITTEN / language).glob("*.md")} == set(ORDER)
    for slug, page in handbook(language).items():
        first = handbook("en")[slug]
        assert page.links == first.links, slug
        assert page.examples == first.examples, slug
        for mark in (r"^\d+\. ", r"^- ", r"^\|", r"^> "):
            counted = [len(re.findall(mark, each.written, re.MULTILINE)) for each in (page, first)]
            assert counted[0] == counted[1] or mark == r"^> ", (slug, mark)


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ("weigh a spool", "spools"),
        ("how do I count a box", "stocktake"),
        ("spreadsheet", "lists"),
        ("no match", "plan"),
        ("what if it came first", "short"),
        ("applique", "designs"),
        ("promise", "jobs"),
        ("bobbin ran empty", "machine"),
        ("several names", "names"),
        ("finish", "finish"),
        ("dye lot order", "buying"),
        ("without network", "shop"),
        ("margin", "money"),
        ("passkey", "people"),
        ("backup", "safe"),
        ("shell", "commands"),
        ("nightwear", "care"),
        ("offcuts", "cutting"),
        ("dark blue", "colours"),
        ("stitch file answer", "first-answer"),
    ],
)
def test_the_page_that_people_look_for_comes_first(asked: str, expected: str) -> None:
    found = search(handbook("en-gb").values(), asked)
    assert found[0].page.slug == expected
    assert found[0].line


def test_nothing_is_found_by_nothing_and_by_what_is_not_there() -> None:
    pages = handbook("en").values()
    assert search(pages, "") == search(pages, "  …") == search(pages, "zeppelin") == []
    assert search(pages, "the")  # of small words alone at least something
    assert {folded(word) for word in SMALL} == SMALL


def test_a_language_without_a_handbook_reads_the_first() -> None:
    assert handbook("tlh") == handbook("en")


def test_the_pages_are_shown_and_kept(signed_in: Client) -> None:
    shown = signed_in.get(reverse("handbook")).content.decode()
    for slug in ORDER:
        address = reverse("handbook_page", args=[slug])
        assert address in shown
        page = signed_in.get(address).content.decode()
        assert handbook("en")[slug].title in page
        assert "(route:" not in page
        assert "(page:" not in page
    assert 'data-keep="/worker.js"' in shown
    assert signed_in.get(reverse("handbook_page", args=["zeppelin"])).status_code == 404
    words = signed_in.get(reverse("handbook_words")).json()["pages"]
    assert [each["address"] for each in words] == [reverse("handbook_page", args=[slug]) for slug in ORDER]


def test_the_search_in_the_header_leads_to_the_handbook_too(signed_in: Client) -> None:
    shown = signed_in.get(reverse("find"), {"q": "weigh a spool"}).content.decode()
    assert reverse("handbook_page", args=["spools"]) in shown
    assert "In the handbook" not in signed_in.get(reverse("find"), {"q": "zeppelin"}).content.decode()


def test_what_was_asked_stands_on_the_page_and_is_no_markup(signed_in: Client) -> None:
    shown = signed_in.get(reverse("handbook"), {"q": "weigh <b>spool"}).content.decode()
    assert "weigh &lt;b&gt;spool" in shown
    assert (
        "No page has all of these words"
        in signed_in.get(reverse("handbook"), {"q": "zeppelin"}).content.decode()
    )


def test_its_folder_holds_nothing_else() -> None:
    assert {path.suffix for path in Path(WRITTEN).rglob("*") if path.is_file()} <= {".md", ".py", ".pyc"}
