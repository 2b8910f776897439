"""Shades with their ranges and put-ups: what the rows of a catalogue file would make and change."""

from collections.abc import Sequence
from typing import Any

from inventory.compute.colour.lab import Lab, hex_from_lab, lab_from_hex
from inventory.compute.spoken import _, plainly
from inventory.files.importing.catalogue import Draft, Index, Statement, folded, refuse_incomplete, state
from inventory.files.importing.forms import OF_PUT_UP
from inventory.files.importing.plan import ImportPlan
from inventory.files.importing.rows import Row
from inventory.models import EarlierCode, PutUp, Shade, ThreadRange

_OF_RANGE = (
    "purpose", "fibre", "tex", "tex_is_nominal", "weight_label", "washing", "needle", "most_stitches_per_minute",
)  # fmt: skip


class _Drafts:
    """Every range, put-up and shade, there or new, in the order in which they are made."""

    def __init__(self) -> None:
        self.ranges: Index[Draft] = Index()
        self.put_ups: Index[Draft] = Index()
        self.shades: Index[Draft] = Index()
        self.all: dict[type, list[Draft]] = {ThreadRange: [], PutUp: [], Shade: [], EarlierCode: []}
        self.earlier: dict[tuple[str, ...], Draft] = {}
        of: dict[int, Draft] = {}
        for range in ThreadRange.objects.all():
            of[range.pk] = self._add(
                self.ranges, (range.maker, range.name), Draft(ThreadRange, str(range), {}, range)
            )
        for put_up in PutUp.objects.all():
            owner = of[put_up.range_id]
            self._add(
                self.put_ups,
                (_key(owner), put_up.name),
                Draft(PutUp, f"{owner.name} {put_up.name}", {}, put_up),
            )
        shades = {}
        for shade in Shade.objects.all():
            owner = of[shade.range_id]
            draft = Draft(Shade, f"{owner.name} {shade.code}", {}, shade)
            shades[shade.pk] = self._add(self.shades, (_key(owner), shade.code), draft)
        for earlier in EarlierCode.objects.all():
            draft = Draft(EarlierCode, earlier.code, {}, earlier)
            self.earlier[(_key(shades[earlier.shade_id]), *folded(earlier.code))] = draft

    def _add(self, index: Index[Draft], names: tuple[str, ...], draft: Draft) -> Draft:
        index.add(names, draft)
        self.all[draft.model].append(draft)
        return draft

    def range(self, maker: str, name: str) -> Draft:
        return self.ranges.get(maker, name) or self._add(
            self.ranges,
            (maker, name),
            Draft(ThreadRange, f"{maker} {name}", {"maker": maker, "name": name}, needs={"tex": "tex"}),
        )

    def put_up(self, range: Draft, name: str) -> Draft:
        return self.put_ups.get(_key(range), name) or self._add(
            self.put_ups,
            (_key(range), name),
            Draft(
                PutUp,
                f"{range.name} {name}",
                {"range": range, "name": name},
                needs={"length_mm": "put_up_length_m"},
            ),
        )

    def shade(self, range: Draft, code: str) -> Draft:
        return self.shades.get(_key(range), code) or self._add(
            self.shades,
            (_key(range), code),
            Draft(Shade, f"{range.name} {code}", {"range": range, "code": code}),
        )

    def earlier_code(self, shade: Draft, code: str) -> Draft:
        names = (_key(shade), *folded(code))
        if names not in self.earlier:
            draft = Draft(
                EarlierCode,
                _("{shade}, earlier {code}").format(shade=shade.name, code=code),
                {"shade": shade, "code": code},
            )
            self.earlier[names] = draft
            self.all[EarlierCode].append(draft)
        return self.earlier[names]


def _key(draft: Draft) -> str:
    """Return what tells this very draft from all others, names being not enough: A BC is not AB C."""
    return str(id(draft))


def plan_shades(rows: Sequence[Row], *, sha256: str) -> ImportPlan:
    """Return what the rows of a file of shades would do."""
    drafts = _Drafts()
    for row in rows:
        if row["maker"] and row["range"]:
            state(row, _statements(row, drafts))
    every = [draft for of_model in drafts.all.values() for draft in of_model]
    refuse_incomplete(every)
    for draft in every:
        _refuse_thinner_than_its_core(draft)
        _forget_old_sigma(draft)
    return ImportPlan(drafts=every)


def _refuse_thinner_than_its_core(draft: Draft) -> None:
    """Refuse the rows after which a full spool would be no thicker than its core."""
    if draft.model is not PutUp or not {"full_diameter_mm", "core_diameter_mm"} & set(draft.stated):
        return
    full_mm, core_mm = (
        draft.stated.get(name, getattr(draft.record, name, None))
        for name in ("full_diameter_mm", "core_diameter_mm")
    )
    if full_mm is not None and core_mm is not None and full_mm <= core_mm:
        for row in draft.rows:
            column = "put_up_core_mm" if row["put_up_core_mm"] is not None else "put_up_full_mm"
            row.refuse(
                column,
                _(
                    "A full spool is thicker than its core; {full_mm} mm is not more than {core_mm} mm."
                ).format(full_mm=plainly(full_mm), core_mm=plainly(core_mm)),
            )


def _forget_old_sigma(draft: Draft) -> None:
    """A new colour is as sure as its source, and not as the colour was that it takes the place of."""
    if draft.model is not Shade or draft.record is None or draft.record.colour_sigma is None:
        return
    differing = {"lab_l", "lab_a", "lab_b", "colour_source"} & set(draft.differences())
    if differing:
        draft.stated["colour_sigma"] = None
        draft.stated_in["colour_sigma"] = min(draft.stated_in[name] for name in differing)


def _statements(row: Row, drafts: _Drafts) -> list[Statement]:
    range = drafts.range(row["maker"], row["range"])
    statements: list[Statement] = [(range, name, name, row[name]) for name in _OF_RANGE if name != "tex"]
    if row["tex"] is not None:
        statements.append((range, "tex", "tex", row["tex"].tex))
        statements.append((range, "tex", "tex_typed", row["tex"].typed))
    if row["put_up"]:
        put_up = drafts.put_up(range, row["put_up"])
        statements.extend((put_up, column, name, row[column]) for column, name in OF_PUT_UP.items())
    if row["code"]:
        shade = drafts.shade(range, row["code"])
        colour: dict[str, Any] = _colour(row)
        statements.append((shade, "name", "name", row["name"]))
        statements.extend(
            (shade, name if row.states(name) else "hex", name, value) for name, value in colour.items()
        )
        statements.append((shade, "colour_source", "colour_source", row["colour_source"]))
        for code in row["earlier_codes"] or ():
            earlier = drafts.earlier_code(shade, code)
            statements.append((earlier, "earlier_codes", "code", code))
    return statements


def _colour(row: Row) -> dict[str, float]:
    """Return the Lab that the row gives as such or as a screen colour; refuse two that are not the same."""
    lab = (row["lab_l"], row["lab_a"], row["lab_b"])
    if all(value is not None for value in lab):
        if row["hex"] and row["hex"] != hex_from_lab(Lab(*lab)):
            row.refuse(
                "hex",
                _("Its Lab is {hex} on a screen, not this. Leave one of them blank.").format(
                    hex=hex_from_lab(Lab(*lab))
                ),
            )
        return dict(zip(("lab_l", "lab_a", "lab_b"), lab, strict=True))
    if row["hex"]:
        return dict(zip(("lab_l", "lab_a", "lab_b"), lab_from_hex(row["hex"]), strict=True))
    return {}
