"""Answer when each stabilizer runs out."""

from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _
from rich.table import Table

from inventory.compute.lengths import format_length
from inventory.compute.spoken import N_
from inventory.compute.units import reader
from inventory.management.base import WorkshopCommand
from planning.cutting.outlook import Outlook, stabilizer_outlooks
from planning.models import Job


class Command(WorkshopCommand):
    help = N_(
        "Show when each stabilizer on rolls runs out, over booked jobs and past use, and by when to order it. "
        "Exits 0, or 1 for an error."
    )
    example = "running_out"

    def handle(self, *args: Any, **options: Any) -> None:
        outlooks, unclear = stabilizer_outlooks(
            list(Job.objects.waiting().with_everything()), at=timezone.now()
        )
        if options["format"] == "json":
            self.write_json({"stabilizer": [outlook_as_data(each) for each in outlooks], "unclear": unclear})
            return
        table = Table(box=None)
        unit = reader().length
        table.add_column(_("Stabilizer"))
        for head in (_("Free"), _("Jobs take"), _("A usual week")):
            table.add_column(f"{head}, {unit}", justify="right")
        for head in (_("Runs out"), _("Order by"), _("From")):
            table.add_column(head)
        for each in outlooks:
            ends = each.projection
            table.add_row(
                str(each.product),
                *(
                    format_length(mm, unit=unit, places=1, grouped=False).partition(" ")[0]
                    for mm in (each.free_mm, each.booked_mm, each.per_week_mm)
                ),
                str(ends.run_out_on or _("not within a year")),
                str(ends.order_by or "–"),
                each.supplier or _("nobody is known to sell it"),
            )
        self.console().print(table)
        for problem in unclear:
            self.console().print(_("note: {problem}").format(problem=problem))


def outlook_as_data(outlook: Outlook) -> dict[str, Any]:
    """Return an outlook as JSON-ready data, lengths in whole mm of a roll ``width_mm`` wide."""
    ends = outlook.projection
    return {
        "product": str(outlook.product),
        "width_mm": outlook.width_mm,
        "free_mm": outlook.free_mm,
        "booked_mm": outlook.booked_mm,
        "per_week_mm": outlook.per_week_mm,
        "needs": [
            {
                "what": need.what,
                "need_mm": round(need.quantity),
                "on": need.on.isoformat() if need.on else None,
            }
            for need in outlook.needs
        ],
        "run_out_on": ends.run_out_on.isoformat() if ends.run_out_on else None,
        "order_by": ends.order_by.isoformat() if ends.order_by else None,
        "supplier": outlook.supplier,
    }
