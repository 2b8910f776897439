"""JSON that somebody sent: bounded in depth and in its numbers before anything is done with it."""

import json
import math
from typing import Any, NoReturn

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _

MOST_DEPTH = 32
MOST_DIGITS = 18


class NotSoundJson(WorkshopError):
    """What was sent is no JSON, or holds what no page sends."""


def read_json(body: bytes) -> Any:
    """Return what ``body`` says. Raises NotSoundJson where it is deep, or holds a number that nothing can hold.

    >>> read_json(b'{"events": [1, 2.5]}')
    {'events': [1, 2.5]}
    >>> read_json(b"1e999")
    Traceback (most recent call last):
    inventory.compute.typed.sent_json.NotSoundJson: 1e999 is not a number that can be used here.
    """
    try:
        text = body.decode()
        if _depth(text) > MOST_DEPTH:
            raise NotSoundJson(_("What was sent is nested far too deep."))
        return json.loads(text, parse_float=_finite, parse_int=_whole, parse_constant=_refused)
    except NotSoundJson:
        raise
    except (ValueError, RecursionError):
        raise NotSoundJson(_("What was sent is not JSON. Send it again.")) from None


def _depth(text: str) -> int:
    """Return how deep brackets lie in each other at most, also those within texts: a bound that costs one pass.

    >>> _depth('{"a": [1, [2]]}')
    3
    """
    depth = deepest = 0
    for letter in text:
        if letter in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif letter in "]}":
            depth -= 1
    return deepest


def _finite(text: str) -> float:
    value = float(text)
    return value if math.isfinite(value) else _refused(text)


def _whole(text: str) -> int:
    return int(text) if len(text) <= MOST_DIGITS + 1 else _refused(text)


def _refused(text: str) -> NoReturn:
    raise NotSoundJson(_("{text} is not a number that can be used here.").format(text=text[:40]))
