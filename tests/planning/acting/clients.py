"""Clients at the site under its real server, each doing one act after another, and what the books say after.

Run as ``python -m tests.planning.acting.clients CLIENTS SECONDS PORT`` on a database that nobody else uses now. Each
client opens a page, fills in the form that it finds there and sends it, as a person does. Prints what came of it.
"""

import http.client
import json
import random
import re
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from http.cookies import SimpleCookie
from typing import Any
from urllib.parse import urlencode

import django

django.setup()

from django.contrib.auth.models import User  # noqa: E402  the database needs Django to be set up
from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402
from django.urls import reverse  # noqa: E402

from inventory.models import Spool, Staple, StockItem  # noqa: E402
from planning.models import Job, RunEvent  # noqa: E402
from planning.run.promise import promise  # noqa: E402
from planning.run.ticks import begin  # noqa: E402
from tests.factories import a_place, a_roll, a_shade  # noqa: E402
from tests.own_database import HOUSE  # noqa: E402
from tests.page_forms import Forms  # noqa: E402
from tests.planning.acting.scene import NOW, a_job, another_red_spool, fresh, set_up  # noqa: E402
from workshop.doctor.database import database_findings  # noqa: E402
from workshop.doctor.stock import stock_problems  # noqa: E402
from workshop.management.commands.serve import granian_command  # noqa: E402

SPOOLS, RUNNING, DRAFTS = 10, 8, 16
BUSY = "Somebody else was changing the same things"
MARKUP = re.compile(r"<[^>]+>|\s+")
REFUSED = re.compile(r'class="[^"]*\bproblem\b[^"]*"')


class Hand:
    """One client, with a session of its own."""

    def __init__(self, number: int, *, port: int, session: str) -> None:
        self.number, self.rng = number, random.Random(number)
        self.cookies = SimpleCookie({"sessionid": session})
        self.line = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        self.told: Counter[str] = Counter()
        self.errors: list[str] = []
        self.seconds: list[float] = []

    @property
    def slowest_s(self) -> float:
        return max(self.seconds, default=0.0)

    def acts(self, spools: list[str]) -> Mapping[str, tuple[int, Callable[[], bool | None]]]:
        """Return what this client does, and how often among ten or so."""
        return {
            "promise": (4, self.promise),
            "tick": (6, self.tick),
            "swap": (2, lambda: self.swap(self.rng.choice(spools))),
            "cut": (2, self.cut),
            "receive": (1, self.receive),
            "draft": (1, self.draft),
            "weigh": (
                2,
                lambda: self.on_item(self.rng.choice(spools), "weigh", gross=f"{self.rng.randint(20, 38)} g"),
            ),
            "move": (
                2,
                lambda: self.on_item(self.rng.choice(spools), "move", place=str(self.rng.randint(1, 2))),
            ),
            "same again": (1, self.again),
        }

    def work(self, *, until: float, spools: list[str]) -> None:
        acts = self.acts(spools)
        names, odds = list(acts), [often for often, _ in acts.values()]
        # Each begins with another, so that all kinds are done even where the computer has no time for many.
        first = [names[(self.number + step) % len(names)] for step in (0, 4)]
        while time.monotonic() < until:
            name = first.pop() if first else self.rng.choices(names, odds)[0]
            try:
                done = acts[name][1]()
            except Exception as problem:
                self.errors.append(f"{name}: {problem!r}")
                self.line.close()
                continue
            word = {True: "done", False: "refused", None: "nothing to do"}[done]
            self.told[f"{name}, {word}"] += 1

    def ask(self, address: str, fields: Mapping[str, str] | None = None) -> tuple[int, str]:
        """Return the status and the page, redirects followed."""
        method, body = ("GET", None) if fields is None else ("POST", urlencode(fields))
        for _ in range(5):
            jar = "; ".join(f"{name}={morsel.value}" for name, morsel in self.cookies.items())
            headers = {"Cookie": jar, "Content-Type": "application/x-www-form-urlencoded"}
            began = time.monotonic()
            answer, page = self.answer(method, address, body, headers)
            self.seconds.append(time.monotonic() - began)
            for given in answer.headers.get_all("Set-Cookie") or ():
                self.cookies.load(given)
            if answer.status not in (301, 302, 303):
                break
            method, body, address = "GET", None, answer.headers["Location"]
        if answer.status >= 500 or BUSY in page:
            said = MARKUP.sub(" ", page)[:300]
            self.errors.append(f"{answer.status} at {address}: {said}")
        return answer.status, page

    def answer(
        self, method: str, address: str, body: str | None, headers: Mapping[str, str]
    ) -> tuple[http.client.HTTPResponse, str]:
        self.line.request(method, address, body, headers)
        answer = self.line.getresponse()
        return answer, answer.read().decode()

    def send(
        self, address: str, to: str, wanted: Mapping[str, str] | None = None, **typed: str
    ) -> bool | None:
        """Fill in the form on the page at ``address`` that goes ``to`` somewhere, and return whether it was taken."""
        _, page = self.ask(address)
        fields = Forms(page).to(to, **(wanted or {}))
        if fields is None:
            return None
        status, after = self.ask(to or address, fields | typed)
        return status < 400 and not REFUSED.search(after)

    def promise(self) -> bool | None:
        job = self._a_job("draft", "promised")
        if job is None:
            return None
        page = reverse("job", args=[job])
        if self.rng.random() < 0.4:
            return self.send(page, reverse("take_back_promise", args=[job]))
        return self.send(page, reverse("promise_job", args=[job]))

    def tick(self) -> bool | None:
        job = self._a_job("running")
        if job is None:
            return None
        return self.send(reverse("run_sheet", args=[job]), reverse("happened", args=[job]), kind="piece")

    def swap(self, label: str) -> bool | None:
        job = self._a_job("running")
        if job is None:
            return None
        to = reverse("happened", args=[job])
        # The form where a label is typed and a weight may be; the other one names the next spool itself.
        return self.send(reverse("run_sheet", args=[job]), to, {"kind": "spool", "gross": ""}, label=label)

    def cut(self) -> bool | None:
        job = self._a_job("draft", "promised")
        return None if job is None else self.send(reverse("cut_sheet", args=[job]), "")

    def receive(self) -> bool | None:
        address = reverse("receive", args=["spools"])
        return self.send(address, address, shade="R", count="1")

    def draft(self) -> bool | None:
        return self.send(reverse("buying"), reverse("buying_draft"))

    def on_item(self, label: str, act: str, **typed: str) -> bool | None:
        return self.send(reverse("item", args=[label]), reverse("act", args=[label, act]), **typed)

    def again(self) -> bool | None:
        job = self._a_job("draft", "promised", "running")
        return None if job is None else self.send(reverse("same_again", args=[job]), "", pieces="2")

    def _a_job(self, *states: str) -> int | None:
        jobs = list(Job.objects.filter(state__in=states).values_list("pk", flat=True))
        connection.close()
        return self.rng.choice(jobs) if jobs else None


