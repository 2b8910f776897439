"""An order to be sent: as a PDF, as CSV, and as plain text to paste into a mail."""

import csv
import io
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils.translation import gettext as _

from inventory.acting.days import plain_day
from inventory.compute.later import later
from inventory.compute.spoken import N_, as_written_here
from inventory.compute.units import METRIC, read_in
from inventory.labels.printable import ENCODING, printable
from inventory.models import Order, OrderLine
from inventory.tables.cells import guarded

if TYPE_CHECKING:
    from fpdf import FPDF
    from fpdf.enums import Align, TableBordersLayout
    from fpdf.fonts import FontFace
else:
    FPDF = later("fpdf", "FPDF")
    Align, TableBordersLayout = later("fpdf.enums", "Align", "TableBordersLayout")
    FontFace = later("fpdf.fonts", "FontFace")

_FONT = "Helvetica"
_WIDTHS = (10, 70, 48, 16, 26)
_HEADS = (N_("No."), N_("What"), N_("Sold as"), N_("Packs"), N_("Price"))
COLUMNS = (
    "order",
    "supplier",
    "line",
    "maker",
    "range",
    "code",
    "name",
    "sold_as",
    "packs",
    "pieces",
    "price",
)


def order_text(order: Order, *, workshop: str, currency: str) -> str:
    """Return the order as plain text: who orders, the lines, the sum."""
    lines = [
        _("Order {number} from {workshop} to {supplier}").format(
            number=order.number, workshop=workshop, supplier=order.supplier
        ),
        "",
    ]
    for line in order.lines.all():
        lines.append(f"{line.packs} × {_sold_as(line)}: {line.what}, {currency} {_money(line.total)}")
    lines += ["", _("Goods {currency} {goods}").format(currency=currency, goods=_money(order.goods))]
    if order.shipping:
        lines.append(
            _("Shipping {currency} {shipping}").format(currency=currency, shipping=_money(order.shipping))
        )
    lines.append(_("Total {currency} {total}").format(currency=currency, total=_money(order.total)))
    if order.note:
        lines += ["", order.note]
    return "\n".join(lines) + "\n"


def order_csv(order: Order) -> bytes:
    """Return the order as CSV with a byte order mark, one row a line; no cell can run as a formula."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for line in order.lines.all():
        range = line.shade.range if line.shade else None
        with read_in(METRIC):  # as all files are that programs read
            sold_as = _sold_as(line)
        maker = range.maker if range else line.product.maker if line.product else ""
        cells = (
            str(order.number),
            order.supplier.name,
            str(line.number),
            maker,
            range.name if range else "",
            line.shade.code if line.shade else "",
            line.shade.name if line.shade else line.product.name if line.product else "",
            sold_as,
            str(line.packs),
            str(line.things),
            f"{line.total:.2f}",
        )
        writer.writerow([guarded(cell) for cell in cells])
    return text.getvalue().encode("utf-8-sig")


def order_pdf(order: Order, *, workshop: str, currency: str) -> bytes:
    """Return the order on A4, with room to tick off what has come."""
    pdf = FPDF(unit="mm", format="A4")
    pdf.core_fonts_encoding = ENCODING
    pdf.set_title(_("Order {number}").format(number=order.number))
    pdf.set_margin(20)
    pdf.set_auto_page_break(True, margin=20)
    pdf.add_page()
    pdf.set_font(_FONT, "B", 18)
    pdf.cell(0, 10, printable(_("Order {number}").format(number=order.number)), new_x="LMARGIN", new_y="NEXT")
    pdf.set_font(_FONT, "", 11)
    placed = order.placed_at or order.made_at
    for said in (
        _("From {workshop}").format(workshop=workshop),
        _("To {supplier}").format(supplier=order.supplier),
        plain_day(placed),
    ):
        pdf.cell(0, 6, printable(said), new_x="LMARGIN", new_y="NEXT")
    pdf.ln(6)
    pdf.set_font(_FONT, "", 10)
    with pdf.table(
        borders_layout=TableBordersLayout.HORIZONTAL_LINES,
        col_widths=_WIDTHS,
        headings_style=FontFace(emphasis="BOLD"),
        line_height=6,
        text_align=(Align.R, Align.L, Align.L, Align.R, Align.R),
    ) as table:
        table.row([printable(_(head)) for head in _HEADS])
        for line in order.lines.all():
            cells = (
                str(line.number), line.what, _sold_as(line), str(line.packs), _money(line.total)
            )  # fmt: skip
            table.row([printable(cell) for cell in cells])
    pdf.ln(4)
    sums: list[tuple[str, Decimal]] = [
        (_("Goods"), order.goods),
        (_("Shipping"), order.shipping),
        (_("Total"), order.total),
    ]
    for name, amount in sums:
        pdf.set_font(_FONT, "B" if amount is order.total else "", 10)
        pdf.cell(
            0,
            6,
            printable(f"{name}  {currency} {_money(amount)}"),
            align=Align.R,
            new_x="LMARGIN",
            new_y="NEXT",
        )
    if order.note:
        pdf.ln(4)
        pdf.set_font(_FONT, "", 10)
        pdf.multi_cell(0, 6, printable(order.note))
    return bytes(pdf.output())


def _sold_as(line: OrderLine) -> str:
    return (
        line.sold_as
        if line.pack == 1
        else _("pack of {pack}, {sold_as}").format(pack=line.pack, sold_as=line.sold_as)
    )


def _money(amount: Decimal) -> str:
    return as_written_here(f"{amount:,.2f}")
