"""How much thread a spool holds, or spray a can: weighed, judged by eye, or not known."""

import math
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError, require_positive
from inventory.compute.knowing import sealed_sigma
from inventory.compute.lengths import ScaleReading
from inventory.compute.units import told_mass, told_mass_plainly, told_thread
from inventory.compute.weighing import (
    MOISTURE_SIGMA,
    length_from_fill_level,
    length_from_weight,
    length_sigma,
    weight_of_length,
)
from inventory.ledger import Finding, Line, find, post
from inventory.ledger.changes import change, changed_before
from inventory.models import Change, Entry, Spool, SprayCan, StockItem, ThreadRange

# One sigma of a thread's tex about the figure its maker states: common practice, no source.
STATED_TEX_SIGMA = 0.03
# Where only a weight label is known. Threads sold under one label have tex 24 to 44, any of them as likely as
# the next: a rectangle of half-width 10 about 34, and its sigma is the half-width by the root of three
# (JCGM 100:2008, 4.3.7).
NOMINAL_TEX_SIGMA = 10 / 34 / math.sqrt(3)
# By how much empty spools of one put-up differ in weight: common practice, no source.
TARE_SIGMA = 0.03
# More thread than a full spool holds is believed up to this many sigmas.
BELIEVED_SIGMAS = 3.0
# How much more than it says a thing may hold before that is asked about: common practice, no source.
OVERLONG = 0.15
# How far the empty weight of a can may be off that was reckoned from what is printed: common practice, no source.
EMPTY_SIGMA = 0.02


class TareNotKnown(WorkshopError):
    """Nobody has weighed the empty spool yet."""


class MoreThanFull(WorkshopError):
    """The spool weighs more than a full one could."""


class LengthWhenFullNotKnown(WorkshopError):
    """A spool without a put-up says nothing about how much it holds when full."""


@whole_act
def weigh_spool(
    spool: StockItem,
    *,
    gross_mg: int,
    scale_resolution_mg: int,
    key: str,
    at: datetime,
    by: Any,
    sure: bool = False,
    reference: str = "",
) -> Entry:
    """Return the entry that sets ``spool`` to the length that its weight tells.

    The empty weight is the spool's own or its put-up's (else TareNotKnown), the tex its range's. More than a
    full spool could hold raises MoreThanFull unless the person is ``sure``.
    """
    require_positive(scale_resolution_mg, what=_("resolution of the scale in mg"))
    fresh = _fresh(spool)
    tare_mg, tare_sigma_mg = _tare(fresh)
    range = fresh.shade.range
    # An empty spool may read a little below its empty weight: as far as scale and spools scatter, that is empty.
    scatter_mg = 2 * math.hypot(scale_resolution_mg / math.sqrt(6), tare_sigma_mg)
    net_of_mg = tare_mg if tare_mg - scatter_mg <= gross_mg < tare_mg else gross_mg
    length_mm = length_from_weight(gross_mg=net_of_mg, tare_mg=tare_mg, tex=range.tex)
    sigma_mm = _sigma_on_scale(fresh, gross_mg=net_of_mg, scale_resolution_mg=scale_resolution_mg)
    if not sure:
        _refuse_more_than_full(
            fresh, gross_mg=gross_mg, length_mm=length_mm, scale_resolution_mg=scale_resolution_mg
        )
    return find(
        fresh,
        quantity=round(length_mm),
        finding=Finding(sigma_mm, StockItem.Known.WEIGHED),
        key=key,
        at=at,
        by=by,
        reason=Entry.Reason.WEIGH,
        reference=reference,
    )


