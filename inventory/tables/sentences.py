"""What the process that reads workbooks says: it knows no language, so it is said again where somebody reads it."""

from inventory.compute.spoken import N_

DAMAGED = N_(
    "The workbook is damaged and cannot be read ({problem}). Open it, save it again, and try once more."
)
NO_SHEET = N_("The workbook has no sheet that can be seen.")
NO_SUCH_SHEET = N_("The workbook has no sheet {name}.")
ONE_SHEET_READ = N_("The sheet {name} was read; the workbook has {count} more.")
TOO_MANY_ROWS = N_("The sheet has more than {most} rows. Split it and import the parts.")
FORMULAS = N_("Cells that hold a formula: {count}. The value last saved was taken for each.")
SOURCE = N_("Workbook, sheet {name}")
NO_VALUE = N_(
    "This cell holds a formula without a saved value. Open the workbook, save it and try again, or type the value."
)
SHOWS_AN_ERROR = N_("This cell shows an error. Correct it in the workbook.")
TIME_OF_DAY = N_("This cell holds a time of day. Give the cell another format, or type it.")
TOO_MUCH_MEMORY = N_("The workbook needs more memory than a list of stock. Copy the table into a new one.")

OF_WORKBOOKS = (
    DAMAGED,
    NO_SHEET,
    NO_SUCH_SHEET,
    ONE_SHEET_READ,
    TOO_MANY_ROWS,
    FORMULAS,
    SOURCE,
    NO_VALUE,
    SHOWS_AN_ERROR,
    TIME_OF_DAY,
    TOO_MUCH_MEMORY,
)
