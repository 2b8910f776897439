"""A program that is forked, killed at a random moment, and looked at: each death costs milliseconds.

The storm is one long-lived process. Its victims are forked from it once everything is imported, so that none of their
time goes into starting. Half of them die at any moment of the act, half after its first write, where the harm is.
"""

import os
import random
import re
import signal
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db import connection

WRITES = re.compile(
    r"\s*(?:WITH\b.*?\b)?(?:INSERT|UPDATE|DELETE|TRUNCATE|CREATE|ALTER|DROP)\b", re.IGNORECASE | re.DOTALL
)
STRETCH = 1.02
Act = Callable[[], object]


@dataclass
class Life:
    """What a victim told: when it began, first wrote, and was done, in seconds of one clock; None for never."""

    began: float = 0.0
    wrote: float | None = None
    done: float | None = None


@dataclass
class Pace:
    """How long the act takes to its first write, and from there to its end: what was seen last counts most."""

    before_s: float = 0.0
    after_s: float = 0.0
    seen: int = field(default=0)

    def learn(self, life: Life) -> None:
        if life.done is None:
            # Where none is seen to end any more, all has become slower: then the deaths must come later, too.
            self.before_s *= STRETCH
            self.after_s *= STRETCH
            return
        wrote = life.done if life.wrote is None else life.wrote
        weight = 0.3 if self.seen else 1.0
        self.before_s += weight * (wrote - life.began - self.before_s)
        self.after_s += weight * (life.done - wrote - self.after_s)
        self.seen += 1


def whole_life(act: Act) -> Life:
    """Let a victim do ``act`` to its end."""
    return _life(act, wait_for=b"", then_s=0.0)


def short_life(act: Act, *, pace: Pace, rng: random.Random, writes: bool = True) -> Life:
    """Kill a victim at a random moment of ``act``; ``writes`` tells whether it writes in the site's own database."""
    if not writes or rng.random() < 0.5:
        return _life(act, wait_for=b"b", then_s=rng.uniform(0, 1.05 * (pace.before_s + pace.after_s)))
    return _life(act, wait_for=b"w", then_s=rng.uniform(0, 1.05 * pace.after_s))


def _life(act: Act, *, wait_for: bytes, then_s: float) -> Life:
    connection.close()  # nothing open may cross into the victim
    reading, writing = os.pipe()
    victim = os.fork()
    if victim == 0:
        os.close(reading)
        _live(act, writing)
    os.close(writing)
    said = b""
    while (wait_for not in said or not wait_for) and (more := os.read(reading, 4096)):
        said += more
    if wait_for:
        time.sleep(then_s)
        os.kill(victim, signal.SIGKILL)
    os.waitpid(victim, 0)
    with os.fdopen(reading, "rb") as rest:
        said += rest.read()
    return _told(said)


def _told(said: bytes) -> Life:
    life = Life()
    for line in said.decode().splitlines():
        word, _, rest = line.partition(" ")
        assert word in ("b", "w", "d"), f"the victim failed by itself: {rest}"
        moment = float(rest)
        if word == "b":
            life.began = moment
        elif word == "w":
            life.wrote = moment
        else:
            life.done = moment
    return life


def _live(act: Act, tell: int) -> None:
    def say(word: str) -> None:
        os.write(tell, f"{word} {time.monotonic()}\n".encode())

    has_written = False

    def notice(execute: Callable[..., Any], sql: str, *rest: Any) -> Any:
        nonlocal has_written
        if not has_written and WRITES.match(sql):
            has_written = True
            say("w")
        return execute(sql, *rest)

    try:
        connection.ensure_connection()
        with connection.execute_wrapper(notice):
            say("b")
            act()
            say("d")
    except BaseException:
        os.write(tell, f"! {traceback.format_exc()[-1500:]!r}\n".encode())
    finally:
        os._exit(0)
