"""The family of errors whose text a workshop understands."""

import math

from inventory.compute.spoken import _, plainly


class WorkshopError(ValueError):
    """Something a person asked for cannot be done; the text says what, with which value, and what to do."""


class NotPositive(WorkshopError):
    """A quantity that must be above zero is not."""


def require_positive(value: float, *, what: str) -> float:
    """Return ``value`` if it is a finite number above zero, else raise NotPositive naming ``what``.

    >>> require_positive(24.0, what="linear density in tex")
    24.0
    >>> require_positive(0, what="linear density in tex")
    Traceback (most recent call last):
    inventory.compute.errors.NotPositive: The linear density in tex must be a number above zero, not 0.
    """
    if not (math.isfinite(value) and value > 0):
        raise NotPositive(
            _("The {what} must be a number above zero, not {value}.").format(
                what=_(what), value=plainly(value)
            )
        )
    return value


def require_not_negative(value: float, *, what: str) -> float:
    """Return ``value`` if it is a finite number, zero or above, else raise NotPositive naming ``what``.

    >>> require_not_negative(0, what="tare in mg")
    0
    >>> require_not_negative(-1, what="tare in mg")
    Traceback (most recent call last):
    inventory.compute.errors.NotPositive: The tare in mg must be zero or a number above it, not -1.
    """
    if not (math.isfinite(value) and value >= 0):
        raise NotPositive(
            _("The {what} must be zero or a number above it, not {value}.").format(
                what=_(what), value=plainly(value)
            )
        )
    return value
