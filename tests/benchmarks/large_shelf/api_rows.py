"""What programs look at, as rows of the walk over the large shelf: one for every operation that only reads.

Each is asked with a token of the owner's; the test beside it fails for an operation without a row.
"""

from collections.abc import Callable
from typing import Any

# Where the work is a whole basket, solved anew: its time grows with what there is to buy.
PROGRAMS_WAIT_FOR = frozenset({"api_basket"})

# What they ask the database hangs on what there is to say: why something was left out of a plan, which cloth a
# finished job was of, what material runs out while few jobs wait. On a larger shelf it is never more.
BY_ITS_ANSWER = frozenset({"api_plan", "api_report", "jobs"})

# What each address below api/1/ is made of, and what is asked beside it, by the operation's name. None: this
# workshop has no such record.
OPERATIONS: dict[str, Callable[[Any], tuple[str, dict[str, Any]] | None]] = {
    "api_stock": lambda _: ("stock", {}),
    "api_movements": lambda sample: (f"stock/{sample.spool.label}/movements", {}),
    "api_thing": lambda sample: (f"stock/{sample.spool.label}", {}),
    "api_makers": lambda _: ("makers", {}),
    "api_ranges": lambda _: ("ranges", {}),
    "api_range": lambda sample: (f"ranges/{sample.range.pk}", {}),
    "api_shades": lambda _: ("shades", {}),
    "api_shade": lambda sample: (f"shades/{sample.shade.pk}", {}),
    "api_match": lambda _: ("match", {"colour": "#b01c2e"}),
    "api_places": lambda _: ("places", {}),
    "api_bobbin_styles": lambda _: ("bobbin-styles", {}),
    "api_stabilizers": lambda _: ("stabilizers", {}),
    "api_designs": lambda _: ("designs", {}),
    "api_design": lambda sample: (f"designs/{sample.design.pk}", {}),
    "api_plan": lambda sample: ("plan", {"design": sample.design.pk, "pieces": 240}),
    "api_job_plan": lambda sample: _job(sample.draft, "/plan"),
    "api_jobs": lambda _: ("jobs", {}),
    "api_job": lambda sample: _job(sample.draft),
    "api_cut": lambda sample: _job(sample.draft, "/cut"),
    "api_run": lambda sample: _job(sample.running, "/run"),
    "api_ending": lambda sample: _job(sample.running, "/run/ending"),
    "api_report": lambda sample: _job(sample.finished, "/report"),
    "api_needs": lambda _: ("needs", {}),
    "api_basket": lambda _: ("basket", {}),
    "api_orders": lambda _: ("orders", {}),
    "api_order": lambda sample: sample.order and (f"orders/{sample.order.number}", {}),
}


def _job(job: Any, part: str = "") -> tuple[str, dict[str, Any]] | None:
    return None if job is None else (f"jobs/{job.pk}{part}", {})


def reading_operations() -> set[str]:
    """Return the names of all operations of the API that only read."""
    from workshop.api.site import api

    return {
        operation.url_name
        for room in api._get_bound_routers()
        for view in room.path_operations.values()
        for operation in view.operations
        if "GET" in operation.methods
    }
