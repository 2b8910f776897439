"""The numbers of the workshop and of this process in the text format that Prometheus reads (version 0.0.4)."""

import os
import time
from collections.abc import Iterable, Mapping

from workshop.watching.numbers import ENDS, Numbers
from workshop.watching.state import WorkshopState

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
Labels = Mapping[str, object]


def exposition(state: WorkshopState, numbers: Numbers, *, at: float | None = None) -> str:
    """Return all series. Those of requests are of the site process that answers, and say which by ``process``.

    Counters of one process only ever grow, so that rates are right for each, whichever answers the next time.
    """
    now, process = at or time.time(), os.getpid()
    lines = [
        *_series("thread_info", "gauge", "The versions that run.", [(_named(state.versions), 1)]),
        *_by("thread_bytes", "Bytes of what is kept.", "what", state.sizes),
        *_by("thread_things", "How many there are.", "what", state.counts),
        *_by("thread_jobs", "Jobs by state.", "state", state.jobs),
        *_by("thread_tasks", "Long work by how it stands.", "status", state.queue),
        *_series("thread_workers", "gauge", "Processes that carry out long work now.", [({}, state.workers)]),
    ]
    if state.last_backup is not None:
        age = now - state.last_backup.made_at.timestamp()
        lines += _series("thread_backup_age_seconds", "gauge", "Since the last backup.", [({}, round(age))])
    answers = [
        ({"route": route, "method": method, "status": status, "process": process}, count)
        for (route, method, status), count in sorted(numbers.answers.items())
    ]
    lines += _series("thread_requests_total", "counter", "Requests answered.", answers)
    lines += _times(numbers, process)
    queries = [
        ({"route": route, "process": process}, count) for route, count in sorted(numbers.queries.items())
    ]
    lines += _series("thread_queries_total", "counter", "Statements put to the database.", queries)
    slow = [({"process": process}, numbers.slow_count)]
    lines += _series("thread_slow_queries_total", "counter", "Statements that took long.", slow)
    began = [({"process": process}, round(numbers.began))]
    lines += _series("thread_process_start_time_seconds", "gauge", "When the process began.", began)
    return "\n".join(lines) + "\n"


def _times(numbers: Numbers, process: int) -> list[str]:
    name = "thread_request_seconds"
    lines = [f"# HELP {name} How long requests took.", f"# TYPE {name} histogram"]
    for route in sorted(numbers.seconds):
        own = {"route": route, "process": process}
        count = sum(each for (of, _, _), each in numbers.answers.items() if of == route)
        ends = [(own | {"le": end}, numbers.classes[route, end]) for end in ENDS]
        lines += [
            _line(f"{name}_bucket", labels, value) for labels, value in [*ends, (own | {"le": "+Inf"}, count)]
        ]
        lines += [
            _line(f"{name}_sum", own, round(numbers.seconds[route], 6)),
            _line(f"{name}_count", own, count),
        ]
    return lines


def _by(name: str, what: str, label: str, values: Mapping[str, int]) -> list[str]:
    return _series(name, "gauge", what, [({label: key}, value) for key, value in values.items()])


def _named(versions: Mapping[str, str]) -> Labels:
    return {name.lower().replace(" ", "_"): version for name, version in versions.items()}


def _series(name: str, kind: str, what: str, rows: Iterable[tuple[Labels, float]]) -> list[str]:
    return [
        f"# HELP {name} {what}",
        f"# TYPE {name} {kind}",
        *(_line(name, labels, value) for labels, value in rows),
    ]


def _line(name: str, labels: Labels, value: float) -> str:
    written = ",".join(f'{key}="{_escaped(str(each))}"' for key, each in labels.items())
    return f"{name}{{{written}}} {value}" if written else f"{name} {value}"


def _escaped(text: str) -> str:
    r"""Return a label's value as the format has it.

    >>> _escaped('a "b" \\ c')
    'a \\"b\\" \\\\ c'
    """
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