@whole_act
def weigh_can(
    item: StockItem,
    *,
    gross: ScaleReading,
    key: str,
    at: datetime,
    by: Any,
    empty_mg: int | None = None,
    sure: bool = False,
    reference: str = "",
) -> Entry:
    """Return the entry that sets a can to what is left in it: what the scale shows less the empty can.

    ``empty_mg`` is kept with the can; None uses what is kept. Raises MoreThanFull for more than it holds full,
    unless the person is ``sure``.
    """
    can = SprayCan.objects.get(pk=item.pk)
    if empty_mg is not None and empty_mg != can.empty_mg:
        change(can, changes={"empty_mg": empty_mg}, at=at, by=by, what=f"{can} when empty")
        can.empty_mg = empty_mg
    if can.empty_mg is None:
        raise WorkshopError(
            _(
                "What {can} weighs empty is not known. Give it: a full can's weight less what is printed "
                "as its content."
            ).format(can=can)
        )
    left_mg = gross.mg - can.empty_mg
    if left_mg < 0:
        raise WorkshopError(
            _("{gross} is less than the empty can, {empty}. Weigh it again.").format(
                gross=told_mass_plainly(gross.mg), empty=told_mass_plainly(can.empty_mg)
            )
        )
    if not sure and left_mg > can.full_mg * (1 + OVERLONG):
        raise MoreThanFull(
            _(
                "{left} in {can}? Full it holds {full}. Is it the right can, and the right unit? "
                "If it is, say that you are sure."
            ).format(left=told_mass(left_mg), can=can, full=told_mass(can.full_mg))
        )
    sigma_mg = (gross.resolution_mg**2 / 12 + (EMPTY_SIGMA * can.empty_mg) ** 2) ** 0.5
    finding = Finding(sigma_mg, StockItem.Known.WEIGHED)
    return find(item, quantity=left_mg, finding=finding, key=key, at=at, by=by, reference=reference,
                reason=Entry.Reason.WEIGH)  # fmt: skip


def judge_spool(
    spool: StockItem, *, level: str, key: str, at: datetime, by: Any, reference: str = ""
) -> Entry:
    """Return the entry that sets ``spool`` to what it looks like: full, three quarters, half and so on.

    The sigma is wide, as wide as the eye's. ``level`` is one of ``inventory.compute.weighing.FILL_LEVELS``.
    """
    fresh = _fresh(spool)
    if fresh.put_up is None:
        raise LengthWhenFullNotKnown(
            _(
                "Nobody knows how much {fresh} holds when full, so half of it says nothing. Choose its "
                "put-up first, weigh it, or give its length."
            ).format(fresh=fresh)
        )
    length_mm, sigma_mm = length_from_fill_level(level, put_up_mm=fresh.put_up.length_mm)
    return find(
        fresh,
        quantity=round(length_mm),
        finding=Finding(sigma_mm, StockItem.Known.JUDGED),
        key=key,
        at=at,
        by=by,
        reference=reference,
    )


def mark_unknown(item: StockItem, *, key: str, at: datetime, by: Any, reference: str = "") -> Entry:
    """Return the entry from which on nobody claims to know how much ``item`` holds.

    It moves nothing: ``on_hand`` keeps what the books have left over, so that what is set aside stays so and
    taking the entry back restores everything. Until it is weighed, counted or judged, no verdict rests on it.
    """
    line = Line(item, 0, finding=Finding(None, StockItem.Known.UNKNOWN))
    return post([line], reason=Entry.Reason.COUNT, key=key, at=at, by=by, reference=reference)[0]


@whole_act
def learn_tare(spool: StockItem, *, empty_mg: int, at: datetime, by: Any, key: str = "") -> Change | None:
    """Return what was noted of an empty spool's weight; None where it was known to weigh just that.

    It becomes the weight of every empty spool of its put-up if that had none, otherwise of this spool alone.
    """
    require_positive(empty_mg, what=_("weight of the empty spool in mg"))
    fresh = _fresh(spool)
    earlier = changed_before(key)
    if earlier is not None and earlier.fields.get("tare_mg", {}).get("after") == empty_mg:
        return earlier  # whether it went to the put-up or to the spool may be decided differently by now
    what = f"{fresh} weighed empty"
    changes = {"tare_mg": empty_mg}
    if fresh.put_up is not None and fresh.tare_mg is None and fresh.put_up.tare_mg in (None, empty_mg):
        return change(fresh.put_up, changes=changes, at=at, by=by, key=key, what=what)
    return change(fresh, changes=changes, at=at, by=by, key=key, what=what)


def sigma_of_use(
    spool: StockItem, *, used_mm: float, before: Finding, before_mm: float, scale_resolution_mg: int
) -> float | None:
    """Return one sigma, in mm, of what was used of ``spool`` between how it was known ``before`` and a weighing now.

    None where nobody knew what was on it. Where it had been weighed too, empty weight and tex are wrong by the
    same amount both times and cancel, all but what the tex makes of the metres used themselves: those are counted
    in the same false metres as the shelf, so that the next plan is right. What else had become uncertain of it
    since that weighing counts in full, and so does the whole error of a length that was never weighed.
    """
    if before.sigma is None:
        return None
    fresh = _fresh(spool)
    range = fresh.shade.range
    tare_mg, _sigma_mg = _tare(fresh)

    def sigma_at(length_mm: float) -> float:
        gross_mg = weight_of_length(length_mm=length_mm, tex=range.tex, tare_mg=tare_mg)
        return _sigma_on_scale(fresh, gross_mg=gross_mg, scale_resolution_mg=scale_resolution_mg)

    if before.known != StockItem.Known.WEIGHED:
        return math.hypot(before.sigma, sigma_at(max(before_mm - used_mm, 0.0)))
    readings_mm = scale_resolution_mg / math.sqrt(12) * math.sqrt(2) / range.tex * 1000
    since = math.sqrt(max(0.0, before.sigma**2 - sigma_at(before_mm) ** 2))
    return math.hypot(readings_mm, used_mm * MOISTURE_SIGMA[range.fibre], since)


