"""How an act that rests on a plan takes its turn, and what it does when the database is busy."""

from inventory.acting.rows import held
from inventory.acting.shown import PlanHasChanged, fingerprint_of, refuse_if_changed
from inventory.acting.standing import standing_at
from inventory.acting.turn import (
    Busy,
    planned_act,
    planning_lock,
    share_the_shelf,
    tried_again,
    whole_act,
)

__all__ = [
    "Busy",
    "PlanHasChanged",
    "fingerprint_of",
    "held",
    "planned_act",
    "planning_lock",
    "refuse_if_changed",
    "share_the_shelf",
    "standing_at",
    "tried_again",
    "whole_act",
]
