"""How sure it is that the thread on the shelf is enough.

Actual use = geometry × e^Z. A ``Factor`` says what is believed of Z for one machine and thread range: a normal, or
the mixture of normals that weigh-backs leave. What is free on the shelf is normal. Lengths may be in any one unit;
mm here. Of a single normal all is reckoned to the last digit; of a mixture the curves of ``curves`` are read.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from inventory.compute.spoken import N_, _
from planning.compute.certainty.curves import chance, curves
from planning.compute.certainty.factor import SCATTER
from planning.compute.certainty.factor import Factor as Factor
from planning.compute.search.root import root_between

if TYPE_CHECKING:
    from scipy.special import ndtr, ndtri
else:
    ndtr, ndtri = later("scipy.special", "ndtr", "ndtri")

_NEGLIGIBLE = 1e-12  # a relative error below this is none

Verdict = Literal["enough", "tight", "short"]


def _check_not_negative(value: float, what: str) -> None:
    if not (math.isfinite(value) and value >= 0):
        raise WorkshopError(_("{what} is {value}; give 0 or more.").format(what=_(what), value=value))


def _check_free(free_mm: float, free_sigma_mm: float) -> None:
    if not math.isfinite(free_mm):
        raise WorkshopError(_("The free stock is {free_mm} mm; give a number.").format(free_mm=free_mm))
    _check_not_negative(free_sigma_mm, N_("The sigma of the free stock in mm"))


def _check_certainty(certainty: float) -> None:
    if not 1e-6 <= certainty <= 1 - 1e-6:
        raise WorkshopError(
            _("A certainty of {certainty} cannot be reached; give one such as 0.95 (95 %).").format(
                certainty=certainty
            )
        )


class WeighBack(NamedTuple):
    """What one weigh-back tells: ln(actual / geometry), and the sigma of that from weighing alone."""

    log_ratio: float
    sigma: float


@dataclass(frozen=True)
class Need:
    """The thread a job will use, as a lognormal."""

    mean_mm: float
    sigma_mm: float
    median_mm: float


def factor_about(median: float, *, plus_minus: float, scatter: float = SCATTER) -> Factor:
    """Return the factor with this median and, to first order, this one-sigma error of the factor itself.

    The sigma of the logarithm is ``plus_minus / median``: 1.25 ± 0.25 is 20 % either way.

    >>> factor_about(1.25, plus_minus=0.25).sigma
    0.2
    """
    if not (math.isfinite(median) and median > 0):
        raise WorkshopError(
            _("A use factor of {median} is not possible; give a number above 0.").format(median=median)
        )
    return Factor(mean_log=math.log(median), sigma=plus_minus / median, scatter=scatter)


# Before anything was weighed back. Thread makers' rules of thumb lie above pure geometry for the bobbin.
NEEDLE_PRIOR = factor_about(1.00, plus_minus=0.12)
BOBBIN_PRIOR = factor_about(1.25, plus_minus=0.25)


def need(geometry_mm: float, factor: Factor) -> Need:
    """Return the moments and the median of ``geometry_mm`` × e^Z.

    Of a mixture the sigma is that of the lognormal with its median and its 95 % point: the far tails, where one job in
    fifty strays by a half, would say nothing of the usual ±.

    >>> used = need(1000.0, Factor(mean_log=0.0, sigma=0.08, scatter=0.06))
    >>> used.median_mm, round(used.mean_mm, 3), round(used.sigma_mm, 3)
    (1000.0, 1005.013, 100.753)
    """
    _check_not_negative(geometry_mm, N_("The geometry in mm"))
    variance = factor.predictive_sigma**2
    if factor.parts:
        median_mm = geometry_mm * factor.median
        return Need(
            mean_mm=geometry_mm * factor.mean_of_exp(),
            sigma_mm=median_mm * math.exp(variance / 2) * math.sqrt(math.expm1(variance)),
            median_mm=median_mm,
        )
    mean_mm = geometry_mm * math.exp(factor.mean_log + variance / 2)
    return Need(
        mean_mm=mean_mm,
        sigma_mm=mean_mm * math.sqrt(math.expm1(variance)),
        median_mm=geometry_mm * factor.median,
    )


def p_enough(geometry_mm: float, factor: Factor, *, free_mm: float, free_sigma_mm: float) -> float:
    """Return P(free − geometry · e^Z ≥ 0), free being normal and independent of Z.

    Nothing needed is always enough, however little is known of the stock.

    >>> p_enough(1000.0, NEEDLE_PRIOR, free_mm=1000.0, free_sigma_mm=0.0)
    0.5
    >>> round(p_enough(1000.0, NEEDLE_PRIOR, free_mm=1200.0, free_sigma_mm=50.0), 4)
    0.9016
    """
    _check_not_negative(geometry_mm, N_("The geometry in mm"))
    _check_free(free_mm, free_sigma_mm)
    spread = factor.predictive_sigma
    median_mm = geometry_mm * factor.median
    if median_mm == 0:
        return 1.0
    if factor.parts:
        return chance(factor, geometry_mm=geometry_mm, free_mm=free_mm, free_sigma_mm=free_sigma_mm)
    need_is_known = spread < _NEGLIGIBLE
    stock_is_known = free_sigma_mm <= _NEGLIGIBLE * max(median_mm, abs(free_mm))
    if need_is_known and stock_is_known:
        return float(free_mm >= median_mm)
    if need_is_known:
        return float(ndtr((free_mm - median_mm) / free_sigma_mm))
    if stock_is_known:
        return float(ndtr((math.log(free_mm) - math.log(median_mm)) / spread)) if free_mm > 0 else 0.0
    return _p_both_uncertain(median_mm, spread, free_mm, free_sigma_mm)


def geometry_covered(
    factor: Factor, *, free_mm: float, free_sigma_mm: float, certainty: float = 0.95
) -> float:
    """Return the largest geometry in mm for which the free stock is enough at this certainty.

    It is 0 where the stock is known too badly to be sure of any thread at all.

    >>> round(geometry_covered(NEEDLE_PRIOR, free_mm=1000.0, free_sigma_mm=0.0), 1)
    802.0
    >>> geometry_covered(NEEDLE_PRIOR, free_mm=1000.0, free_sigma_mm=900.0)
    0.0
    """
    _check_free(free_mm, free_sigma_mm)
    _check_certainty(certainty)
    if factor.parts:
        return curves(factor, certainty).covered_one(free_mm, free_sigma_mm)
    if free_mm - ndtri(certainty) * free_sigma_mm <= 0:
        return 0.0

    def p(log_mm: float) -> float:
        return p_enough(math.exp(log_mm), factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm)

    # Both errors taken as lognormal give a first guess, from which the edge is fenced in.
    scale_mm = max(free_mm, free_sigma_mm)
    both = math.hypot(factor.predictive_sigma, free_sigma_mm / scale_mm)
    sure = unsure = math.log(scale_mm) - factor.mean_log - ndtri(certainty) * both
    stride = 0.02
    while p(sure) < certainty:
        unsure, sure, stride = sure, sure - stride, stride * 2
        if sure < -600.0:  # shorter than any length there is: the stock is just too uncertain for more than 0
            return 0.0
    while p(unsure) >= certainty:
        sure, unsure, stride = unsure, unsure + stride, stride * 2
    edge = root_between(lambda log_mm: p(log_mm) - certainty, sure, unsure, within=1e-10)
    return math.exp(_on_the_sure_side(edge, step=-1e-11, p=p, certainty=certainty))


def missing_mm(
    geometry_mm: float, factor: Factor, *, free_mm: float, free_sigma_mm: float, certainty: float
) -> float:
    """Return how many mm more, of exactly known length, make the stock enough at this certainty.

    >>> round(missing_mm(1000.0, NEEDLE_PRIOR, free_mm=1000.0, free_sigma_mm=0.0, certainty=0.95), 1)
    246.9
    >>> missing_mm(1000.0, NEEDLE_PRIOR, free_mm=1300.0, free_sigma_mm=0.0, certainty=0.95)
    0.0
    """
    _check_certainty(certainty)
    if factor.parts:
        _check_not_negative(geometry_mm, N_("The geometry in mm"))
        _check_free(free_mm, free_sigma_mm)
        needed = curves(factor, certainty).needed(geometry_mm, free_sigma_mm) if geometry_mm else free_mm
        return max(0.0, needed - free_mm)

    def p(more_mm: float) -> float:
        return p_enough(geometry_mm, factor, free_mm=free_mm + more_mm, free_sigma_mm=free_sigma_mm)

    if p(0.0) >= certainty:
        return 0.0
    worst_mm = geometry_mm * factor.median * math.exp(9 * factor.predictive_sigma)
    most_mm = (worst_mm + 9 * free_sigma_mm - free_mm) * (1 + 1e-9) + 1.0
    edge_mm = root_between(lambda more_mm: p(more_mm) - certainty, 0.0, most_mm, within=1e-9)
    step_mm = 1e-12 * (abs(free_mm) + edge_mm) + 1e-9
    return _on_the_sure_side(edge_mm, step=step_mm, p=p, certainty=certainty)


def pieces_possible(
    per_piece_mm: float,
    factor: Factor,
    *,
    free_mm: float,
    free_sigma_mm: float,
    certainty: float,
    at_most: int,
) -> int:
    """Return how many pieces, up to ``at_most``, the free stock is enough for at this certainty.

    >>> pieces_possible(
    ...     100.0, NEEDLE_PRIOR, free_mm=1000.0, free_sigma_mm=0.0, certainty=0.95, at_most=24)
    8
    """
    if at_most < 0:
        raise WorkshopError(_("{at_most} pieces cannot be stitched; give 0 or more.").format(at_most=at_most))
    return pieces_covered(
        [pieces * per_piece_mm for pieces in range(at_most + 1)],
        factor,
        free_mm=free_mm,
        free_sigma_mm=free_sigma_mm,
        certainty=certainty,
    )


def pieces_covered(
    cumulative_mm: Sequence[float] | NDArray[np.float64],
    factor: Factor,
    *,
    free_mm: float,
    free_sigma_mm: float,
    certainty: float,
) -> int:
    """Return how many pieces, one after the other, the free stock is enough for at this certainty.

    ``cumulative_mm`` has shape (pieces + 1,): the geometry of the first 0, 1, … pieces, never falling.

    >>> pieces_covered([0.0, 400.0, 500.0, 900.0], NEEDLE_PRIOR, free_mm=700.0, free_sigma_mm=0.0, certainty=0.95)
    2
    """
    _check_certainty(certainty)
    if factor.parts:
        covered = geometry_covered(factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm, certainty=certainty)
        return int(np.searchsorted(cumulative_mm, covered, side="right")) - 1
    possible, beyond = 0, len(cumulative_mm)
    while beyond - possible > 1:
        pieces = (possible + beyond) // 2
        p = p_enough(float(cumulative_mm[pieces]), factor, free_mm=free_mm, free_sigma_mm=free_sigma_mm)
        if p >= certainty:
            possible = pieces
        else:
            beyond = pieces
    return possible


def verdict(p: float, *, enough_at: float = 0.95, tight_at: float = 0.5) -> Verdict:
    """Return the word for a probability of having enough.

    >>> verdict(0.97), verdict(0.80), verdict(0.20)
    ('enough', 'tight', 'short')
    """
    if not 0 <= p <= 1:
        raise WorkshopError(_("{p} is not a probability; it must lie between 0 and 1.").format(p=p))
    if not 0 <= tight_at <= enough_at <= 1:
        raise WorkshopError(
            _(
                "The thresholds {tight_at} (tight) and {enough_at} (enough) must rise and lie between 0 and "
                "1."
            ).format(tight_at=tight_at, enough_at=enough_at)
        )
    if p >= enough_at:
        return "enough"
    return "tight" if p >= tight_at else "short"


def observed(actual_mm: float, *, geometry_mm: float, sigma_mm: float) -> WeighBack:
    """Return what a weigh-back of ``actual_mm`` ± ``sigma_mm`` tells of the factor.

    >>> observed(1100.0, geometry_mm=1000.0, sigma_mm=55.0)
    WeighBack(log_ratio=0.09531017980432493, sigma=0.05)
    """
    _check_not_negative(sigma_mm, N_("The weighing error in mm"))
    if not (math.isfinite(actual_mm) and actual_mm > 0 and math.isfinite(geometry_mm) and geometry_mm > 0):
        raise WorkshopError(
            _(
                "{actual_mm} mm used where {geometry_mm} mm were estimated teach nothing; weigh the spool "
                "again or leave this job out."
            ).format(actual_mm=actual_mm, geometry_mm=geometry_mm)
        )
    return WeighBack(log_ratio=math.log(actual_mm / geometry_mm), sigma=sigma_mm / actual_mm)


def posterior(prior: Factor, observations: Iterable[tuple[float, float]]) -> Factor:
    """Return the factor after ``observations``, each a (ln(actual / geometry), sigma of weighing).

    Normal–normal with known variances (Gelman et al., Bayesian Data Analysis, 2.5): precisions add, and each
    observation has the variance scatter² + sigma².

    >>> after = posterior(Factor(mean_log=0.0, sigma=0.1, scatter=0.08), [(0.2, 0.06)])
    >>> round(after.mean_log, 12), round(after.sigma, 6)
    (0.1, 0.070711)
    """
    if prior.sigma == 0:
        return prior
    precision = prior.sigma**-2
    weighted = prior.mean_log * precision
    for log_ratio, sigma in observations:
        _check_not_negative(sigma, N_("The sigma of an observation"))
        if not math.isfinite(log_ratio):
            raise WorkshopError(
                _("A ln(actual / geometry) of {log_ratio} teaches nothing; leave it out.").format(
                    log_ratio=log_ratio
                )
            )
        if sigma == 0 and prior.scatter == 0:
            raise WorkshopError(
                _("An observation without any error would silence all others; give its sigma.")
            )
        weight = 1 / (prior.scatter**2 + sigma**2)
        precision += weight
        weighted += weight * log_ratio
    return Factor(mean_log=weighted / precision, sigma=precision**-0.5, scatter=prior.scatter)


def combine_free(items: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Return the (mm, sigma in mm) of several independent items of stock taken together.

    >>> combine_free([(1000.0, 30.0), (500.0, 40.0)])
    (1500.0, 50.0)
    """
    known = list(items)
    for free_mm, sigma_mm in known:
        _check_free(free_mm, sigma_mm)
    return math.fsum(mm for mm, _ in known), math.hypot(*(sigma for _, sigma in known))


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_Z_EDGES = np.array([-9.0, -6.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 6.0, 9.0])
_STOCK_EDGES = np.array([-6.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 6.0])


