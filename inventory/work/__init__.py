"""Long work: asked for once, carried out by a worker or by the site itself, with progress, stop and recovery."""

from inventory.work.asking import ask_for, ask_to_stop, begin_again, do_here
from inventory.work.carrying import Carrying, LaidDown, Stopped, TakenOver, long_work

__all__ = [
    "Carrying",
    "LaidDown",
    "Stopped",
    "TakenOver",
    "ask_for",
    "ask_to_stop",
    "begin_again",
    "do_here",
    "long_work",
]
