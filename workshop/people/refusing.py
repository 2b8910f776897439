"""What is beyond a person's part, a token's right or a station's machine, refused in words."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.utils.translation import gettext as _

from workshop.models import Station
from workshop.people.rights import STATION_ROUTES, Right, in_words
from workshop.people.stations import is_about


class BeyondYourPart(PermissionDenied):
    """The person may not do this; the text says who may."""


def refuse_beyond(right: Right, wanted: Right) -> None:
    """Raise BeyondYourPart, which names the right that is wanted, where ``right`` does not reach so far."""
    if right >= max(wanted, Right.SEE) or wanted == Right.SELF:
        return
    raise BeyondYourPart(
        _(
            "Your part in this workshop does not reach that far: it takes the right to {do_this}. "
            "An owner can give you another part."
        ).format(do_this=in_words(wanted))
    )


def refuse_beyond_station(station: Station, route: str, view_kwargs: dict[str, Any]) -> None:
    """Raise BeyondYourPart for what is no business of the station: another machine's runs, and all that is no run."""
    if route not in STATION_ROUTES:
        raise BeyondYourPart(
            _("The tablet {station} shows runs of {machine}; for this, sign in elsewhere.").format(
                station=station, machine=station.machine
            )
        )
    about_a_job = route not in ("design_picture", "needle")
    job_id = view_kwargs.get("pk", view_kwargs.get("number")) if about_a_job else None
    if isinstance(job_id, str):
        job_id = int(job_id) if job_id.isascii() and job_id.isdecimal() and len(job_id) < 10 else 0
    if job_id is not None and not is_about(station, job_id):
        raise BeyondYourPart(
            _("This job is not stitched at {machine}, where this tablet stands.").format(
                machine=station.machine
            )
        )
    if route == "needle" and view_kwargs.get("pk") != station.machine_id:
        raise BeyondYourPart(
            _("This tablet tells of the needle of {machine} alone.").format(machine=station.machine)
        )
