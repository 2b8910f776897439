"""The drawing of the days to come: what its parts are of, and how far across they stand."""

from django import template
from django.templatetags.static import static

from planning.compute.picture.calendar import CalendarDrawn, DrawnWork, DueFlag
from planning.day.ahead import JobsAhead, OpenJob

register = template.Library()


@register.filter
def job_of(drawn: DrawnWork | DueFlag, ahead: JobsAhead) -> OpenJob:
    """Return the open job that a block or a flag is of."""
    return ahead.by_job[drawn.work.job]


@register.filter
def across(units: int, calendar: CalendarDrawn) -> str:
    """Return so many units as a share of the whole drawing."""
    return calendar.share(units)


@register.simple_tag
def icon_address(name: str) -> str:
    """Return where the drawing of an icon is, for a part of another drawing."""
    return f"{static('workshop/icons.svg')}#{name}"
