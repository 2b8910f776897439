"""Answer what to weigh, measure or count before anything is bought."""

from typing import Any

from django.utils.translation import gettext as _
from rich.table import Table

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.jobs.measuring import MeasureFirst, measure_first
from planning.plan.settling import IN_WORDS


class Command(WorkshopCommand):
    help = N_(
        "List what to weigh, measure or look at first so that the open jobs are no longer tight or unknown, what "
        "settles most first. Exits 0, or 1 for an error."
    )
    example = "measure_first"

    def handle(self, *args: Any, **options: Any) -> None:
        found = measure_first()
        if options["format"] == "json":
            self.write_json({"measure_first": [measure_first_as_data(each) for each in found]})
            return
        if not found:
            self.console().print(_("Nothing: no look at the shelf would settle an open job."))
            return
        table = Table(box=None)
        for head in (_("Look"), _("What"), _("Place"), _("Settles")):
            table.add_column(head)
        for each in found:
            table.add_row(
                f"{IN_WORDS[each.item.act]} {each.item.label}",
                each.item.what,
                each.item.place,
                "\n".join(_told(each)),
            )
        self.console().print(table)


def _told(found: MeasureFirst) -> list[str]:
    lines = []
    for each in found.settles:
        others = [item.label for item in each.first.items if item.label != found.item.label]
        told = _("{job}: {chance} %, with {others}") if others else _("{job}: {chance} %")
        chance = f"{each.first.settling.chance * 100:.0f}"
        lines.append(told.format(job=each.job, chance=chance, others=_(" and ").join(others)))
    return lines


def measure_first_as_data(found: MeasureFirst) -> dict[str, Any]:
    return {
        "label": found.item.label,
        "what": found.item.what,
        "place": found.item.place,
        "act": found.item.act,
        "worth": round(found.worth, 4),
        "settles": [
            {
                "job": each.job.pk,
                "with": [item.label for item in each.first.items if item.label != found.item.label],
                "chance": round(each.first.settling.chance, 4),
                "enough": round(each.first.settling.enough, 4),
                "short": round(each.first.settling.short, 4),
            }
            for each in found.settles
        ],
    }
