"""The shelf and the work: everything that moves or holds stock, told as one list."""

from collections.abc import Iterator

from inventory.ledger import ledger_problems
from inventory.ledger.check import LedgerProblem
from inventory.orders.orders import order_problems
from inventory.stocktakes.stocktakes import stocktake_problems
from planning.cutting.sound import cut_problems
from planning.run.sound import run_problems
from workshop.doctor.finding import DoctorFinding

AREA = "stock"
INVARIANTS = (
    ("a stocktake's findings are its entries", stocktake_problems, "Count the thing again."),
    (
        "what is set aside is promised",
        run_problems,
        "Promise the jobs again on their pages, one after the other.",
    ),
    ("what is cut was asked for", cut_problems, "Take the cut back on the job's cut sheet."),
)


def stock_problems() -> list[tuple[LedgerProblem, str]]:
    """Return every breach of what must hold of stock, each with what mends it."""
    look = "Look at the thing's history on its page; count or weigh it."
    found = [(problem, look) for problem in ledger_problems()]
    found += [(problem, "Take a receipt back on the order's page.") for problem in order_problems()]
    for invariant, ask, mend in INVARIANTS:
        for sentence in ask():
            concerns, _, what = sentence.partition(": ")
            found.append((LedgerProblem(invariant, concerns, what), mend))
    return found


def stock_findings() -> Iterator[DoctorFinding]:
    """Yield the breaches as findings."""
    for problem, mend in stock_problems():
        yield DoctorFinding(AREA, f"{problem.concerns}: {problem.found} ({problem.invariant}).", mend)
