"""A quote for a job: what it is offered at, as facts and as a page to send, with nothing of the customer kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from inventory.acting.days import letter_day
from inventory.compute.later import later
from inventory.compute.spoken import _, figure, ngettext
from inventory.labels.printable import ENCODING, not_printable, printable, set_letters
from planning.compute.batch.plan import BatchPlan
from planning.compute.batch.quoting import QuotedPrice, QuoteTerms, quote_table
from planning.jobs.jobs import plan_of
from planning.models import Job, Rules

if TYPE_CHECKING:
    from fpdf import FPDF
else:
    FPDF = later("fpdf", "FPDF")


@dataclass(frozen=True)
class JobQuote:
    """What a job is offered at; ``unpriced`` names what no price is known of, and so is not in it."""

    workshop: str
    what: str
    pieces: int
    designs: tuple[str, ...]
    currency: str
    prices: tuple[QuotedPrice, ...]
    unpriced: tuple[str, ...]
    made_on: date

    @property
    def asked(self) -> QuotedPrice:
        """The price of as many pieces as the job has."""
        return next(each for each in self.prices if each.is_asked)

    @property
    def lost_letters(self) -> str:
        """The letters of it that its PDF cannot print."""
        return not_printable((self.workshop, self.what, *self.designs, self.currency))


def usual_terms(rules: Rules) -> QuoteTerms:
    """Return the terms of the workshop's rules."""
    return QuoteTerms(rules.quote_margin_percent, rules.quote_rounded_to, rules.quote_minimum)


def quote_of(job: Job, terms: QuoteTerms, *, on: date) -> JobQuote:
    """Return the quote for ``job`` as the shelf and its prices stand. Raises WorkshopError as its plan does."""
    plan = plan_of(job)
    return JobQuote(
        workshop=Rules.current().workshop_name,
        what=job.what,
        pieces=job.pieces,
        designs=_designs(plan, job),
        currency=plan.cost.currency,
        prices=tuple(quote_table(plan.quantities, terms)),
        unpriced=plan.cost.unpriced,
        made_on=on,
    )


def _designs(plan: BatchPlan, job: Job) -> tuple[str, ...]:
    """Return in words what is stitched on each piece: names are told as one."""
    names = {each.design_id for each in job.names.all()}
    designs = [
        f"{placed.design.name}, {placed.design.width_mm:.0f} x {placed.design.height_mm:.0f} mm"
        for placed in job.placed.all()
    ]
    lettering = []
    if names:
        said = ngettext(
            "a name on each piece ({designs} design)", "a name on each piece ({designs} designs)", len(names)
        )
        lettering = [said.format(designs=len(names))]
    colours = ngettext("{number} colour of thread", "{number} colours of thread", len(plan.threads))
    return (*designs, *lettering, colours.format(number=len(plan.threads)))


def quote_pdf(quote: JobQuote) -> bytes:
    """Return the quote as one A4 page: the workshop, the work, the price, and what other quantities come to."""
    pdf = FPDF(format="A4")
    title = _("Quote: {what}").format(what=quote.what)
    pdf.set_title(printable(title))
    pdf.core_fonts_encoding = ENCODING
    pdf.add_page()
    pdf.set_margins(20, 20)
    pdf.set_xy(20, 20)
    _line(pdf, quote.workshop, size=11)
    _line(pdf, title, size=20, bold=True, height=12)
    _line(pdf, letter_day(quote.made_on), size=10, height=8)
    for each in quote.designs:
        _line(pdf, f"- {each}", size=11)
    pdf.ln(4)
    asked = quote.asked
    each = ngettext("{pieces} piece at {price}", "{pieces} pieces at {price}", asked.pieces).format(
        pieces=asked.pieces, price=f"{figure(float(asked.a_piece), 2)} {quote.currency}"
    )
    together = _("Together {price}").format(price=f"{figure(float(asked.total), 2)} {quote.currency}")
    _line(pdf, each, size=13, height=8)
    _line(pdf, together, size=16, bold=True, height=10)
    pdf.ln(6)
    heads = (_("Pieces"), f"{_('A piece')}, {quote.currency}", f"{_('Together')}, {quote.currency}")
    _table(pdf, heads, quote.prices)
    pdf.ln(4)
    _line(pdf, _("Garments and carriage are not in it. One test piece of each design comes first."), size=9)
    return bytes(pdf.output())


def _line(pdf: FPDF, text: str, *, size: float, bold: bool = False, height: float = 6.5) -> None:
    set_letters(pdf, printable(text), size_pt=size, bold=bold)
    pdf.multi_cell(0, height, printable(text), new_x="LMARGIN", new_y="NEXT")


def _table(pdf: FPDF, heads: Sequence[str], prices: Sequence[QuotedPrice]) -> None:
    widths = (30, 50, 50)
    for width, head in zip(widths, heads, strict=True):
        set_letters(pdf, printable(head), size_pt=10, bold=True)
        pdf.cell(width, 7, printable(head), border="B", align="R")
    pdf.ln()
    for price in prices:
        set_letters(pdf, "", size_pt=10, bold=price.is_asked)
        for width, text in zip(
            widths,
            (f"{price.pieces}", figure(float(price.a_piece), 2), figure(float(price.total), 2)),
            strict=True,
        ):
            pdf.cell(width, 6.5, text, align="R")
        pdf.ln()
