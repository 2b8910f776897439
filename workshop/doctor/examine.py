"""The whole examination."""

from dataclasses import dataclass
from datetime import datetime

from workshop.doctor.database import database_findings
from workshop.doctor.finding import DoctorFinding
from workshop.doctor.stock import stock_findings
from workshop.doctor.stored import stored_findings
from workshop.doctor.surroundings import surroundings_findings


@dataclass(frozen=True)
class Examined:
    """What was found, and what of it was mended at once."""

    findings: tuple[DoctorFinding, ...]
    mended: tuple[DoctorFinding, ...] = ()

    @property
    def to_mend(self) -> tuple[DoctorFinding, ...]:
        return tuple(each for each in self.findings if not each.advice)


def examine(*, at: datetime, mend: bool = False, every_file: bool = False) -> Examined:
    """Return everything that is not as it should be; ``mend`` first mends what is safe to, and looks again.

    ``every_file`` reads every kept file, where those of a bucket are otherwise read by chance. Where the database
    itself is not sound, what it holds is not looked at.
    """
    findings = list(database_findings())
    if not any(each.mend_now is None for each in findings):
        findings += [
            *stock_findings(),
            *stored_findings(every_one=every_file),
            *surroundings_findings(at=at),
        ]
    safe = [each for each in findings if each.mend_now is not None]
    if not (mend and safe):
        return Examined(tuple(findings))
    for each in safe:
        assert each.mend_now is not None
        each.mend_now()
    return Examined(examine(at=at, every_file=every_file).findings, mended=tuple(safe))
