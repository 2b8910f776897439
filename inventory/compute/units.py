"""Which units a person reads and types in."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Units:
    """The units of one person: thread ``length``, spool ``weight`` and cloth ``size``.

    >>> IMPERIAL.length
    'yd'
    """

    length: str = "m"
    weight: str = "g"
    size: str = "cm"


METRIC = Units()
IMPERIAL = Units(length="yd", weight="oz", size="in")
