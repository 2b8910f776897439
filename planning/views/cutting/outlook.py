"""When each stabilizer runs out, and by when to order it."""

from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from planning.cutting.outlook import Outlook, waiting_outlooks

# The drawing of a balance: so many weeks wide at most, in these units.
DRAWN_WEEKS, DRAWN_WIDTH, DRAWN_HEIGHT = 26, 260, 48


@require_safe
def running_out(request: HttpRequest) -> HttpResponse:
    """Show each stabilizer's way down over the jobs that are booked and what past weeks took."""
    now = timezone.now()
    today = timezone.localdate(now)
    outlooks, unclear = waiting_outlooks(at=now)
    rows = [_row(outlook, today) for outlook in outlooks]
    shown = {
        "rows": rows,
        "late": [row for row in rows if row["late"]],
        "first": next((row for row in rows if row["outlook"].projection.run_out_on), None),
        "unclear": unclear,
        "weeks": DRAWN_WEEKS,
        "today": today,
    }
    return render(request, "planning/running_out.html", shown)


def _row(outlook: Outlook, today: date) -> dict[str, Any]:
    ends = outlook.projection
    return {
        "outlook": outlook,
        "line": _line(outlook),
        "late": bool(ends.order_by and ends.order_by <= today),
        "soon": bool(ends.order_by and ends.order_by <= today + timedelta(days=14)),
        "booked": [(step.on, step.booked, step.balance, step.what) for step in ends.steps if step.booked],
    }


def _line(outlook: Outlook) -> str:
    """Return the path of the balance from today, a day a step, down to nothing or to the edge of the drawing."""
    steps = outlook.projection.steps[: DRAWN_WEEKS * 7]
    # What is on order raises the balance.
    most = max(outlook.free_mm, 1, *(step.balance for step in steps))
    across = DRAWN_WIDTH / (DRAWN_WEEKS * 7)
    points = [(0.0, outlook.free_mm)] + [
        (number * across, step.balance) for number, step in enumerate(steps, 1)
    ]
    return "M" + "L".join(
        f"{x:.1f} {DRAWN_HEIGHT * (1 - max(0.0, balance) / most):.1f}" for x, balance in points
    )
