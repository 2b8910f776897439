"""One of many hands at the shelf: a process that does acts as fast as it can and tells what came of each.

Run as ``python -m tests.inventory.ledger.hands prepare SCARCE_PIECES`` once, then ``… hands work NUMBER ACTS`` in as
many processes as there are hands; each says *ready* and waits for a line before it begins. ``… hands books`` tells
what the database has at the end.
"""

import json
import random
import sys
import traceback
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any

import django

django.setup()

from inventory import ledger  # noqa: E402  the models need Django to be set up
from inventory.compute.errors import WorkshopError  # noqa: E402
from inventory.models import BobbinBatch, BobbinStyle, Entry, Place, StockItem  # noqa: E402
from inventory.shelf.bobbins import open_bobbin, wind_bobbins  # noqa: E402
from inventory.shelf.counts import count_item  # noqa: E402
from inventory.shelf.offcuts import cut_piece  # noqa: E402
from inventory.shelf.receipts import receive_needles, receive_sheets  # noqa: E402
from inventory.shelf.things import move, put_back_on_shelf, retire, split_pack  # noqa: E402
from inventory.shelf.weights import weigh_spool  # noqa: E402
from tests.factories import (  # noqa: E402
    a_bobbin_style,
    a_delivery,
    a_place,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
SPOOLS, SCARCE = 12, "SCARCE"
SHARED_KEYS = 20


def prepare(scarce_pieces: int) -> None:
    """Put twenty things on the shelf, one of them too few for all who want it."""
    for place in ("wall", "drawer"):
        a_place(place)
    shade = a_shade("1147")
    for number in range(SPOOLS):
        a_spool(shade, metres=1000, key=f"spool-{number}")
    for number in range(3):
        some_bobbins(a_bobbin_style(), count=200, metres=10 + number)
    a_roll(width_mm=500, metres=50)
    a_roll(width_mm=500, metres=50)
    sheets = {"width_mm": 300, "height_mm": 400, "count": 300}
    receive_sheets(a_stabilizer(), delivery=a_delivery(key="sheets"), **sheets)
    receive_needles(system="130/705", size=75, count=300, delivery=a_delivery(key="needles"))
    receive_needles(
        system="130/705", size=90, count=scarce_pieces, delivery=a_delivery(key="scarce"), labels=[SCARCE]
    )
    assert StockItem.objects.count() == 20


class Hand:
    """A pair of hands: draws acts, does them, repeats some, takes some back."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.rng = random.Random(number)
        self.items = {item.pk: item for item in StockItem.objects.order_by("pk")}
        self.style = BobbinStyle.objects.get()
        self.places = list(Place.objects.all())
        self.requests: list[Callable[[], Any]] = []
        self.told: list[dict[str, Any]] = []

    def work(self, acts: int) -> None:
        for turn in range(acts):
            key = f"hand-{self.number}-{turn}"
            try:
                self.tell(key, self.draw(key))
            except WorkshopError as refusal:
                self.told.append({"key": key, "outcome": "refused", "why": str(refusal)})
            except Exception:
                self.told.append({"key": key, "outcome": "failed", "why": traceback.format_exc()})

    def tell(self, key: str, entries: Sequence[Entry] | None) -> None:
        if entries is None:
            self.told.append({"key": key, "outcome": "no movement"})
        else:
            told = [[entry.pk, entry.item_id, entry.quantity] for entry in entries]
            self.told.append({"key": entries[0].key, "outcome": "done", "entries": told})

    def draw(self, key: str) -> Sequence[Entry] | None:
        act = self.rng.choices(
            [self.use, self.scarce, self.shared, self.count, self.weigh, self.bring, self.hold, self.again,
             self.back, self.move],
            [30, 10, 10, 6, 6, 14, 8, 8, 5, 3],
        )[0]  # fmt: skip
        return act(key)

    def do(self, key: str, verb: Callable[..., Any], thing: Any, **particulars: Any) -> list[Entry]:
        def ask() -> Any:
            return verb(thing, key=key, at=NOW, by=None, **particulars)

        ask()
        self.requests.append(ask)
        return ledger.entries_of(key)

    def use(self, key: str) -> list[Entry]:
        item = self.any_of(*StockItem.Kind.values)
        return self.do(
            key, ledger.use, item, quantity=self.rng.randint(1, 3) * (1000 if item.is_measured else 1)
        )

    def scarce(self, key: str) -> list[Entry]:
        return self.do(key, ledger.use, StockItem.objects.get(label=SCARCE), quantity=1)

    def shared(self, key: str) -> list[Entry]:
        """Send what every other hand sends too: of all of them, one moves stock."""
        number = self.rng.randrange(SHARED_KEYS)
        item = self.items[sorted(self.items)[number % SPOOLS]]
        return self.do(f"shared-{number}", ledger.use, item, quantity=500 + number)

    def count(self, key: str) -> list[Entry]:
        return self.do(key, count_item, self.any_of("roll"), quantity=self.rng.randint(20_000, 50_000))

    def weigh(self, key: str) -> list[Entry]:
        weights = {"gross_mg": self.rng.randint(20_000, 39_000), "scale_resolution_mg": 100}
        return self.do(key, weigh_spool, self.any_of("spool"), **weights)

    def bring(self, key: str) -> list[Entry]:
        """Do one of the acts that bring new things, with new labels, out of old ones."""
        match self.rng.randrange(5):
            case 0:
                spool = self.any_of("spool")
                return self.do(key, wind_bobbins, spool, style=self.style, count=2, length_mm=5_000)
            case 1:
                return self.do(key, open_bobbin, self.any_of("bobbins"))
            case 2:
                cut = {"width_mm": 200, "height_mm": 150, "keep": [(300, 150)]}
                return self.do(key, cut_piece, self.any_of("roll"), **cut)
            case 3:
                return self.do(
                    key, cut_piece, self.any_of("sheets"), width_mm=300, height_mm=200, keep=[(300, 200)]
                )
        part = split_pack(self.any_of("bobbins"), count=2, key=key, at=NOW, by=None)
        self.tell(key, ledger.entries_of(key))
        self.tell("", self.do(f"{key}-retire", retire, part))
        return self.do(f"{key}-put_back_on_shelf", put_back_on_shelf, BobbinBatch.objects.get(pk=part.pk))

    def hold(self, key: str) -> list[Entry] | None:
        item = self.any_of("spool", "bobbins")
        quantity = 2_000 if item.is_measured else 2
        held = ledger.set_aside(
            item, quantity=quantity, holder=f"hand {self.number}", key=key, at=NOW, by=None
        )
        if self.rng.random() < 0.5:
            ledger.release([held])
            return None
        used = self.do(f"{key}-use", ledger.use_reserved, held, quantity=quantity // 2)
        ledger.release([held])
        return used

    def again(self, key: str) -> None:
        """Repeat an earlier request of this hand; it must not move anything."""
        if self.requests:
            self.rng.choice(self.requests[-20:])()

    def back(self, key: str) -> list[Entry] | None:
        mine = [told for told in self.told if told["outcome"] == "done" and told["key"].startswith("hand-")]
        if not mine:
            return None
        entry = Entry.objects.get(pk=self.rng.choice(mine)["entries"][0][0])
        ledger.reverse(entry, key=key, at=NOW, by=None)
        return ledger.entries_of(key)

    def move(self, key: str) -> None:
        move(self.any_of("spool"), place=self.rng.choice(self.places), key=key, at=NOW, by=None)

    def any_of(self, *kinds: str) -> StockItem:
        return self.rng.choice(
            [item for item in self.items.values() if item.kind in kinds and item.label != SCARCE]
        )


def books() -> dict[str, Any]:
    """Return every entry by its key, what the scarce thing came to, and every problem of the ledger."""
    entries: dict[str, list[list[int]]] = {}
    for entry in Entry.objects.order_by("key", "line"):
        entries.setdefault(entry.key, []).append([entry.pk, entry.item_id, entry.quantity])
    return {
        "entries": entries,
        "scarce": StockItem.objects.get(label=SCARCE).on_hand,
        "reserved": sum(StockItem.objects.values_list("reserved", flat=True)),
        "problems": [str(problem) for problem in ledger.ledger_problems()],
    }


def main() -> None:
    match sys.argv[1:]:
        case ["prepare", scarce_pieces]:
            prepare(int(scarce_pieces))
        case ["work", number, acts]:
            hand = Hand(int(number))
            print("ready", flush=True)
            sys.stdin.readline()
            hand.work(int(acts))
            print(json.dumps(hand.told))
        case ["books"]:
            print(json.dumps(books()))


if __name__ == "__main__":
    main()