def stock_the_workshop() -> list[str]:
    """Set everything up, and return the labels of the spools."""
    set_up()
    for place in ("wall", "drawer"):
        a_place(place)
    for _ in range(SPOOLS - 1):
        another_red_spool()
    for _ in range(20):
        a_roll()
    Staple.objects.create(shade=a_shade("G", hex="#107040", name="kelp green"), minimum=3_000_000)
    for _ in range(RUNNING):
        job = a_job(pieces=60)
        promise(job, at=NOW, by=None, although_short=True)
        begin(fresh(job), at=NOW)
    for number in range(DRAFTS):
        a_job(pieces=6, layered=number % 4 > 0)
    return list(Spool.objects.values_list("label", flat=True))


def main() -> None:
    clients, seconds, port = map(int, sys.argv[1:])
    spools = stock_the_workshop()
    sessions = signed_in(clients)
    server = subprocess.Popen(granian_command("127.0.0.1", port, None), cwd=HOUSE)
    try:
        wait_for(port)
        hands = [Hand(number, port=port, session=session) for number, session in enumerate(sessions)]
        let_work(hands, seconds=seconds, spools=spools)
    finally:
        server.terminate()
        server.wait(30)
    print(json.dumps(what_came_of_it(hands)))


def signed_in(clients: int) -> list[str]:
    """Return so many sessions of one person who may do everything."""
    person = User.objects.create_user("morgan", is_superuser=True)
    sessions = []
    for _ in range(clients):
        browser = Client(SERVER_NAME="127.0.0.1")
        browser.force_login(person)
        sessions.append(browser.cookies["sessionid"].value)
    connection.close()
    return sessions


def let_work(hands: Sequence[Hand], *, seconds: float, spools: list[str]) -> None:
    """Have all at work at once for so long."""
    until = time.monotonic() + seconds
    threads = [
        threading.Thread(target=hand.work, kwargs={"until": until, "spools": spools}) for hand in hands
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def what_came_of_it(hands: Sequence[Hand]) -> dict[str, Any]:
    told = sum((hand.told for hand in hands), Counter[str]())
    oversold = [
        item.label for item in StockItem.objects.all() if item.on_hand < 0 or item.reserved > item.on_hand
    ]
    return {
        "acts": sum(told.values()),
        "told": dict(sorted(told.items())),
        "ticks": RunEvent.objects.filter(kind="piece").count(),
        "errors": [error for hand in hands for error in hand.errors],
        "oversold": oversold,
        "problems": [str(problem) for problem, _ in stock_problems()]
        + [str(each) for each in database_findings()],
        "slowest_s": round(max(hand.slowest_s for hand in hands), 2),
    }


def wait_for(port: int) -> None:
    for _ in range(240):
        try:
            line = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            line.request("GET", reverse("health"))
            if line.getresponse().status == 200:
                return
        except OSError:
            pass
        time.sleep(0.5)
    raise RuntimeError("The server did not come up.")


if __name__ == "__main__":
    main()
