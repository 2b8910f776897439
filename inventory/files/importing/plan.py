"""What an import would do, before anything is written."""

from dataclasses import dataclass, field

from inventory.files.importing.catalogue import Draft
from inventory.files.importing.stock import ShelfAtImport, StatedThing


@dataclass
class ImportPlan:
    """The catalogue records of a file, in the order in which they are made, and its things on the shelf."""

    drafts: list[Draft] = field(default_factory=list)
    things: list[StatedThing] = field(default_factory=list)
    shelf: ShelfAtImport | None = None
