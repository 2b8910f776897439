"""The warnings of stitch files as sentences: kept with a design as they stand here, said again to whoever reads them.

A sentence that counts has two forms. Each is whole, so that every language can turn it round.
"""

from inventory.compute.spoken import N_, Marked

LOOK = N_("Look at the design before it is sewn.")
TRAVEL = N_("The format writes a travel without a cut like that.")

# What is seen in the stitches (plausibility).
BEYOND_RECORD = (
    N_(
        "{count} stitch is longer than a record of the format has room for as writers use it ({limit} mm; the first is "
        "stitch {first}). {advice}"
    ),
    N_(
        "{count} stitches are longer than a record of the format has room for as writers use it ({limit} mm; the first "
        "is stitch {first}). {advice}"
    ),
)
LONG_STITCHES = (
    N_(
        "{count} stitch is longer than {limit} mm (up to {longest} mm, the first is stitch {first}). {advice}"
    ),
    N_(
        "{count} stitches are longer than {limit} mm (up to {longest} mm, the first is stitch "
        "{first}). {advice}"
    ),
)
ERRATIC = (
    # As it was always written, that kept ones are found.
    N_(
        "{count} stitch is longer than {limit} mm and go anywhere, from stitch {first} on: the file may be damaged. "
        "{advice}"
    ),
    N_(
        "{count} stitches are longer than {limit} mm and go anywhere, from stitch {first} on: the file may be damaged. "
        "{advice}"
    ),
)
ONE_PLACE = N_(
    "{stitches} stitches in a row, from stitch {first} on, pierce one place: the file may be "
    "damaged. {advice}"
)
CUTS = N_("{cuts} cuts follow each other without a stitch: the file may be damaged. {advice}")
FEW_STITCHES = N_("The file holds no more than {stitches} stitches: check that nothing is missing.")
SPARE_MOVES = N_("{moves} moves in a row lead nowhere: the file may be damaged. {advice}")
END_NOT_HELD = N_(
    "Small stitches hold the end of each of {threads} threads, and not that of the last: stitches may be missing at "
    "the end. Compare it with the original."
)

# What is seen on the way through the records (walk).
NO_END = N_("The file stops without an end record: stitches may be missing. Compare it with the original.")
MORE_THREADS = N_("The file names {threads} for {blocks}: check the colour of each block.")
FEWER_THREADS = N_("The file names {threads} for {blocks}: block {first} and later have no colour yet.")
THREADS = (N_("{count} thread"), N_("{count} threads"))
BLOCKS = (N_("{count} colour block"), N_("{count} colour blocks"))
EQUAL_NEIGHBOURS = N_("Neighbouring blocks {blocks} ask for the same colour: that is one threading.")
PAIR = N_("{one} and {other}")
SIZE = N_("{one} x {other}")
SOME = N_("{names} and {rest} more")
SINGLE_STITCH = N_("Block {block} has a single stitch: check that nothing is missing.")
SINGLE_STITCHES = N_("Blocks {blocks} have a single stitch: check that nothing is missing.")
LONE_STITCHES = (
    N_("{count} lone stitch stands between two cuts and will not hold."),
    N_("{count} lone stitches stand between two cuts and will not hold."),
)
NO_LENGTH = N_(
    "{share}% of the stitches ({some} of {all}) have no length: they pierce the cloth where the "
    "needle already is."
)
NOT_TRIMMED = (
    N_(
        "{count} long travel (up to {longest} mm) is not trimmed in the file. Some machines trim there: that leaves "
        "more thread ends and lays less thread."
    ),
    N_(
        "{count} long travels (up to {longest} mm) are not trimmed in the file. Some machines trim there: that leaves "
        "more thread ends and lays less thread."
    ),
)

# What a header claims.
OTHER_CHANGES = N_(
    "The header says {said} colour changes; the file holds {held}: check the colour of each block."
)
OTHER_COUNT = N_(
    "The header says {said} stitches; the file holds {held}: stitches may be missing or doubled."
)
OTHER_END = N_(
    "The header says that the design ends {said} mm from its start; it ends {held} mm from it: stitches may be missing "
    "or damaged."
)
OTHER_LAST_BYTE = N_(
    "The header says that the stitches end at byte {said}; reading them ended at byte {held}: stitches may be missing "
    "or doubled."
)
OTHER_REACH_CANVAS = N_(
    "The header says that the design reaches {said} mm to the sides of its start; it reaches {held} mm. Some programs "
    "write the size of the canvas there. Check the hoop."
)
OTHER_REACH = N_(
    "The header says that the design reaches {said} mm to the sides of its start; it reaches {held} mm: stitches may "
    "be missing or damaged. Check the hoop."
)
OTHER_SIZE_CANVAS = N_(
    "The header says that the design is {said} mm; it is {held} mm. Some programs write the size of the canvas there. "
    "Check the hoop."
)
OTHER_SIZE = N_(
    "The header says that the design is {said} mm; it is {held} mm: stitches may be missing or "
    "damaged. Check the hoop."
)

