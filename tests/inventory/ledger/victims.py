"""Acts that are killed in the middle: a process that does one after another until it dies, and what it leaves.

Run as ``python -m tests.inventory.ledger.victims SCRIPT KILLS SEED`` on a database that nobody else uses now.
It forks a victim, kills it with SIGKILL at a random moment, looks at the books, and goes on with the next; it
answers with what it saw. To have another act die, add an ``ActScript`` to ``ACT_SCRIPTS``.
"""

import json
import os
import random
import signal
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime

import django

django.setup()

from django.db import connection  # noqa: E402  the database needs Django to be set up

from inventory import ledger  # noqa: E402
from inventory.models import BobbinStyle, Entry, LabelSeries, Shade, StockItem, Stocktake, StocktakeLine  # noqa: E402
from inventory.shelf.bobbins import wind_bobbins  # noqa: E402
from inventory.shelf.counts import Found  # noqa: E402
from inventory.shelf.labelled import PREFIXES  # noqa: E402
from inventory.shelf.offcuts import cut_piece  # noqa: E402
from inventory.shelf.receipts import receive_spools  # noqa: E402
from inventory.stocktakes.stocktakes import begin_place, record  # noqa: E402
from tests.factories import a_bobbin_style, a_delivery, a_place, a_put_up, a_range, a_roll, a_shade, a_spool  # noqa: E402

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
# A victim lives on after its first act for up to so many times as long as that took; the next ones are quicker.
LONGEST_LIFE_ACTS = 1.0


def with_entries(keys: Sequence[str]) -> set[str]:
    """Return those of ``keys`` under which the ledger has anything."""
    return set(Entry.objects.filter(key__in=keys).values_list("key", flat=True))


@dataclass(frozen=True)
class ActScript:
    """An act to die in: ``prepare`` once, then ``act`` under key after key.

    ``whole`` tells whether the act with this key is there with all that belongs to it, given that some is; ``there``
    which keys left anything; ``wrong`` what else does not hold.
    """

    name: str
    prepare: Callable[[], object]
    act: Callable[[str], object]
    whole: Callable[[str], bool]
    there: Callable[[Sequence[str]], set[str]] = with_entries
    wrong: Callable[[], list[str]] = list


@dataclass
class Seen:
    """What came of all the deaths."""

    kills: int = 0
    acts_done: int = 0
    caught_in_the_act: int = 0
    problems: list[str] = field(default_factory=list)


def lines(count: int) -> Callable[[str], bool]:
    return lambda key: Entry.objects.filter(key=key).count() == count


def spool(label: str) -> StockItem:
    put_up = a_put_up(metres=5_000)
    delivery = a_delivery(key=f"{label} came")
    return receive_spools(a_shade(label), put_up=put_up, labels=[label], delivery=delivery)[0]


def use(key: str) -> None:
    ledger.use(StockItem.objects.get(label="USED"), quantity=100, key=key, at=NOW, by=None)


def wind(key: str) -> None:
    cone, style = StockItem.objects.get(label="WOUND"), BobbinStyle.objects.get()
    wind_bobbins(cone, style=style, count=1, length_mm=100, key=key, at=NOW, by=None)


def cut(key: str) -> None:
    roll, keep = StockItem.objects.get(kind="roll"), [(200, 150), (150, 150)]
    cut_piece(roll, width_mm=150, height_mm=150, keep=keep, key=key, at=NOW, by=None)


def count(key: str) -> None:
    """Record a finding that moves stock, moves the thing, and belongs to a line of a stocktake."""
    shade = Shade.objects.get_or_create(range=a_range(), code="STRAY")[0]
    stocktake, stray = Stocktake.objects.get(), a_spool(shade, metres=500, key=f"{key}-came")
    record(stocktake, label=stray.label, found=Found(quantity=400_000), key=key, at=NOW, by=None, moving=True)


def counted_whole(key: str) -> bool:
    entry = Entry.objects.select_related("item").get(key=key)
    line = StocktakeLine.objects.filter(entry=entry, found=400_000, expected=500_000).exists()
    return line and entry.item.place is not None and entry.item.place.name == "wall"


