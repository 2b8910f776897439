"""What a plan says in words: kept with it in one language, said again to whoever reads it."""

from inventory.compute.spoken import N_, said_again
from planning.compute.colour import sentences as of_colour
from planning.compute.search.proof import Proof
from planning.compute.stabilizer import sentences as of_stabilizer
from planning.compute.stabilizer.cautions import EVERY as CAUTIONS

COLOUR_WITHOUT_THREAD = N_("a colour without a thread")
BOBBINS = N_("bobbins")
NEW_SPOOL = N_("new {number}")

_OF_PLANS = (
    *of_colour.SENTENCES,
    *CAUTIONS,
    *of_stabilizer.SENTENCES,
    NEW_SPOOL,
    COLOUR_WITHOUT_THREAD,
    BOBBINS,
    *map(str, Proof),
)


def said_of_plan(text: str) -> str:
    """Return in the reader's language a note, a reason, a caution or a name that stands in a plan.

    >>> said_of_plan("Nobody knows how much is on these spools; weigh them.")
    'Nobody knows how much is on these spools; weigh them.'
    """
    return said_again(text, _OF_PLANS, parts=of_colour.PARTS)
