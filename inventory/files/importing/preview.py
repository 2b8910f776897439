"""Import as a person goes through it: see what a file would do, then let it happen, all or nothing."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db import IntegrityError

from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, figure, ngettext
from inventory.files.importing.catalogue import save_drafts, tell_drafts
from inventory.files.importing.kinds import FileKind, kind_named
from inventory.files.importing.plan import ImportPlan
from inventory.files.importing.rows import Progress, Row, cleaned_rows
from inventory.files.importing.stock import day_in_words, land
from inventory.models import Place
from inventory.tables.cells import guarded, shown
from inventory.tables.problems import CellProblem
from inventory.tables.tables import REASON_COLUMN, Table, read_table


@dataclass(frozen=True)
class Outcome:
    """What one row does: the records it makes and what it edits, in words. Neither: it changes nothing."""

    row: int
    makes: tuple[str, ...]
    changes: tuple[str, ...]


@dataclass(frozen=True)
class FailedRow:
    """A row that cannot land: its cells as the file shows them, and why not."""

    row: int
    cells: Mapping[str, str]
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Preview:
    """What a file does, or would do: its good rows, and every bad cell of the others."""

    kind: str
    sha256: str
    source: str
    columns: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    problems: tuple[CellProblem, ...]
    failed: tuple[FailedRow, ...]
    notes: tuple[str, ...]

    @property
    def new(self) -> int:
        """How many rows bring something new."""
        return sum(bool(each.makes) for each in self.outcomes)

    @property
    def changed(self) -> int:
        """How many rows bring nothing new but change something."""
        return sum(bool(each.changes) and not each.makes for each in self.outcomes)

    @property
    def unchanged(self) -> int:
        return len(self.outcomes) - self.new - self.changed

    @property
    def in_words(self) -> str:
        told = (
            ngettext(
                "{new} new, {changed} changed, {unchanged} unchanged, {failed} with {cells} bad cell",
                "{new} new, {changed} changed, {unchanged} unchanged, {failed} with {cells} bad cells",
                len(self.problems),
            )
            if self.failed
            else _("{new} new, {changed} changed, {unchanged} unchanged")
        )
        return told.format(
            new=figure(self.new),
            changed=figure(self.changed),
            unchanged=figure(self.unchanged),
            failed=figure(len(self.failed)),
            cells=figure(len(self.problems)),
        )


class NothingLanded(WorkshopError):
    """The file has bad rows, and nothing of it was imported; ``preview`` names every bad cell."""

    def __init__(self, preview: Preview, *, hint: str) -> None:
        self.preview = preview
        every = len(preview.failed) + len(preview.outcomes)
        super().__init__(
            ngettext(
                "Nothing was imported, because of {cells} bad cell ({failed} of {rows}). {hint}",
                "Nothing was imported, because of {cells} bad cells ({failed} of {rows}). {hint}",
                len(preview.problems),
            ).format(
                failed=figure(len(preview.failed)),
                rows=ngettext("{number} row", "{number} rows", every).format(number=figure(every)),
                cells=figure(len(preview.problems)),
                hint=hint,
            )
        )


def preview_import(content: bytes, *, kind: str, progress: Progress | None = None) -> Preview:
    """Return what the file ``content`` would do; nothing is written. Raises FileNotRead, NoSuchKind.

    ``progress`` is called with the number of rows done and the number there are.
    """
    of = kind_named(kind)
    table = read_table(content, columns=of.columns, essential=of.essential)
    rows = cleaned_rows(table, form=of.form, progress=progress or _silent)
    return _planned(rows, table, of)[1]


def apply_import(
    content: bytes,
    *,
    kind: str,
    at: datetime,
    by: Any,
    skip_bad: bool = False,
    reference: str = "",
    progress: Progress | None = None,
) -> Preview:
    """Return what the file ``content`` did, all of it in one transaction.

    A bad row keeps the whole file out, or with ``skip_bad`` itself only; where nothing lands NothingLanded is
    raised. The same file applied again changes nothing that it has landed. ``reference`` goes with the entries;
    ``progress`` counts every row twice, once checked and once landed. Raises FileNotRead, NoSuchKind.
    """
    of = kind_named(kind)
    report = progress or _silent
    table = read_table(content, columns=of.columns, essential=of.essential)
    total = len(table.rows)
    rows = cleaned_rows(table, form=of.form, progress=lambda done, all_of: report(done, 2 * all_of))

    @whole_act
    def once() -> Preview:
        # Planned under the transaction: between preview and now the shelf may have moved.
        plan, preview = _planned([replace(row, problems=list(row.problems)) for row in rows], table, of)
        if preview.failed and not skip_bad:
            raise NothingLanded(preview, hint=_("Correct them, or leave the bad rows out."))
        if not preview.outcomes:
            raise NothingLanded(preview, hint=_("Correct them."))
        save_drafts(plan.drafts, at=at, by=by)
        if plan.shelf is not None:
            land(
                plan.things,
                plan.shelf,
                at=at,
                by=by,
                reference=reference,
                progress=lambda done: report(total + done, 2 * total),
            )
        return preview

    try:
        preview = once()
    except IntegrityError:
        # Another hand made one of the same records at the same moment; seen anew, it is there already.
        preview = once()
    report(2 * total, 2 * total)
    return preview


def failed_rows_csv(preview: Preview) -> bytes:
    """Return the failed rows as CSV with a column that says why, to be corrected and imported again.

    A row without a label code carries the one it would have had, so that importing it twice lands it once.
    """
    columns = list(preview.columns)
    if any("label" in failed.cells for failed in preview.failed) and "label" not in columns:
        columns.insert(0, "label")
    text = io.StringIO(newline="")
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerow([*columns, REASON_COLUMN])
    for failed in preview.failed:
        cells = [guarded(failed.cells.get(column, "")) for column in columns]
        writer.writerow([*cells, guarded(" ".join(failed.reasons))])
    return text.getvalue().encode("utf-8-sig")


def _planned(rows: Sequence[Row], table: Table, kind: FileKind) -> tuple[ImportPlan, Preview]:
    """Return what ``rows``, which are written on, would do, and how to show it."""
    plan = kind.plan(rows, sha256=table.sha256)
    tell_drafts(draft for draft in plan.drafts if draft.model is not Place)
    good = [row for row in rows if not row.is_bad]
    preview = Preview(
        kind=kind.name,
        sha256=table.sha256,
        source=table.source,
        columns=table.columns,
        outcomes=tuple(Outcome(row.number, tuple(row.news), tuple(row.changes)) for row in good),
        problems=tuple(problem for row in rows for problem in row.problems),
        failed=tuple(_failed(row) for row in rows if row.is_bad),
        notes=(*table.notes, *_notes_on(plan, good)),
    )
    return plan, preview


def _notes_on(plan: ImportPlan, good: Sequence[Row]) -> list[str]:
    notes = []
    places = [draft.name for draft in plan.drafts if draft.model is Place and draft.is_wanted]
    if places:
        notes.append(_("New places: {names}.").format(names=", ".join(places)))
    landed = sum(row.landed_before for row in good)
    if landed and plan.shelf is not None:
        day = max(plan.shelf.landed.values())
        notes.append(
            _("Rows of this very file that landed before, on {day}: {landed}. They stay as they are.").format(
                day=day_in_words(day), landed=figure(landed)
            )
        )
    unlabelled = sum(row.label != "" and not row["label"] for row in good)
    if unlabelled:
        notes.append(
            _(
                "Rows without a label code: {count}. Each gets one that follows from this file and its "
                "row, so this file lands once; a file that has been edited would bring them again. Export "
                "the shelf to edit it."
            ).format(count=figure(unlabelled))
        )
    return notes


def _failed(row: Row) -> FailedRow:
    cells = {column: shown(cell) for column, cell in row.cells.items()}
    if row.label and not cells.get("label", "").strip():
        cells["label"] = row.label
    reasons = tuple(f"{each.column}: {each.reason}" if each.column else each.reason for each in row.problems)
    return FailedRow(row.number, cells, reasons)


def _silent(done: int, total: int) -> None:
    pass
