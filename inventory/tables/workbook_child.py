"""The process that reads a workbook: bytes in, rows or a refusal in words out, under limits of memory and time.

Its order is JSON in the one argument, its standard input the workbook; see ``workbooks``.
"""

import json
import sys

from inventory.processes.limits import limit_resources
from inventory.tables.raw import FileNotRead, letters_of
from inventory.tables.sentences import TOO_MUCH_MEMORY
from inventory.tables.workbook_rows import rows_of_workbook
from inventory.tables.workbooks import cell_to


def main() -> None:
    """Answer the order."""
    order = json.loads(sys.argv[1])
    limit_resources(memory_bytes=order["memory_bytes"], cpu_seconds=order["cpu_seconds"])
    known = set(order["known"])
    answer: dict[str, object]
    try:
        raw = rows_of_workbook(
            sys.stdin.buffer.read(),
            is_known=lambda heading: letters_of(heading) in known,
            most_rows=order["most_rows"],
            sheet=order["sheet"],
        )
    except FileNotRead as problem:
        answer = {"refused": str(problem)}
    except MemoryError:
        answer = {"refused": TOO_MUCH_MEMORY}
    else:
        answer = {
            "rows": [(number, [cell_to(cell) for cell in cells]) for number, cells in raw.rows],
            "notes": raw.notes,
            "source": raw.source,
            "merged": sorted(raw.merged),
            "days_from_1904": raw.days_from_1904,
            "sheets": raw.sheets,
        }
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    main()
