"""What goes wrong under the program, told so that a person can act on it."""
