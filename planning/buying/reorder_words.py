"""What a reorder point rests on, in words."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.demand import WINDOW_WEEKS
from inventory.compute.reordering import ReorderPoint


def rests_on(point: ReorderPoint) -> str:
    """Return in words what a reorder point rests on.

    >>> from inventory.compute.reordering import reorder_point
    >>> rests_on(reorder_point([5, 6, 4, 5], lead_time_weeks=1))
    'It rests on 4 weeks of use; until there is half a year we keep more, as others on the shelf stray.'
    """
    weeks = point.demand.weeks
    some = ngettext("{n} week of use", "{n} weeks of use", weeks).format(n=weeks)
    match point.rests_on:
        case "short":
            text = _(
                "It rests on {some}; until there is half a year we keep more, as others on the shelf stray."
            )
        case "mean":
            text = _(
                "It is used nearly every week. It rests on the mean of the last {last} weeks, and on how far such "
                "forecasts were off, over {some}."
            )
        case "trend":
            text = _(
                "Its use rises or falls steadily. It rests on the trend, and on how far such forecasts were off, "
                "over {some}."
            )
        case "slow":
            text = _("It is used now and then. It rests on how often and how much was used, over {some}.")
        case _:
            text = _("Nothing was used yet, so that nothing is kept for it.")
    return text.format(some=some, last=WINDOW_WEEKS)