def _p_both_uncertain(median_mm: float, spread: float, free_mm: float, free_sigma_mm: float) -> float:
    """Return E over z of Φ((free − median · e^(spread · z)) / sigma), by Gauss–Legendre in panels.

    Well-known stock makes Φ a cliff that a fixed rule over z would miss. So the panels are cut where the
    stock's own sigmas fall as well, and inside each panel the integrand is smooth.
    """
    stock_mm = free_mm + _STOCK_EDGES * free_sigma_mm
    stock_z = (np.log(stock_mm[stock_mm > 0]) - math.log(median_mm)) / spread
    edges = np.sort(np.concatenate([_Z_EDGES, np.clip(stock_z, -9.0, 9.0)]))
    half = np.diff(edges)[:, None] / 2
    z = (edges[:-1, None] + half) + half * _NODES
    density = np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    enough = ndtr((free_mm - median_mm * np.exp(spread * z)) / free_sigma_mm)
    return min(1.0, max(0.0, float((half * _WEIGHTS * density * enough).sum())))


def _on_the_sure_side(edge: float, *, step: float, p: Callable[[float], float], certainty: float) -> float:
    """Return ``edge`` moved by the least trifle at which ``p`` really reaches the certainty."""
    while p(edge) < certainty:
        edge += step
        step *= 2
    return edge
