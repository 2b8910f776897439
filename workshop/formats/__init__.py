"""How Django itself writes days and moments, in the forms of ``inventory.acting.days``."""
