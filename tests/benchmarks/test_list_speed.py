"""Speed of the lists: a page of a shelf of 10,000 spools beside the same page of one of 100."""

import statistics
from collections.abc import Iterator

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client
from django.urls import reverse

from inventory.models import Shade, Spool, StockItem
from tests.benchmarks.processor import processor_s
from tests.factories import a_put_up, a_range, a_shade
from workshop.models import Preference

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]
FEW, MANY, SHADES = 100, 10_000, 400
REPEATS = 9
MOST_TIMES = 3.0

ASKED: dict[str, dict[str, str]] = {
    "all": {},
    "the last page": {"page": "9999"},
    "words": {"q": "colour 7"},
    "lot": {"q": "L1"},
    "a maker": {"maker": "Skerry"},
    "low": {"low": "on"},
    "a near colour": {"near": "#1f4e79"},
    "by quantity": {"sort": "-left"},
    "by shade": {"sort": "shade"},
}


def lay_out(count: int, *, after: int, shades: list[Shade]) -> None:
    """Put spools on the shelf until there are ``count``, without their history: a list never reads it."""
    put_ups = {shade.range_id: a_put_up(shade.range).pk for shade in shades[:2]}
    items = StockItem.objects.bulk_create(
        StockItem(
            label=f"S{number:05}",
            kind=StockItem.Kind.SPOOL,
            on_hand=1_000 * (number * 37 % 1_000),
            lot=f"L{number % 2}",
            known=StockItem.Known.WEIGHED,
            sigma=5_000,
        )
        for number in range(after, count)
    )
    rows = [
        (item.pk, shade.pk, put_ups[shade.range_id])
        for item, shade in zip(items, _again(shades), strict=False)
    ]
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {Spool._meta.db_table} (stockitem_ptr_id, shade_id, put_up_id) VALUES (%s, %s, %s)",
            rows,
        )


def _again(shades: list[Shade]) -> Iterator[Shade]:
    while True:
        yield from shades


def median_ms(client: Client, address: str, asked: dict[str, str]) -> float:
    assert client.get(address, asked).status_code == 200
    return statistics.median(processor_s(lambda: client.get(address, asked)) * 1000 for _ in range(REPEATS))


def test_a_page_of_ten_thousand_spools_takes_under_three_times_one_of_a_hundred(client: Client) -> None:
    user = User.objects.create(username="morgan")
    Preference.objects.create(user=user)
    client.force_login(user)
    makers = [a_range("Skerry", "Forty"), a_range("Holm", "Fifty")]
    shades = [
        a_shade(f"C{n}", hex=f"#{n * 40_503 % 0x1000000:06x}", range=makers[n % 2], name=f"colour {n}")
        for n in range(SHADES)
    ]
    address = reverse("shelf")
    lay_out(FEW, after=0, shades=shades)
    few = {name: median_ms(client, address, asked) for name, asked in ASKED.items()}
    lay_out(MANY, after=FEW, shades=shades)
    many = {name: median_ms(client, address, asked) for name, asked in ASKED.items()}
    times = {name: many[name] / few[name] for name in ASKED}
    for name in ASKED:
        print(f"{name:14} {few[name]:6.1f} ms {many[name]:6.1f} ms  × {times[name]:.2f}")
    assert max(times.values()) < MOST_TIMES, times
