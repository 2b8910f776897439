"""What is shaved off is in no answer: held against trying every answer of small cases."""

import itertools

import numpy as np

from planning.compute.colour.shaving import holdable


def a_case(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    request = np.repeat(np.arange(4), rng.integers(2, 5, 4))
    exclude = np.triu(rng.random((len(request), len(request))) < rng.uniform(0.2, 0.7), 1)
    exclude = (exclude | exclude.T) & (request[:, None] != request[None, :])
    return exclude, request


def answers(exclude: np.ndarray, request: np.ndarray) -> list[tuple[int, ...]]:
    of = [np.flatnonzero(request == each).tolist() for each in range(4)]
    return [each for each in itertools.product(*of) if not exclude[np.ix_(each, each)].any()]


def test_nothing_that_an_answer_holds_is_taken_away():
    rng = np.random.default_rng(8)
    proven = impossible = shaved = 0
    for _ in range(150):
        exclude, request = a_case(rng)
        left = holdable(exclude, request, requests=4)
        every = answers(exclude, request)
        held = {pair for answer in every for pair in answer}
        assert held <= set(np.flatnonzero(left).tolist())
        impossible += not every
        proven += not left.any()
        shaved += 0 < left.sum() < len(request)
        assert every == [] or left.any()
    assert impossible > 20
    assert proven > 0.9 * impossible
    assert shaved > 20