def careless(key: str) -> None:
    """Do in two transactions what belongs in one: the act that the looking must catch."""
    item = StockItem.objects.get(label="SPILT")
    ledger.use(item, quantity=100, key=key, at=NOW, by=None)
    time.sleep(0.002)
    Entry.objects.create(item=item, quantity=-1, reason="use", at=NOW, key=key, line=1)
    StockItem.objects.filter(pk=item.pk).update(on_hand=StockItem.objects.get(pk=item.pk).on_hand - 1)


ACT_SCRIPTS: Sequence[ActScript] = (
    ActScript("use", lambda: spool("USED"), use, lines(1)),
    ActScript("wind", lambda: (spool("WOUND"), a_bobbin_style()), wind, lines(2)),
    ActScript("cut", lambda: a_roll(width_mm=500, metres=5_000), cut, lines(3)),
    ActScript(
        "count", lambda: begin_place(a_place("wall"), key="begin", at=NOW, by=None), count, counted_whole
    ),
)
CARELESS = ActScript("careless", lambda: spool("SPILT"), careless, lines(2))


def kill_again_and_again(script: ActScript, *, kills: int, rng: random.Random) -> Seen:
    """Return what ``kills`` deaths at random moments of ``script`` left behind."""
    script.prepare()
    seen = Seen()
    first = 0
    while seen.kills < kills:
        connection.close()  # nothing open may cross into the victim
        begun, done = one_life(script, first=first, life_acts=rng.uniform(0, LONGEST_LIFE_ACTS))
        seen.kills += 1
        seen.acts_done += len(done)
        seen.caught_in_the_act += len(begun) - len(done)
        seen.problems += what_is_wrong(script, begun, done)
        first += len(begun)
    return seen


def one_life(script: ActScript, *, first: int, life_acts: float) -> tuple[list[str], list[str]]:
    """Return the keys of the acts that a victim began, and of those it had done, before it was killed."""
    reading, writing = os.pipe()
    victim = os.fork()
    if victim == 0:
        os.close(reading)
        live(script, first=first, tell=writing)
    os.close(writing)
    begun_at, said = time.monotonic(), b""
    while b" d" not in said and (more := os.read(reading, 1024)):
        begun_at = begun_at if said else time.monotonic()
        said += more
    time.sleep(life_acts * (time.monotonic() - begun_at))
    os.kill(victim, signal.SIGKILL)
    os.waitpid(victim, 0)
    with os.fdopen(reading, "rb") as rest:
        words = (said + rest.read()).decode().split()
    failed = [word for word in words if word.startswith("!")]
    assert not failed, f"the victim failed by itself: {failed}"
    begun = [word[1:] for word in words if word.startswith("b")]
    return begun, [word[1:] for word in words if word.startswith("d")]


def live(script: ActScript, *, first: int, tell: int) -> None:
    """Do act after act, telling of each before and after, until the end comes from outside."""
    number = first
    try:
        while True:
            key = f"{script.name}-{number}"
            os.write(tell, f"b{key} ".encode())
            script.act(key)
            os.write(tell, f"d{key} ".encode())
            number += 1
    except BaseException:
        os.write(tell, f"!{traceback.format_exc()[-300:]!r}".replace(" ", "_").encode())
    finally:
        os._exit(1)


def what_is_wrong(script: ActScript, begun: Sequence[str], done: Sequence[str]) -> list[str]:
    """Return what is not as if each act had wholly happened or not at all."""
    wrong = [str(problem) for problem in ledger.ledger_problems()]
    wrong += script.wrong()
    there = script.there(begun)
    wrong += [f"{key} was done and is lost" for key in done if key not in there]
    wrong += [f"{key} is there in part" for key in there if not script.whole(key)]
    orphans = StockItem.objects.filter(entries__isnull=True)
    wrong += [f"{item} came without an entry" for item in orphans]
    for kind, prefix in PREFIXES.items():
        last = LabelSeries.objects.filter(prefix=prefix).values_list("last", flat=True).first() or 0
        if last != StockItem.objects.filter(kind=kind, label__startswith=f"{prefix}0").count():
            wrong.append(f"the labels {prefix} have come to {last} without as many things")
    return wrong


def main() -> None:
    name, kills, seed = sys.argv[1:]
    script = next(each for each in (*ACT_SCRIPTS, CARELESS) if each.name == name)
    print(json.dumps(asdict(kill_again_and_again(script, kills=int(kills), rng=random.Random(int(seed))))))


if __name__ == "__main__":
    main()
