"""What a batch is offered at: its cost, a margin on it, rounded, and never below a least order."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from planning.compute.batch.cost_by_quantity import QuantityCost

CENT = Decimal("0.01")


@dataclass(frozen=True)
class QuoteTerms:
    """How a price is made of a cost: a margin in per cent of it, what a piece is rounded up to, the least order."""

    margin_percent: Decimal
    rounded_to: Decimal
    minimum: Decimal = Decimal("0.00")

    def __post_init__(self) -> None:
        if not self.margin_percent.is_finite() or self.margin_percent < 0:
            raise WorkshopError(
                _("A margin of {margin_percent} % is none; give 0 or more.").format(
                    margin_percent=self.margin_percent
                )
            )
        if not self.rounded_to.is_finite() or self.rounded_to <= 0:
            raise WorkshopError(
                _("Nothing is rounded to {rounded_to}; give 0.01 or more.").format(rounded_to=self.rounded_to)
            )
        if not self.minimum.is_finite() or self.minimum < 0:
            raise WorkshopError(
                _("{minimum} is no least price; give 0 or more.").format(minimum=self.minimum)
            )


@dataclass(frozen=True)
class QuotedPrice:
    """So many pieces at a price each. ``at_minimum`` where the least order is more than the pieces come to."""

    pieces: int
    a_piece: Decimal
    total: Decimal
    cost: Decimal
    at_minimum: bool
    is_asked: bool = False

    @property
    def margin(self) -> Decimal:
        """What is left of the price beyond the cost."""
        return self.total - self.cost


def quoted(cost: QuantityCost, terms: QuoteTerms) -> QuotedPrice:
    """Return the price of so many pieces: cost a piece with its margin, rounded up, times the pieces.

    Where that is below the least order, the least order is the price, and a piece its share, rounded to the cent.
    """
    with_margin = cost.total * (1 + terms.margin_percent / 100) / cost.pieces
    a_piece = (with_margin / terms.rounded_to).to_integral_value(ROUND_CEILING) * terms.rounded_to
    total = a_piece * cost.pieces
    if total < terms.minimum:
        share = (terms.minimum / cost.pieces).quantize(CENT, ROUND_HALF_UP)
        return QuotedPrice(cost.pieces, share, terms.minimum, cost.total, True, cost.is_planned)
    return QuotedPrice(
        cost.pieces, a_piece.quantize(CENT), total.quantize(CENT), cost.total, False, cost.is_planned
    )


def quote_table(costs: Sequence[QuantityCost], terms: QuoteTerms) -> list[QuotedPrice]:
    """Return the price of each quantity, fewest first."""
    return [quoted(cost, terms) for cost in costs]
