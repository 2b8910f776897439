"""Why a stitch file is not read, as sentences; processes that know no language say some, and they are said again."""

from inventory.compute.spoken import N_, Marked, said_again

# What the reading process says after the file's name.
TOO_FAR = N_("{label} reaches further than any hoop: it is damaged. Copy or export it again.")
DAMAGED = N_("{label} cannot be read: it is damaged or cut off. Copy or export it again.")
TOO_MUCH_MEMORY = N_("{label} needs more memory to read than a sound file would. Copy or export it again.")
MORE_THAN_BYTES = N_("{label} says that it holds more than its bytes stand for. Copy or export it again.")
TOO_MANY_RECORDS = N_(
    "{label} has more than {most} records, most of them moves without a stitch. Split the design into parts, or export "
    "it again."
)
TOO_MANY_STITCHES = N_(
    "{label} has more than {most} stitches, the most that is read. Split the design into parts."
)
TOO_MANY_BLOCKS = N_(
    "{label} has more than {most} colour blocks, the most that is read. Split the design into parts, or join blocks of "
    "equal colour."
)
TOO_MANY_NAMED = N_("{label} names more than {most} threads: it is damaged. Copy or export it again.")

# What is said of what was read.
NO_STITCHES = N_("{label} has no stitches. Choose a design that has some, or export it again.")
TOO_LARGE = N_(
    "{label} would be {width} x {height} mm; designs up to {most} mm are read. Check that it is a {format} file, or "
    "split the design."
)
SPARE_THREADS = N_(
    "{label} names {threads} threads for {stitches} stitches, which need {needed}: it is damaged. Copy or export it "
    "again."
)
NO_THREADS = N_(
    "{label} has stitches but no threads, which every {format} file must have. Copy or export it again."
)
NO_THREADS_CUT_OFF = N_(
    "{label} has stitches but no threads, which every {format} file must have. It seems to be cut off. Copy or export "
    "it again."
)

REFUSALS: tuple[Marked, ...] = (
    *(
        TOO_FAR,
        DAMAGED,
        TOO_MUCH_MEMORY,
        MORE_THAN_BYTES,
        TOO_MANY_RECORDS,
        TOO_MANY_STITCHES,
        TOO_MANY_BLOCKS,
    ),
    *(TOO_MANY_NAMED, NO_STITCHES, TOO_LARGE, SPARE_THREADS, NO_THREADS_CUT_OFF, NO_THREADS),
)


def refusal_said(text: str) -> str:
    """Return in the reader's language why a file was not read."""
    return said_again(text, REFUSALS)
