"""The plan as programs are told of it: the stable JSON of ``planning.plan.data``, typed; its keys are never renamed."""

from typing import Any

from ninja import Schema
from pydantic.fields import FieldInfo

from planning.plan.json_keys import PLAN, SHADE


class PlannedShade(Schema):
    """A shade of the catalogue."""

    id: int
    maker: str
    range: str
    code: str
    name: str
    hex: str


class GradedWarning(Schema):
    grade: str
    text: str


class PlannedDesign(Schema):
    """A design on every piece."""

    name: str
    sha256: str
    format: str
    width_mm: float
    height_mm: float
    stitches: int
    trims: int
    stops: int
    warnings: list[str]
    graded_warnings: list[GradedWarning]


class AskedColour(Schema):
    hex: str | None
    name: str


class BlockPart(Schema):
    """A colour block of a design."""

    design: int
    block: int
    requested: AskedColour
    stitches: int
    penetrations: int
    trims: int
    drawn_mm: float
    needle_mm_per_piece: float
    bobbin_mm_per_piece: float
    needle_used_mm_per_piece: float
    bobbin_used_mm_per_piece: float


class RunnerUpPart(Schema):
    shade: PlannedShade
    delta_e_00: float


class WishedColour(Schema):
    hex: str
    name: str


class NearerThread(Schema):
    id: int
    thread: str
    supplier: str


class ColourPart(Schema):
    """How the thread stands for the colour asked for."""

    source: str | None
    is_wish: bool
    word: str
    text: str
    wished: WishedColour | None
    delta_e_00: float | None
    given_up_delta_e_00: float | None
    known: int | None
    nearer: NearerThread | None
    enough_metres: list[PlannedShade]


class SpoolPart(Schema):
    label: str
    place: str | None
    from_piece: int
    to_piece: int
    needed_mm: int
    left_mm: int
    lot: str
    from_block: list[int] | None
    inside_block: Any


class ThreadPart(Schema):
    """A thread to put on."""

    shade: PlannedShade | None
    pinned: bool
    remembered: bool
    runners_up: list[RunnerUpPart]
    requested: AskedColour
    blocks: list[list[int]]
    delta_e_00: float | None
    delta_e_00_from: float | None
    delta_e_00_to: float | None
    grey_scale_grade: str | None
    colour_verdict: str
    colour: ColourPart
    needed_mm: int
    needed_sigma_mm: int
    free_mm: int
    free_sigma_mm: int
    p_enough: float
    verdict: str
    reason: str
    pieces_possible: int
    missing_mm: int
    spools: list[SpoolPart]


class BobbinChangePart(Schema):
    piece: int
    design: int
    block: Any
    bobbin: str


class BobbinInterruption(Schema):
    piece: int
    block: Any
    inside_block: Any


class WindPart(Schema):
    label: str
    bobbins: int


class BobbinsPart(Schema):
    """The bobbins of the batch."""

    thread: str
    needed_mm: int
    count: int
    owned: int
    verdict: str
    p_enough: float
    changes: list[BobbinChangePart]
    first: str
    interruptions: list[BobbinInterruption]
    wind: list[WindPart]


class LayerPart(Schema):
    """One layer of stabilizer."""

    product: str
    kind: str
    method: str
    pieces: int
    cut_before: int
    piece_mm: list[int]
    from_offcuts: int
    roll_mm: int
    bound_mm: int
    missing_pieces: int
    free_mm: int
    verdict: str
    holds_by: str
    comes_off: str
    spray_mg: int
    spray_free_mg: int
    spray_missing_mg: int
    cautions: list[str]


class AppliqueStopPart(Schema):
    at: str
    do: str
    block: int
    called: str
    part: int
    line: str


class AppliquePart(Schema):
    """An applique of a design, with its piece of fabric."""

    design: int
    name: str
    fabric: str
    piece_mm: list[float]
    count: int
    stops: list[AppliqueStopPart]
    cautions: list[str]


class TimePart(Schema):
    machine_min: float
    hands_on_min: float
    thread_changes: int
    start_by: str | None
    material_by: str | None


class QuantityPart(Schema):
    pieces: int
    pieces_to_stitch: int
    machine_min: float
    hands_on_min: float
    material: str
    time: str
    total: str
    per_piece: str


