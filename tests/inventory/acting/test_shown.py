"""What a person was shown, and what is there now."""

import pytest

from inventory.acting import PlanHasChanged, fingerprint_of, held, refuse_if_changed
from inventory.models import Spool, StockItem
from tests.own_database import HOUSE

PARTS = {"the verdict": "enough", "the spools": ["S0001", "S0002"], "the bobbins": 3}


def test_the_same_plan_passes():
    refuse_if_changed(fingerprint_of(PARTS), dict(PARTS), look="Look again.")


def test_a_refusal_names_the_parts_that_differ_and_says_what_to_do():
    shown = fingerprint_of(PARTS)
    with pytest.raises(PlanHasChanged) as refused:
        refuse_if_changed(shown, PARTS | {"the spools": ["S0001"], "the bobbins": 2}, look="Look again.")
    said = "Since this was shown, the workshop has changed: the spools and the bobbins. Nothing was done. Look again."
    assert str(refused.value) == said


@pytest.mark.parametrize("shown", ["", "older", "a.b.c.d"])
def test_a_mark_of_another_make_counts_as_changed(shown):
    with pytest.raises(PlanHasChanged):
        refuse_if_changed(shown, PARTS, look="Look again.")


def test_rows_are_locked_by_one_function_in_one_order():
    assert held(StockItem.objects.order_by("-label")).query.order_by == ("pk",)
    with pytest.raises(TypeError):
        held(Spool.objects.all())


def test_nobody_else_locks_rows():
    own = {"inventory/acting/rows.py"}
    rooms = [path for room in ("inventory", "planning", "workshop") for path in (HOUSE / room).rglob("*.py")]
    lockers = {str(path.relative_to(HOUSE)) for path in rooms if "select_for_update(" in path.read_text()}
    assert lockers == own
