"""What an import would do, before anything is written."""

from dataclasses import dataclass, field

from inventory.files.importing.catalogue import Draft
from inventory.files.importing.stock import Shelf, Wanted


@dataclass
class Plan:
    """The catalogue records of a file, in the order in which they are made, and its things on the shelf."""

    drafts: list[Draft] = field(default_factory=list)
    things: list[Wanted] = field(default_factory=list)
    shelf: Shelf | None = None
