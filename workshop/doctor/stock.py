"""The shelf and the work: everything that moves or holds stock, told as one list."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.ledger import ledger_problems
from inventory.ledger.check import LedgerProblem
from inventory.orders.orders import order_problems
from inventory.stocktakes.stocktakes import stocktake_problems
from planning.cutting.sound import cut_problems
from planning.run.sound import run_problems
from workshop.doctor.finding import DoctorFinding

AREA = "stock"
INVARIANTS = (
    (N_("a stocktake's findings are its entries"), stocktake_problems, N_("Count the thing again.")),
    (
        N_("what is set aside is promised"),
        run_problems,
        N_("Promise the jobs again on their pages, one after the other."),
    ),
    (N_("what is cut was asked for"), cut_problems, N_("Take the cut back on the job's cut sheet.")),
)


def stock_problems() -> list[tuple[LedgerProblem, str]]:
    """Return every breach of what must hold of stock, each with what mends it."""
    look = _("Look at the thing's history on its page; count or weigh it.")
    found = [(problem, look) for problem in ledger_problems()]
    found += [(problem, _("Take a receipt back on the order's page.")) for problem in order_problems()]
    for invariant, ask, mend in INVARIANTS:
        for sentence in ask():
            concerns, _sign, what = sentence.partition(": ")
            found.append((LedgerProblem(_(invariant), concerns, what), _(mend)))
    return found


def stock_findings() -> Iterator[DoctorFinding]:
    """Yield the breaches as findings."""
    for problem, mend in stock_problems():
        yield DoctorFinding(AREA, f"{problem.concerns}: {problem.found} ({problem.invariant}).", mend)
