"""A copy of everything in one file, and back; from one database engine to the other; and out for good."""