class CostPart(Schema):
    """What the batch costs; money is text."""

    currency: str
    material: str
    material_per_piece: str
    time: str
    machine: str
    hands_on: str
    total: str
    total_per_piece: str
    tests_and_spoilage: str
    unpriced: list[str]
    by_quantity: list[QuantityPart]


class LeftOutPart(Schema):
    what: str
    count: int
    why: str
    labels: list[str]


class ShoppingPart(Schema):
    what: str
    need_mm: int
    need_mg: int
    packs: int
    put_up: str
    supplier: str
    unit_price: str | None
    total: str | None
    order_by: str | None


class OnOrderPart(Schema):
    what: str
    quantity: int
    order: int
    supplier: str
    comes_on: str | None
    is_draft: bool


class ShadeInstead(Schema):
    shade: PlannedShade
    blocks: list[list[int]]
    need_mm: int
    packs: int
    put_up: str
    supplier: str
    total: str


class InsteadPart(Schema):
    """Shades whose purchase brings the colours nearer."""

    shades: list[ShadeInstead]
    mean_delta_e_00: float
    mean_delta_e_00_then: float
    verdict_then: str
    total: str


class LookedAtPart(Schema):
    label: str
    what: str
    place: str | None
    act: str


class MeasurePart(Schema):
    items: list[LookedAtPart]
    of: str | None
    chance: float
    enough: float
    short: float


class NeedleStart(Schema):
    needle: int
    thread: int


class RethreadPart(Schema):
    hooping: int
    block: int
    needle: int
    off: int | None
    on: int | None


class SpoolChangePart(Schema):
    thread: int
    hooping: int
    block: int
    inside_block: float
    off: str
    on: str
    needle: int
    on_needle: int
    ready_from: int
    stops: bool


class NeedlesPart(Schema):
    threadings: int
    start: list[NeedleStart]
    rethreads: list[RethreadPart]
    spool_changes: list[SpoolChangePart]


class CopiesPart(Schema):
    copies_per_hooping: int
    hoop: str
    hoopings: int
    thread_changes: int
    rethreads: int
    machine_min: float
    hands_on_min: float
    stabilizer_pieces: int
    stabilizer_mm2: float
    planned: bool


class PlanAnswer(Schema):
    """The whole plan of a batch, as the commands plan and plan_job answer it."""

    verdict: str
    strictness: str
    colour_limit: float
    mean_delta_e_00: float
    colour_verdict: str
    pieces: int
    pieces_to_stitch: int
    test_pieces: int
    spoiled_allowed: int
    copies_per_hooping: int
    hoopings: int
    designs: list[PlannedDesign]
    blocks: list[BlockPart]
    threads: list[ThreadPart]
    bobbins: BobbinsPart
    stabilizer: list[LayerPart]
    applique: list[AppliquePart]
    time: TimePart
    cost: CostPart
    left_out: list[LeftOutPart]
    too_big: str | None
    shopping: list[ShoppingPart]
    on_order: list[OnOrderPart]
    instead: list[InsteadPart]
    measure_first: list[MeasurePart]
    notes: list[str]
    needles: NeedlesPart
    copies_compared: list[CopiesPart]


def _described(model: type[Schema], beneath: str, meanings: dict[str, str]) -> None:
    """Give each field of ``model``, and of what lies within it, the meaning that the handbook's table has for it."""
    for name, field in model.model_fields.items():
        path = f"{beneath}.{name}" if beneath else name
        within = _model_within(field)
        is_list = str(field.annotation).startswith("list[")
        meaning = meanings.get(f"{path}[]" if is_list else path)
        field.description = field.description or meaning
        if within is PlannedShade:
            continue
        if within is not None:
            _described(within, f"{path}[]" if is_list else path, meanings)
    model.model_rebuild(force=True)


def _model_within(field: FieldInfo) -> type[Schema] | None:
    """Return the record that a field holds, or its list, or null."""
    stack: list[Any] = [field.annotation]
    while stack:
        each = stack.pop()
        if isinstance(each, type) and issubclass(each, Schema):
            return each
        stack += getattr(each, "__args__", ())
    return None


_described(PlannedShade, "", SHADE)
_described(PlanAnswer, "", PLAN)
