"""What is wrong with one cell of a table."""

from dataclasses import dataclass

from inventory.compute.spoken import _


@dataclass(frozen=True)
class CellProblem:
    """One bad cell: where it is, what it shows, and what is wrong with it. ``column`` is blank for a whole row."""

    row: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        row = _("Row {number}").format(number=self.row)
        where = f"{row}, {self.column}" if self.column else row
        return f'{where} "{self.value}": {self.reason}' if self.value else f"{where}: {self.reason}"
