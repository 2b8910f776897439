"""What the workshop owns and knows: catalogue, stock, ledger, suppliers."""

from inventory.models.acts import ActOnMany, PartOfAct, ShadeAct
from inventory.models.bobbins import BobbinBatch, BobbinStyle, PartBobbin
from inventory.models.changes import Change
from inventory.models.ledger import Entry, LandedRow, Reservation
from inventory.models.lists import ListShape
from inventory.models.needles import NeedlePack
from inventory.models.orders import Order, OrderLine, OrderReceipt
from inventory.models.places import Place
from inventory.models.stabilizer import Offcut, SheetPack, SprayCan, StabilizerProduct, StabilizerRoll
from inventory.models.stock import LabelSeries, StockItem
from inventory.models.stocktakes import Stocktake, StocktakeLine
from inventory.models.suppliers import Offer, PriceBreak, Staple, Supplier
from inventory.models.threads import EarlierCode, Fibre, PutUp, Shade, Spool, ThreadRange, Washing
from inventory.models.work import LongWork, WorkProcess

__all__ = [
    "ActOnMany",
    "BobbinBatch",
    "BobbinStyle",
    "Change",
    "EarlierCode",
    "Entry",
    "Fibre",
    "LabelSeries",
    "LandedRow",
    "ListShape",
    "LongWork",
    "NeedlePack",
    "Offcut",
    "Offer",
    "Order",
    "OrderLine",
    "OrderReceipt",
    "PartBobbin",
    "PartOfAct",
    "Place",
    "PriceBreak",
    "PutUp",
    "Reservation",
    "Shade",
    "ShadeAct",
    "SheetPack",
    "Spool",
    "SprayCan",
    "StabilizerProduct",
    "StabilizerRoll",
    "Staple",
    "StockItem",
    "Stocktake",
    "StocktakeLine",
    "Supplier",
    "ThreadRange",
    "Washing",
    "WorkProcess",
]
