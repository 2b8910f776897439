"""Where the colour of a block comes from, and whether that makes it a wish or a demand."""

from inventory.compute.spoken import N_

# As blocks keep it; empty where the block asks for no colour.
PALETTE, RGB = "palette", "rgb"
PERSON, SHADE, SAMPLE, LIST = "person", "shade", "sample", "list"

IN_WORDS = {
    PALETTE: N_("a colour of the file's palette"),
    RGB: N_("a screen colour of the file"),
    PERSON: N_("chosen by a person"),
    SHADE: N_("a named shade"),
    SAMPLE: N_("measured on a sample"),
    LIST: N_("from a colour list"),
}


def is_wish(source: str) -> bool:
    """Tell whether a colour is a file's, which no thread need have; what a person asks for is a demand.

    >>> is_wish("rgb"), is_wish("shade"), is_wish("")
    (True, False, False)
    """
    return source in (PALETTE, RGB)
