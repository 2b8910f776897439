"""What this site process has answered since it began: how often, how long it took, and what was slow."""

import threading
import time
from collections import Counter, deque
from dataclasses import dataclass
from datetime import datetime

KEPT_SLOW = 50
# Upper ends of the classes of answering times, in seconds.
ENDS = (0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class SlowQuery:
    """A statement that took long, without its values, and the page that asked it."""

    at: datetime
    route: str
    seconds: float
    sql: str


class Numbers:
    """Counts of one process; each act is whole for all its threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self.began = time.time()
        self.answers: Counter[tuple[str, str, int]] = Counter()
        self.seconds: Counter[str] = Counter()
        self.classes: Counter[tuple[str, float]] = Counter()
        self.queries: Counter[str] = Counter()
        self.slow: deque[SlowQuery] = deque(maxlen=KEPT_SLOW)
        self.slow_count = 0

    def note_answer(self, route: str, method: str, status: int, *, seconds: float, queries: int) -> None:
        """Count one answer."""
        with self._lock:
            self.answers[route, method, status] += 1
            self.seconds[route] += seconds  # type: ignore[assignment]
            self.queries[route] += queries
            for end in ENDS:
                if seconds <= end:
                    self.classes[route, end] += 1

    def note_slow(self, query: SlowQuery) -> None:
        """Keep one statement that took long."""
        with self._lock:
            self.slow.append(query)
            self.slow_count += 1

    def slowest_routes(self, *, most: int = 10) -> list[tuple[str, int, float, float]]:
        """Return the routes with the longest mean time: route, answers, mean seconds, mean queries."""
        with self._lock:
            counts: Counter[str] = Counter()
            for (route, _, _), count in self.answers.items():
                counts[route] += count
            rows = [
                (route, count, self.seconds[route] / count, self.queries[route] / count)
                for route, count in counts.items()
            ]
        return sorted(rows, key=lambda row: -row[2])[:most]


HERE = Numbers()
