"""What a choice of shades says of itself: kept with a plan as it stands here, said again to whoever reads it."""

from inventory.compute.names.iscc_nbs import CENTROIDS
from inventory.compute.spoken import N_, Marked

# How a thread stands for a wish.
NEAR = N_("Near.")
AS_NEAR_AS_COMES = N_("As near as thread comes.")
NEAREST_KNOWN = N_("Nearest of the {count} shades you know.")
ONLY_KNOWN = N_("The only shade you know.")
NEARER_TO_BUY = N_("Something nearer can be bought.")
NOTHING_LIKE_IT = N_("Nothing like it is on the shelf with enough thread.")
NO_SUCH_THREAD = N_("No thread of that colour ({wished}) with enough thread.")
ANOTHER_COLOUR = N_(
    "No thread of that colour: the file wishes for {wished}, the nearest with enough thread is {nearest}, {colour}."
)
# As plans said it that were kept before.
_EARLIER = (
    N_("Nothing like it is on the shelf with enough metres."),
    N_("No thread of that colour ({wished}) with enough metres."),
    N_(
        "No thread of that colour: the file wishes for {wished}, the nearest with enough metres is {nearest}, {colour}."
    ),
)
BUY_NEARER = N_("{thread} is ΔE00 {difference} nearer.")
BUY_NEARER_FROM = N_("{thread} from {seller} is ΔE00 {difference} nearer.")
BUY = N_("{thread} would do.")
BUY_FROM = N_("{thread} from {seller} would do.")

# Which rule a choice could not hold.
SHARED = N_("{one} and {other} share {shade}; they will be hard to tell apart.")
TOO_ALIKE = N_(
    "{one} and {other} differ by only ΔE00 {difference} as {shade} and {another}; they will be hard to tell apart."
)
WRONG_ORDER = N_("{light} should be lighter than {dark}, but {shade} is no lighter than {another}.")
PINNED_FAR_OFF = N_(
    "{code} is pinned, though it differs from what is asked by ΔE00 {difference}; the limit is {limit}."
)
NOT_PROVEN = N_(
    "This choice of shades is the {proof}; a better one might lower their mean difference by up to {gap}%."
)
MUST_BREAK = N_("It is proven that no choice from these shades keeps all colours apart and in order.")
FALLEN_TOGETHER = N_(
    "{one} and {other} will be hard to tell apart with {viewers}; as asked for they are not."
)
ONE_MORE_FALLEN = N_("One more pair falls together for eyes without one kind of cone.")
MORE_FALLEN = N_("{pairs} more pairs fall together for eyes without one kind of cone.")

# Why a thread is short or unknown.
NO_COLOUR = N_("The file names no colour for this block; choose one.")
NONE_OF_KNOWN_COLOUR = N_("No {thread} of a known colour is on the shelf.")
NONE_OF_THAT_COLOUR = N_(
    "No {thread} of that colour ({wished}) is on the shelf; the nearest is another colour."
)
NOTHING_NEAR = N_(
    "Nothing on the shelf is near: the nearest differs by ΔE00 {difference}, and the limit is {limit}."
)
NO_THREAD_NEAR = N_(
    "No {thread} on the shelf is near: the nearest differs by ΔE00 {difference}, and the limit is {limit}."
)
NOBODY_KNOWS = N_("Nobody knows how much is on these spools; weigh them.")

# What stands in the fields of those.
NO_COLOUR_ASKED = N_("a block without a colour")
THREAD = N_("thread")
ALL_BUT_METALLIC = N_("thread but metallic")
OF_FIBRE = {
    "polyester": N_("polyester thread"),
    "rayon": N_("rayon thread"),
    "cotton": N_("cotton thread"),
    "silk": N_("silk thread"),
    "wool": N_("wool thread"),
    "nylon": N_("nylon thread"),
    "metallic": N_("metallic thread"),
}
TWO_VIEWERS, THREE_VIEWERS = N_("{one} or {other}"), N_("{one} or {other} or {third}")

PARTS: tuple[Marked, ...] = (
    *(name for name, _hex in CENTROIDS),
    NO_COLOUR_ASKED,
    THREAD,
    ALL_BUT_METALLIC,
    *OF_FIBRE.values(),
    N_("best of those looked at"),
    N_("good enough in the time"),
    N_("protanopia"),
    N_("deuteranopia"),
    N_("tritanopia"),
    THREE_VIEWERS,
    TWO_VIEWERS,
)
SENTENCES: tuple[Marked, ...] = (
    *(NEAR, AS_NEAR_AS_COMES, NEAREST_KNOWN, ONLY_KNOWN, NEARER_TO_BUY, NOTHING_LIKE_IT),
    *_EARLIER,
    *(NO_SUCH_THREAD, ANOTHER_COLOUR, BUY_NEARER_FROM, BUY_NEARER, BUY_FROM, BUY),
    *(
        TOO_ALIKE,
        SHARED,
        WRONG_ORDER,
        PINNED_FAR_OFF,
        NOT_PROVEN,
        MUST_BREAK,
        FALLEN_TOGETHER,
        MORE_FALLEN,
        ONE_MORE_FALLEN,
    ),
    *(NO_COLOUR, NONE_OF_KNOWN_COLOUR, NONE_OF_THAT_COLOUR, NOTHING_NEAR, NO_THREAD_NEAR, NOBODY_KNOWS),
)