def tex_sigma(range: ThreadRange) -> float:
    """Return one sigma of the range's tex as a share of it; wider where the tex only stands for a label."""
    return NOMINAL_TEX_SIGMA if range.tex_is_nominal else STATED_TEX_SIGMA


def sigma_by_weight(spool: Spool, length_mm: float, scale_resolution_mg: int) -> float:
    """Return one sigma, in mm, of what a weighing would tell of ``spool`` with so much on it. Raises TareNotKnown."""
    gross_mg = weight_of_length(length_mm=length_mm, tex=spool.shade.range.tex, tare_mg=_tare(spool)[0])
    return _sigma_on_scale(spool, gross_mg=gross_mg, scale_resolution_mg=scale_resolution_mg)


def _sigma_on_scale(spool: Spool, *, gross_mg: float, scale_resolution_mg: int) -> float:
    """Return one sigma, in mm, of the length that a weight tells of ``spool``."""
    tare_mg, tare_sigma_mg = _tare(spool)
    range = spool.shade.range
    return length_sigma(
        gross_mg=gross_mg,
        tare_mg=tare_mg,
        tex=range.tex,
        scale_resolution_mg=scale_resolution_mg,
        tare_sigma_mg=tare_sigma_mg,
        tex_relative_sigma=tex_sigma(range),
        moisture_relative_sigma=MOISTURE_SIGMA[range.fibre],
    )


def _fresh(spool: StockItem) -> Spool:
    found = Spool.objects.select_related("put_up", "shade__range").filter(pk=spool.pk).first()
    if found is None:
        raise WorkshopError(
            _("{spool} is no spool. Give its length or its count instead.").format(spool=spool)
        )
    return found


def _tare(spool: Spool) -> tuple[int, float]:
    """Return the weight of the empty spool in mg and its sigma."""
    if spool.tare_mg is not None:
        return spool.tare_mg, 0.0
    if spool.put_up is not None and spool.put_up.tare_mg is not None:
        return spool.put_up.tare_mg, TARE_SIGMA * spool.put_up.tare_mg
    alike = (
        _("an empty {put_up} of {range}").format(put_up=spool.put_up, range=spool.shade.range)
        if spool.put_up
        else _("an empty spool like it")
    )
    raise TareNotKnown(
        _(
            "The empty weight of {spool} is not known, so its weight tells no length. Put {alike} on "
            "the scale once and enter that as its empty weight; until then judge {spool} by eye."
        ).format(spool=spool, alike=alike)
    )


def _refuse_more_than_full(
    spool: Spool, *, gross_mg: int, length_mm: float, scale_resolution_mg: int
) -> None:
    """Ask about a weight that no full spool has.

    How far a full one strays is judged of a full one: of what is said to be on it, a length that cannot be would
    bring the very doubt with it that makes it seem likely.
    """
    if spool.put_up is None:
        return
    full_mm = spool.put_up.length_mm
    tare_mg, _sigma_mg = _tare(spool)
    full_mg = weight_of_length(length_mm=full_mm, tex=spool.shade.range.tex, tare_mg=tare_mg)
    sigma_mm = _sigma_on_scale(spool, gross_mg=full_mg, scale_resolution_mg=scale_resolution_mg)
    if length_mm - full_mm > BELIEVED_SIGMAS * math.hypot(sigma_mm, sealed_sigma(full_mm)):
        raise MoreThanFull(
            _(
                "{weight} would be {length} on {spool}, and a full {put_up} holds {full_length}. Is it the "
                "right spool, and the right unit? If it is, say that you are sure."
            ).format(
                weight=told_mass(gross_mg),
                length=told_thread(length_mm, places=0),
                spool=spool,
                put_up=spool.put_up,
                full_length=told_thread(full_mm, places=0),
            )
        )