# What is odd about the bytes of a format.
IMPOSSIBLE = (
    N_(
        "{count} of {all} records is not as any writer writes them: the file is damaged. Compare it "
        "with the original."
    ),
    N_(
        "{count} of {all} records are not as any writer writes them: the file is damaged. Compare it "
        "with the original."
    ),
)
ODD_BYTES = N_("The file has {bytes} bytes where an even number belongs: one is missing or too many.")
ENDS_IN_COMMAND = N_("The file ends inside a command, at byte {byte}: stitches may be missing.")
STITCHES_START = N_(
    "The header says that the stitches start at byte {said}; its list of colours ends at byte {held}: the first "
    "stitches may be wrong."
)
STITCHES_END_BEYOND = N_(
    "The header says that the stitches end at byte {end} and {colours} colours follow; the file has {bytes} bytes: it "
    "is cut off or damaged."
)
PEC_AS_PES = N_("It is a PEC file under the name of a PES file: its colours are numbers of a palette.")
UNKNOWN_PES = N_("Version {version} of PES files is not known: the colours may be those of a palette.")
OTHER_NEEDLES = N_(
    "The header lists {listed} needles in their order but counts {counted} colour changes: check the colour of each "
    "block."
)
UNKNOWN_CODE = N_(
    "Reading stopped at a code that is not known in {format} files: stitches may be missing. Compare it with the "
    "original."
)
BYTES_FOLLOW = N_(
    "{bytes} bytes follow the end of the stitches: stitches may be missing. Compare it with the original."
)

# What is odd about the lengths in a VP3 file.
FILE_BLOCK_MISPLACED = N_(
    "The block of the file does not start at byte {byte}, where it belongs: the file is damaged. Compare it with the "
    "original."
)
DESIGN_BLOCK_MISPLACED = N_(
    "The block of the design does not start at byte {byte}, where it belongs: the file is damaged. Compare it with the "
    "original."
)
COLOUR_BLOCK_MISPLACED = N_(
    "The block of colour 1 does not start at byte {byte}, where it belongs: the file is damaged. Compare it with the "
    "original."
)
OTHER_BLOCKS = N_(
    "The header counts {said} colour blocks; the file holds {held}: a block may be missing. Compare it with the "
    "original."
)
ALL_LONGER = N_("Each colour block says that it is {bytes} bytes longer than it is; all were found.")
ALL_SHORTER = N_("Each colour block says that it is {bytes} bytes shorter than it is; all were found.")
BLOCK_ENDS_ELSEWHERE = N_(
    "The block of colour {colour} ends at byte {said} by its own length and at byte {held} by what follows: the file "
    "is damaged. Compare it with the original."
)
ALL_STITCHES_OFF = N_(
    "The stitches of each colour say that they are {bytes} bytes off; they are read as far as "
    "their block reaches."
)
STITCHES_END_ELSEWHERE = N_(
    "The block of the stitches of colour {colour} ends at byte {said} by its own length and at byte {held} by that of "
    "what holds it: the file is damaged. Compare it with the original."
)
NAMES_UNFIT = N_("The names of the thread of colour {colours} are not as long as they say.")
DESIGN_ENDS_BEYOND = N_(
    "The block of the design says that it ends {bytes} bytes beyond the last colour; all colours were found."
)
DESIGN_ENDS_BEFORE = N_(
    "The block of the design says that it ends {bytes} bytes before the last colour; all colours were found."
)
FILE_ENDS_BEYOND = N_(
    "The block of the file says that it ends {bytes} bytes beyond the last colour; all colours were found."
)
FILE_ENDS_BEFORE = N_(
    "The block of the file says that it ends {bytes} bytes before the last colour; all colours were found."
)
BYTES_AFTER_COLOUR = N_("{bytes} bytes follow the last colour; they are not read.")

# What may stand in the fields of the others.
PARTS: tuple[Marked, ...] = (LOOK, TRAVEL, THREADS, BLOCKS, SOME, PAIR, SIZE)
SENTENCES: tuple[Marked, ...] = (
    *(BEYOND_RECORD, LONG_STITCHES, ERRATIC, ONE_PLACE, CUTS),
    *(FEW_STITCHES, SPARE_MOVES, END_NOT_HELD, NO_END, MORE_THREADS),
    *(FEWER_THREADS, EQUAL_NEIGHBOURS, SINGLE_STITCH, SINGLE_STITCHES, LONE_STITCHES),
    *(NO_LENGTH, NOT_TRIMMED, OTHER_CHANGES, OTHER_COUNT, OTHER_END),
    *(OTHER_LAST_BYTE, OTHER_REACH_CANVAS, OTHER_REACH, OTHER_SIZE_CANVAS, OTHER_SIZE),
    *(IMPOSSIBLE, ODD_BYTES, ENDS_IN_COMMAND, STITCHES_START, STITCHES_END_BEYOND),
    *(PEC_AS_PES, UNKNOWN_PES, OTHER_NEEDLES, UNKNOWN_CODE, BYTES_FOLLOW),
    *(FILE_BLOCK_MISPLACED, DESIGN_BLOCK_MISPLACED, COLOUR_BLOCK_MISPLACED, OTHER_BLOCKS, ALL_LONGER),
    *(ALL_SHORTER, BLOCK_ENDS_ELSEWHERE, ALL_STITCHES_OFF, STITCHES_END_ELSEWHERE, NAMES_UNFIT),
    *(DESIGN_ENDS_BEYOND, DESIGN_ENDS_BEFORE, FILE_ENDS_BEYOND, FILE_ENDS_BEFORE, BYTES_AFTER_COLOUR),
)
