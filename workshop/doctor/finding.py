"""One thing that is not as it should be."""

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class DoctorFinding:
    """What is wrong, and the command or page that mends it.

    ``mend_now`` is there where mending is safe without a person's look. What is only ``advice`` makes nothing unsound.
    """

    area: str
    what: str
    mend: str
    mend_now: Callable[[], object] | None = None
    advice: bool = False

    def __str__(self) -> str:
        return f"{self.what} {self.mend}".strip()
