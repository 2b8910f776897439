"""Days and moments have one form for each kind of place, in each language, and no line breaks within them."""

import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.template import Context, Template
from django.utils.formats import date_format
from django.utils.translation import override

from inventory.acting import days
from inventory.compute.units import METRIC

HOUSE = Path(__file__).resolve().parents[3]
DAY, MOMENT = date(2026, 11, 5), datetime(2026, 11, 5, 22, 11, tzinfo=UTC)
FORMS = {
    "told_day": ("Thu 5 Nov 2026", "Do, 5. Nov 2026"),
    "near_day": ("Thu 5 Nov", "Do, 5. Nov"),
    "plain_day": ("5 Nov 2026", "5. Nov 2026"),
    "letter_day": ("5 November 2026", "5. November 2026"),
    "this_day": ("Thursday 5 November", "Donnerstag, 5. November"),
    "told_month": ("November 2026", "November 2026"),
    "short_month": ("Nov 2026", "Nov 2026"),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(("language", "place"), [("en-gb", 0), ("de", 1)])
def test_each_kind_of_place_has_one_form(form, language, place):
    with override(language):
        assert getattr(days, form)(DAY) == FORMS[form][place]


@pytest.mark.parametrize(
    ("language", "day", "moment"), [("en-gb", "5 Nov 2026", "22:11"), ("de", "5. Nov 2026", "22:11")]
)
def test_what_is_left_to_django_is_written_alike(language, day, moment, settings):
    settings.TIME_ZONE = "UTC"
    with override(language):
        assert days.told_moment(MOMENT) == f"{day}, {moment}"
        for written, form in (
            (day, "DATE_FORMAT"),
            (moment, "TIME_FORMAT"),
            (f"{day}, {moment}", "DATETIME_FORMAT"),
        ):
            assert date_format(MOMENT, form) == written
        page = Template("{% load i18n %}{% blocktranslate %}{{ at }}{% endblocktranslate %}|{{ at }}")
        assert page.render(Context({"at": MOMENT})) == f"{day}, {moment}|{day}, {moment}"


def test_no_line_breaks_within_a_day_or_within_a_figure_and_its_unit():
    page = Template(
        "{{ day|day }} {{ at|moment }} {{ mm|size:units }} {{ mm|thread_length:units }} {{ 85|minutes }}"
    )
    said = page.render(Context({"day": DAY, "at": MOMENT, "mm": 12_000, "units": METRIC}))
    assert said.split(" ") == [
        "Thu\xa05\xa0Nov\xa02026", "5\xa0Nov\xa02026,\xa022:11", "1,200.0\xa0cm", "12.0\xa0m", "1\xa0h\xa025\xa0min"
    ]  # fmt: skip


def test_no_page_and_no_module_has_a_form_of_its_own():
    own = re.compile(
        r"\|(?:date|time)\b(?!:['\"](?:Y-m-d|D|j|M)['\"])|date_format\(|dateformat import|dateStyle"
    )
    found = [
        f"{path.relative_to(HOUSE)}: {line.strip()}"
        for app in ("workshop", "inventory", "planning")
        for path in sorted((HOUSE / app).rglob("*"))
        if path.suffix in {".html", ".py", ".js", ".txt"}
        and path != HOUSE / "inventory" / "acting" / "days.py"
        for line in path.read_text(encoding="utf-8").splitlines()
        if own.search(line)
    ]
    assert found == []
