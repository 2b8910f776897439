"""Where the person stands who does something: at a station, or at none."""

from typing import Any


def standing_at(by: Any) -> str | None:
    """Return the name of the station at which ``by`` acts, or None.

    Whoever lets a person act at a station says so on the person that the act is given: ``at_station``.

    >>> standing_at(None) is None
    True
    """
    return getattr(by, "at_station", None) or None
