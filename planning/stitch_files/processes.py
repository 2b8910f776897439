"""The programs that hold the reading library; ``inventory.processes`` starts, asks and ends them."""

# One answers with all that the file holds, the other with what the library keeps of it.
READER = "planning.stitch_files.child"
READING, DIGESTING = (READER, "--many"), ("planning.library.digesting_child",)
