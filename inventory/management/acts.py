"""What the commands that move stock share: the key that makes a repetition harmless, and the answer."""

import uuid
from collections.abc import Sequence
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.lengths import parse_weight
from inventory.compute.units import reader
from inventory.ledger import entries_of
from inventory.ledger.posting import SHOWN
from inventory.management.base import WorkshopCommand
from inventory.models import Entry
from inventory.shelf.words import outcome


def add_scale_step(parser: CommandParser) -> None:
    """Let a person state the step of the scale, where its figures do not tell."""
    parser.add_argument(
        "--scale",
        metavar="STEP",
        help=_(
            "The scale's step, where it is not that of the last figure typed: a scale in steps of 5 g, say."
        ),
    )


def scale_step_mg(options: dict[str, Any]) -> int | None:
    """Return the step that was stated, in mg, or None: the figures that were typed tell."""
    return parse_weight(options["scale"]) if options["scale"] else None


class ActCommand(WorkshopCommand):
    """A command that moves stock, once for each key."""

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--key",
            default="",
            help=_("A name of your own for this movement; given again, nothing moves twice."),
        )

    def key_of(self, options: dict[str, Any]) -> str:
        return options["key"] or f"command-{uuid.uuid4()}"

    def answer(self, key: str, options: dict[str, Any]) -> None:
        """Write what the act with this key did."""
        entries = entries_of(key)
        if options["format"] == "json":
            self.write_json({"key": key, "entries": _as_data(entries)})
        else:
            for sentence in outcome(entries, reader()):
                self.stdout.write(sentence)


def _as_data(entries: Sequence[Entry]) -> list[dict[str, Any]]:
    return [_entry_as_data(entry) for entry in entries if entry.line < SHOWN]


def _entry_as_data(entry: Entry) -> dict[str, Any]:
    item = entry.item
    unit = item.unit
    return {
        "label": item.label,
        "kind": item.kind,
        "reason": entry.reason,
        f"moved_{unit}": entry.quantity,
        f"on_hand_{unit}": item.on_hand,
        f"free_{unit}": item.free,
        f"sigma_{unit}": item.sigma,
        "known": item.known,
    }
