"""A shade that is renamed, or is one with another: one act that carries over all that rests on it, and goes back whole.

What rests on a shade is asked of the database's own references, so that nothing that is added later is forgotten:
spools, bobbins, offers, orders, equals, pins, remembered answers, promised threads.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.apps import apps
from django.core import serializers
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from inventory.acting import held, planned_act
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.ledger.changes import change, in_the_books
from inventory.models import EarlierCode, Reservation, Shade, ShadeAct

Kind = ShadeAct.Kind
# So many of one kind are told by name; the others by their number.
NAMED = 8


class CannotMerge(WorkshopError):
    """The two are no shades that can be one."""


# What may rest on a shade, as its tables are called.
NAMES_OF_TABLES = (
    N_("spools"), N_("bobbin batchs"), N_("part bobbins"), N_("offers"), N_("order lines"), N_("staples"), N_("pins"),
    N_("equals"), N_("remembered answers"),
)  # fmt: skip


@dataclass(frozen=True)
class RestingRows:
    """What of one kind rests on a shade: what it is called, how many there are, and the first of them by name."""

    what: str
    count: int
    names: tuple[str, ...]

    def __str__(self) -> str:
        more = self.count - len(self.names)
        return (
            _("{what} ({count}): {names} and {more} more").format(
                what=_(self.what), count=self.count, names=", ".join(self.names), more=more
            )
            if more
            else f"{_(self.what)} ({self.count}): {', '.join(self.names)}"
        )


def rests_on_shade(shade: Shade) -> list[RestingRows]:
    """Return all that rests on ``shade``: kinds of records that name it, and who has its spools set aside.

    One question to the database for each kind, however many rest on it.
    """
    found = []
    for relation in _relations():
        if relation.related_model is ShadeAct:
            continue
        rows = list(
            _rows(relation, shade)
            .select_related(*_named_by(relation.related_model))
            .annotate(in_all=models.Window(models.Count("pk")))[:NAMED]
        )
        if rows:
            name = str(relation.related_model._meta.verbose_name_plural)
            found.append(RestingRows(name, rows[0].in_all, tuple(str(row) for row in rows)))
    holders = sorted(
        set(Reservation.objects.filter(item__spool__shade=shade).values_list("holder", flat=True))
    )
    if holders:
        found.append(RestingRows(N_("spools set aside for"), len(holders), tuple(holders[:NAMED])))
    return found


@planned_act
def rename_shade(
    shade: Shade, *, code: str, name: str | None = None, key: str, at: datetime, by: Any, why: str = ""
) -> ShadeAct:
    """Return the act that gives ``shade`` another code, and another name if one is given; the old code still finds it.

    Sent again it answers with the first. Raises CannotMerge where another shade of the range has the code.
    """
    earlier = _acted_before(key, Kind.RENAME)
    if earlier is not None:
        return earlier
    shade = held(Shade.objects.select_related("range")).get(pk=shade.pk)
    code, name = code.strip(), shade.name if name is None else name.strip()
    other = Shade.objects.filter(range=shade.range, code__iexact=code).exclude(pk=shade.pk).first()
    if other is not None:
        raise CannotMerge(
            _("{other} has that code already. If the two are one shade, make them one instead.").format(
                other=other
            )
        )
    before, old = {"code": shade.code, "name": shade.name}, str(shade)
    told = [in_the_books(each) for each in rests_on_shade(shade)]
    if (
        change(
            shade,
            changes={"code": code, "name": name},
            at=at,
            by=by,
            what=f"{old}, renamed",
        )
        is None
    ):
        raise CannotMerge(_("{old} has that code and that name already.").format(old=old))
    made = _earlier_code(shade, before["code"]) if before["code"] != code else None
    shade = Shade.objects.get(pk=shade.pk)
    return ShadeAct.objects.create(
        kind=Kind.RENAME,
        shade=shade,
        what=_what(f"{old} is {shade}", why),
        before=before | {"earlier": made.pk if made else None, "after": {"code": code, "name": name}},
        told=told,
        key=key,
        at=at,
        by=by,
    )


@planned_act
def merge_shades(gone: Shade, *, into: Shade, key: str, at: datetime, by: Any, why: str = "") -> ShadeAct:
    """Return the act that makes ``gone`` one with ``into``: all that rested on it rests on that from now on.

    Its code still finds it. What the other has the like of already (the same pin, the same equal) goes, and comes
    back with the act. Sent again it answers with the first. Raises CannotMerge where they cannot be one shade.
    """
    earlier = _acted_before(key, Kind.MERGE)
    if earlier is not None:
        return earlier
    pair = {each.pk: each for each in held(Shade.objects.filter(pk__in=(gone.pk, into.pk)))}
    if len(pair) < 2:
        raise CannotMerge(_("Choose two shades: the one that goes, and the one it is."))
    gone, into = pair[gone.pk], pair[into.pk]
    if gone.range_id != into.range_id:
        raise CannotMerge(
            _(
                "{gone} and {into} are of two ranges, whose thread may differ. Say that they are equal "
                "instead, or correct the spools that were entered as the wrong one."
            ).format(gone=gone, into=into)
        )
    told = [in_the_books(each) for each in rests_on_shade(gone)]
    carried: dict[str, list[int]] = defaultdict(list)
    dropped: list[dict[str, Any]] = []
    for relation in _relations():
        for row in _rows(relation, gone).order_by("pk"):
            if _carry(row, relation.field.attname, into.pk):
                carried[_label(relation)].append(row.pk)
            else:
                dropped += serializers.serialize("python", [row])
                row.delete()
    old, record = str(gone), serializers.serialize("python", [gone])[0]
    code, number = gone.code, gone.pk
    gone.delete()
    made = _earlier_code(into, code)
    return ShadeAct.objects.create(
        kind=Kind.MERGE,
        shade=into,
        what=_what(f"{old} is {into}", why),
        before=_as_json({"gone": record, "number": number, "earlier": made.pk if made else None}),
        carried=dict(carried),
        dropped=_as_json(dropped),
        told=told,
        key=key,
        at=at,
        by=by,
    )


@planned_act
def take_back_shade_act(act: ShadeAct, *, at: datetime, by: Any) -> list[str]:
    """Return what could not be put back, in words, after taking ``act`` back as a whole; sent again, nothing happens.

    Raises CannotMerge where the shade as it was cannot be there again: another has its code by now.
    """
    act = held(ShadeAct.objects.all()).get(pk=act.pk)
    if act.taken_back_at is not None:
        return []
    problems = _rename_back(act, at=at, by=by) if act.kind == Kind.RENAME else _part_again(act)
    act.taken_back_at, act.taken_back_by = at, by
    act.save(update_fields=["taken_back_at", "taken_back_by"])
    return problems


def _rename_back(act: ShadeAct, *, at: datetime, by: Any) -> list[str]:
    shade, after = act.shade, act.before["after"]
    if (shade.code, shade.name) != (after["code"], after["name"]):
        raise CannotMerge(
            _("{shade} has been renamed again since. Take that back first.").format(shade=shade)
        )
    _refuse_taken(shade.range_id, act.before["code"], but=shade.pk)
    EarlierCode.objects.filter(pk=act.before["earlier"]).delete()
    back = {"code": act.before["code"], "name": act.before["name"]}
    change(shade, changes=back, at=at, by=by, what=f"{shade}, renamed back")
    return []


def _part_again(act: ShadeAct) -> list[str]:
    fields = act.before["gone"]["fields"]
    _refuse_taken(fields["range"], fields["code"], but=None)
    EarlierCode.objects.filter(pk=act.before["earlier"]).delete()
    _restore([act.before["gone"]])
    gone = Shade.objects.get(pk=act.before["number"])
    problems = []
    for label, numbers in act.carried.items():
        model_label, attname = label.rsplit(":", 1)
        model = apps.get_model(model_label)
        there = model._default_manager.filter(pk__in=numbers, **{attname: act.shade_id})
        for row in there:
            _carry(row, attname, gone.pk)
        lost = (
            len(numbers) - there.model._default_manager.filter(pk__in=numbers, **{attname: gone.pk}).count()
        )
        if lost:
            problems.append(
                _("{lost} of the {records} have changed since and stay as they are.").format(
                    lost=lost, records=model._meta.verbose_name_plural
                )
            )
    for row in act.dropped:
        try:
            with transaction.atomic():
                _restore([row])
        except (IntegrityError, ValidationError):
            problems.append(
                _("One of {records} could not be put back: its like is there by now.").format(
                    records=row["model"]
                )
            )
    return problems


def _relations() -> Iterator[Any]:
    """Yield every reference to a shade that another record holds, those without a name on this side too."""
    for field in Shade._meta.get_fields(include_hidden=True):
        if field.auto_created and not field.concrete and (field.one_to_many or field.one_to_one):
            yield field


def _rows(relation: Any, shade: Shade) -> models.QuerySet:
    return relation.related_model._default_manager.filter(**{relation.field.attname: shade.pk})


def _named_by(model: type[models.Model]) -> Iterator[str]:
    """Yield what the name of such a record may be made of, to be read with it: its references, of a shade its range."""
    for field in model._meta.concrete_fields:
        if field.is_relation:
            yield f"{field.name}__range" if field.related_model is Shade else field.name


def _label(relation: Any) -> str:
    return f"{relation.related_model._meta.label}:{relation.field.attname}"


def _carry(row: models.Model, attname: str, shade: int) -> bool:
    """Return whether ``row`` rests on that shade now; False where the rules of its table have its like already."""
    before = getattr(row, attname)
    setattr(row, attname, shade)
    try:
        with transaction.atomic():
            row.validate_constraints()
            type(row)._default_manager.filter(pk=row.pk).update(**{attname: shade})
    except (IntegrityError, ValidationError):
        setattr(row, attname, before)
        return False
    return True


def _restore(rows: list[dict[str, Any]]) -> None:
    for restored in serializers.deserialize("python", rows):
        restored.save()


def _earlier_code(shade: Shade, code: str) -> EarlierCode | None:
    made, is_new = EarlierCode.objects.get_or_create(shade=shade, code=code)
    return made if is_new else None


def _refuse_taken(range_id: int, code: str, *, but: int | None) -> None:
    others = Shade.objects.filter(range_id=range_id, code__iexact=code)
    other = next((each for each in others if each.pk != but), None)
    if other is not None:
        raise CannotMerge(
            _("{other} has the code {code} by now. Rename that one first, then take this back.").format(
                other=other, code=code
            )
        )


def _acted_before(key: str, kind: str) -> ShadeAct | None:
    if not key:
        raise CannotMerge(_("This needs a key, so that sending it twice does it once."))
    earlier = ShadeAct.objects.filter(key=key).first()
    if earlier is not None and earlier.kind != kind:
        raise CannotMerge(
            _("The key {key} belongs to another act. Open the page again and repeat the step.").format(
                key=key
            )
        )
    return earlier


def _what(said: str, why: str) -> str:
    return f"{said}{f': {why.strip()}' if why.strip() else ''}"[:200]


def _as_json(value: Any) -> Any:
    """Return ``value`` with dates and prices as text, as a JSON column keeps it; what restores it reads them again."""
    if isinstance(value, dict):
        return {name: _as_json(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [_as_json(each) for each in value]
    return value if isinstance(value, str | int | float | bool | None) else str(value)
