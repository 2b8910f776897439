"""How an act that rests on a plan takes its turn, and what it does when the database is busy."""

from inventory.acting.turn import Busy, planning_lock, tried_again

__all__ = ["Busy", "planning_lock", "tried_again"]
