"""Whether a plan is still the one that a person was shown."""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import listed

LETTERS = 8


class PlanHasChanged(WorkshopError):
    """What would be done now is not what the person was shown."""


def fingerprint_of(parts: Mapping[str, Any]) -> str:
    """Return a few letters for each part of a plan, which change when that part does.

    >>> fingerprint_of({"the spools": ["S0001"], "the verdict": "enough"})
    'd4a0ba2a.3e8e7ff0'
    """
    return ".".join(
        hashlib.sha256(json.dumps(part, sort_keys=True, default=str).encode()).hexdigest()[:LETTERS]
        for part in parts.values()
    )


def refuse_if_changed(shown: str, parts: Mapping[str, Any], *, look: str) -> None:
    """Raise PlanHasChanged, naming the parts that differ from what was ``shown``, unless all are the same.

    The keys of ``parts`` name them in words; ``look`` says what to do now.
    """
    marks, now = shown.split("."), fingerprint_of(parts).split(".")
    if marks == now:
        return
    changed = [name for name, mark, here in zip(parts, marks, now, strict=False) if mark != here]
    if len(marks) != len(now) or not changed:
        changed = list(parts)
    raise PlanHasChanged(
        _("Since this was shown, the workshop has changed: {what}. Nothing was done. {look}").format(
            what=listed(changed), look=look
        )
    )
