"""What pieces and layers of stabilizer are called: kept as it stands here, said again to whoever reads it."""

from inventory.compute.spoken import N_

ACROSS_THE_GRAIN = N_("{piece}, across the grain")
REST = N_("{label}, rest {number}.{place}")
APPLIQUE = N_("applique {name}")
APPLIQUE_OF_DESIGN = N_("applique {name}, design {number}")

SENTENCES = (ACROSS_THE_GRAIN, REST, APPLIQUE_OF_DESIGN, APPLIQUE)
