"""How a difference of two colours is seen where they lie side by side, in plain words."""

from inventory.compute.spoken import N_, _

# Up to so much (CIEDE2000) the words hold: common practice, no source. The grey scale's grades are finer.
SEEN = (
    (1.0, N_("no difference")),
    (2.0, N_("hardly seen")),
    (5.0, N_("side by side you would see it")),
)
BEYOND = N_("another colour")


def difference_seen(delta_e_00: float) -> str:
    """Return how a difference is seen.

    >>> difference_seen(0.4), difference_seen(1.6), difference_seen(7.0)
    ('no difference', 'hardly seen', 'another colour')
    """
    return _(next((words for most, words in SEEN if delta_e_00 <= most), BEYOND))
