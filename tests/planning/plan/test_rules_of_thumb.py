"""Whole designs against the trade's rules of thumb, at the default settings."""

from pathlib import Path
from statistics import median

import pytest

from planning.compute.certainty.learned import learn, thread_prior
from planning.compute.hooping.timing import MachineTimes, machine_minutes
from planning.compute.stitches.thread_length import ThreadSettings, bobbin_laid_mm, needle_laid_mm
from planning.library.digests import sums_of
from planning.models import Rules
from planning.stitch_files.reading import read_design_file

DESIGNS = sorted(
    {path.stem: path for path in (Path(__file__).parents[3] / "fixtures" / "designs").iterdir()}.values()
)


@pytest.fixture(scope="module")
def per_thousand() -> dict[str, tuple[float, float]]:
    """Return metres of needle and bobbin thread per 1,000 stitches of each design."""
    unlearned = learn(thread_prior(), ())
    settings = ThreadSettings(allowance=Rules().allowance)
    found = {}
    for path in DESIGNS:
        walked = read_design_file(path).walked
        sums = [sums_of(block) for block in walked.blocks]
        needle = sum(needle_laid_mm(each, settings) for each in sums) * unlearned.factor(0, 0).median
        bobbin = sum(bobbin_laid_mm(each, settings) for each in sums) * unlearned.factor(1, 0).median
        found[path.name] = (needle / walked.stitches, bobbin / walked.stitches)
    return found


def test_the_median_design_takes_what_thread_makers_say(per_thousand):
    """Needle about 5 m and bobbin about 3 m per 1,000 stitches: thread makers' rules of thumb (a thread maker's
    lexicon, "Thread consumption"; 250 yd for 44,000 and 850 yd for 156,000 stitches give 5.0 to 5.2 m)."""
    for name, (needle, bobbin) in per_thousand.items():
        print(f"{name:22} needle {needle:.2f} m, bobbin {bobbin:.2f} m per 1,000 stitches")
    assert 4 <= median(needle for needle, _ in per_thousand.values()) <= 6
    assert 2.5 <= median(bobbin for _, bobbin in per_thousand.values()) <= 3.5


def test_a_small_design_takes_the_minutes_that_the_trade_reckons():
    """7,500 stitches, 6 colours, 800 a minute set: about 13 minutes (ASI, "Is it time to buy a multi-head
    machine?", 2017)."""
    times = MachineTimes(stitches_per_minute=800, needles=6)
    assert machine_minutes(times, stitches=7_500, thread_changes=5) == pytest.approx(13, rel=0.15)
