"""How long each piece of long work is that is done under load."""

STEPS, PAUSE_S = 40, 0.1
FILES = 30
