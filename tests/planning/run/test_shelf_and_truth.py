"""After a season the shelf is as near the truth as it says: what the books have against what is really there."""

from collections import defaultdict

import pytest

from tests.planning.run.true_season import Season

pytestmark = pytest.mark.django_db


def shares(off: list) -> dict[str, tuple[int, list[float]]]:
    found = defaultdict(list)
    for kind, sigmas, *_ in off:
        found[str(kind)].append(abs(sigmas))
        found["all"].append(abs(sigmas))
    return {
        kind: (len(each), [round(sum(z <= n for z in each) / len(each), 3) for n in (1, 2, 3)])
        for kind, each in found.items()
    }


@pytest.mark.parametrize("seed", range(1, 4))
def test_season(db, seed, tmp_path):
    import os
    import time

    season = Season(seed, tmp_path)
    t = time.process_time()
    season.through(int(os.environ.get("JOBS", 60)))
    print(time.process_time() - t, season.told)
    off = season.truth.off_by()
    for kind, z, error, item in off:
        if abs(z) > 2:
            print(kind, item.label, round(z, 2), round(error), item.on_hand, item.sigma, item.known)
    print(seed, shares(off))
