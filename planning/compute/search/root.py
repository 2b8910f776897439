"""Where a function crosses nought; scipy.optimize tells that too, and costs 35 MB and half a second beside it."""

from collections.abc import Callable

_EPSILON = 2.0**-52


def root_between(
    f: Callable[[float], float], low: float, high: float, *, within: float, share: float = 4 * _EPSILON
) -> float:
    """Return an x between ``low`` and ``high`` that is no farther than ``within`` + ``share`` · |x| from a root.

    Inverse quadratic interpolation where it is safe and halves elsewhere (Chandrupatla, Advances in Engineering
    Software 28, 1997). Raises ValueError where ``f`` has the same sign at both ends.

    >>> round(root_between(lambda x: x * x - 2, 0.0, 2.0, within=1e-12), 9)
    1.414213562
    """
    a, b = low, high
    f_a, f_b = f(a), f(b)
    if f_a == 0 or f_b == 0:
        return a if f_a == 0 else b
    if (f_a > 0) == (f_b > 0):
        raise ValueError(f"no root is fenced in: {f_a:g} at {a:g}, {f_b:g} at {b:g}")
    part = 0.5
    while True:
        # The best known ends are a and b with the root between them; c is the one before.
        x = a + part * (b - a)
        f_x = f(x)
        if (f_x > 0) == (f_a > 0):
            c, f_c = a, f_a
        else:
            c, f_c, b, f_b = b, f_b, a, f_a
        a, f_a = x, f_x
        best, f_best = (a, f_a) if abs(f_a) < abs(f_b) else (b, f_b)
        near = (0.5 * share * abs(best) + 0.5 * within) / abs(b - a) if b != a else 1.0
        if near > 0.5 or f_best == 0:
            return best
        along, up = (a - b) / (c - b), (f_a - f_b) / (f_c - f_b)
        if up * up < along and (1 - up) ** 2 < 1 - along:
            part = f_a / (f_b - f_a) * f_c / (f_b - f_c) + (c - a) / (b - a) * f_a / (f_c - f_a) * f_b / (
                f_c - f_b
            )
        else:
            part = 0.5
        part = min(max(part, near), 1 - near)
