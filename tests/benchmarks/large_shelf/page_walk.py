"""Every page that can be looked at, on a workshop that is there: processor time, size and queries of each.

``python -m tests.benchmarks.large_shelf.page_walk [ROUTE …]`` in the environment of the workshop; it answers in JSON.
``LOOKED_AT`` has a row for every page; the test beside it fails for one that has none.
"""

import json
import statistics
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from typing import Any

from tests.benchmarks.large_shelf.api_rows import OPERATIONS

PLACES = Callable[["Sample"], dict[str, Any] | None]
REPEATS = 3

# Routes that only take what is sent: looking at them is refused.
SENT_TO = frozenset(
    {
        "begin_job", "buying_draft", "change_back", "change_remembered", "choose_person", "count_needed",
        "count_or_leave", "delete_job", "design_join",
        "design_favourite", "design_note", "design_note_delete", "design_plan_with", "design_set_apart",
        "drop_job", "end_anyones_sign_in", "end_link", "end_sign_in", "finish_stocktake", "happened",
        "happenings", "hold_shades", "import_here", "import_stop", "invite", "let_go_person", "machine_changed",
        "needle", "not_begun", "order_act", "pick_up_job", "promise_job", "reopen_job", "reset_back", "sign_out",
        "start_anew", "station_add", "station_end", "strip_keep", "strip_threads_keep",
        "take_back_event", "take_back_promise",
        "together", "member", "app_keep", "design_applique_remove", "passkey_ask", "passkey_away", "passkey_keep",
        "passkey_make", "passkey_sign_in", "second_away", "second_needle", "second_rule", "take_back_act_on_many",
        "take_back_shade", "token_end", "work_again", "work_stop",
    }
)  # fmt: skip
# Pages of people who are not signed in, or of links that are used once; they read nothing that grows.
OF_NOBODY = frozenset(
    {
        "sign_in",
        "welcome",
        "open_workshop",
        "join",
        "reset_password",
        "station_here",
        "health",
        "second_step",
        "forgotten",
    }
)
# Sheets that print, files and pictures: their size is what was asked for.
WHOLE = frozenset(
    {
        "run_sheet", "cut_sheet", "cut_together", "shelf_csv", "export", "order_file", "design_file", "design_picture",
        "design_density", "design_strip", "remembered_colours_csv", "strip_download", "import_refused",
        "worker", "earlier_worker", "manifest", "pocket_shades", "handbook_words",
        "import_template", "failed_rows", "backup_file", "stocktake_report", "job_hooping_files", "stitch_out_photo",
    }
)  # fmt: skip
# Where the work is the file itself, or the whole examination, that is asked for: its time grows with what it holds.
SLOW_BY_NATURE = frozenset({"export", "shelf_csv", "backup_file", "job_hooping_files", "doctor"})

# What programs ask: those that read are rows of ``api_rows.py``.
OF_PROGRAMS = "api_"


class Sample:
    """A record of each kind that addresses are made of: one in the middle of the shelf."""

    def __init__(self) -> None:
        from django.contrib.auth.models import User

        from inventory.models import Entry, Order, Place, Shade, Spool, ThreadRange
        from planning.models import Design, ImportRun, Job, Machine, Observation

        def middle(query: Any) -> Any:
            found = query.order_by("pk")
            return found[found.count() // 2] if found.exists() else None

        self.draft = middle(Job.objects.filter(state=Job.State.DRAFT))
        self.running = middle(Job.objects.filter(state=Job.State.RUNNING))
        self.finished = middle(Job.objects.filter(state=Job.State.FINISHED))
        # One that a job needs, so that every page has all its parts, on a shelf of any size.
        self.design = middle(Design.objects.filter(placed__job=self.draft)) or middle(Design.objects.all())
        self.run = middle(ImportRun.objects.all())
        self.machine, self.shade, self.range = (
            middle(each.objects.all()) for each in (Machine, Shade, ThreadRange)
        )
        self.spool = middle(Spool.objects.on_the_shelf())
        self.order, self.entry = middle(Order.objects.all()), middle(Entry.objects.all())
        self.observation, self.user, self.place = (
            middle(each.objects.all()) for each in (Observation, User, Place)
        )


def _nothing(_: Sample) -> dict[str, Any]:
    return {}


def _of(name: str, field: str = "pk", *, to: str = "pk", **others: Any) -> PLACES:
    def places(sample: Sample) -> dict[str, Any] | None:
        record = getattr(sample, name)
        return None if record is None else {to: getattr(record, field), **others}

    return places


def _fixed(**places: Any) -> PLACES:
    return lambda _: places


def _material(sample: Sample) -> dict[str, Any] | None:
    from inventory.models import Entry, Spool

    used = Spool.objects.filter(pk__in=Entry.objects.filter(reason="use").values("item_id")[:50]).first()
    return None if used is None else {"slug": f"shade-{used.shade_id}"}


def _stocktake(_: Sample) -> dict[str, Any] | None:
    from inventory.models import Stocktake

    found = Stocktake.objects.first()
    return {"pk": found.pk} if found else None


# What each address is made of, by the route's name. None from a row: this workshop has no such record.
LOOKED_AT: dict[str, PLACES] = {
    **dict.fromkeys(
        (
            "preferences", "change_password", "my_mail", "my_pin", "my_sign_ins", "people", "rights", "backups",
            "doctor",
            "shelf", "own", "receive_first", "shade_choices", "catalogue", "equivalents", "stocktakes", "files",
            "scan", "today", "plan_sheet", "jobs", "cut_together", "keep_job", "designs",
            "design_import", "shade_suggestions", "gap_map", "setup", "setup_rules", "remembered_colours",
            "remembered_colours_csv", "strip", "running_out", "buying", "looking_back", "orders", "help",
            "json_keys", "find", "names_job", "measure_first", "strip_threads", "labels", "acts", "api_help",
            "first_hour", "own_list", "pocket", "pocket_shades", "worker", "earlier_worker", "manifest",
            "handbook", "handbook_words",
            "second_factor", "tokens", "watching", "work",
        ),
        _nothing,
    ),
    **dict.fromkeys(
        ("job", "edit_job", "cut_sheet", "same_again", "what_if_first", "confirm_delete_job"), _of("draft")
    ),
    **dict.fromkeys(("run_sheet", "finish_job", "run_state"), _of("running")),
    **dict.fromkeys(("quote", "job_hoopings"), _of("draft")),
    "handbook_page": _fixed(slug="plan"),
    "job_hooping_files": _of("draft", extension="pes"),
    "stitch_out_photo": lambda _: None,  # nobody has taken one
    "job_report": _of("finished"),
    **dict.fromkeys(
        (
            "design", "design_file", "design_delete", "design_colours", "design_colour_list", "design_picture",
            "design_density", "design_strip",
            "design_describe", "design_colours_copy", "design_colours_take_back", "design_appliques",
            "first_colours", "first_machine",
        ),
        _of("design"),
    ),
    **dict.fromkeys(("import_run", "import_refused"), _of("run")),
    "learned": _of("machine"),
    "setup_add": _fixed(slug="machines"),
    "setup_record": _of("machine", slug="machines"),
    **dict.fromkeys(("strip_download", "strip_threads_download"), _fixed(extension="dst")),
    "material": _material,
    "order": _of("order", "number", to="number"),
    "order_file": _of("order", "number", to="number", ending="csv"),
    "take_back": _of("entry"),
    "backup_file": lambda _: None,
    "shelf_list": _fixed(slug="thread"),
    "shelf_csv": _fixed(slug="thread"),
    "receive": _fixed(slug="spools"),
    "catalogue_list": _fixed(slug="shades"),
    "catalogue_add": _fixed(slug="shades"),
    "catalogue_record": _of("shade", slug="shades"),
    **dict.fromkeys(("shade_colour", "shade_equivalents", "shade_acts"), _of("shade")),
    "range_readings": _of("range"),
    **dict.fromkeys(("stocktake", "stocktake_report"), _stocktake),
    "export": _fixed(kind="spools", ending="csv"),
    "import_template": _fixed(kind="spools"),
    # a file that waits to be looked at
    **dict.fromkeys(("import_preview", "failed_rows", "own_list_read"), lambda _: None),
    "act_on_many": lambda _: None,  # nobody has acted on many things at once
    "act": _of("spool", "label", to="label", slug="take"),
    "item": _of("spool", "label", to="label"),
    "label": _of("spool", "label", to="code"),
}  # fmt: skip
# What is asked of a page beside its address: of a plan more pieces than there is thread for on a shelf of any size.
ASKED: dict[str, Callable[[Sample], dict[str, str]]] = {
    "shade_suggestions": lambda _: {"q": "K01"},
    "shade_choices": lambda _: {"range": "1"},
    "equivalents": lambda sample: {"q": f"{sample.shade.range} {sample.shade.code}"},
    **dict.fromkeys(
        ("plan_sheet", "keep_job"), lambda sample: {"design": str(sample.design.pk), "pieces": "240"}
    ),
}


def asked_of(route: str, sample: Sample) -> dict[str, str]:
    """Return what is asked of a page beside its address."""
    return ASKED[route](sample) if route in ASKED else {}


# What is answered with something that is no page: files, pictures, states, parts of pages that a script asks for.
NO_PAGES = frozenset(
    {
        "shelf_csv", "export", "order_file", "design_file", "design_picture", "design_density", "design_strip",
        "remembered_colours_csv", "strip_download", "strip_threads_download", "worker", "earlier_worker", "manifest",
        "pocket_shades", "handbook_words", "import_refused", "import_template", "failed_rows", "backup_file",
        "job_hooping_files",
        "stitch_out_photo", "run_state", "shade_suggestions", "shade_choices", "label",
    }
)  # fmt: skip


def pages_to_look_at() -> dict[str, str]:
    """Return the address of every page that this workshop has, by the name of its route."""
    from urllib.parse import urlencode

    from django.urls import reverse

    sample = Sample()
    found: dict[str, str] = {}
    for route, places in LOOKED_AT.items():
        where = None if route in NO_PAGES else places(sample)
        if where is None:
            continue
        asked = asked_of(route, sample)
        found[route] = reverse(route, kwargs=where) + (f"?{urlencode(asked)}" if asked else "")
    return found


def walk(only: list[str]) -> list[dict[str, Any]]:
    """Return a row for each page: its first and its median processor time in ms, its bytes and queries."""
    from django.contrib.auth.models import User
    from django.test import Client, override_settings
    from django.urls import reverse

    from workshop.people.members import make_first_account

    owner = User.objects.first() or make_first_account("walker", password="walks every page 7")
    client, sample = Client(HTTP_HOST="localhost"), Sample()
    client.force_login(owner)
    rows: list[dict[str, Any]] = []
    for route, places in LOOKED_AT.items():
        if only and route not in only:
            continue
        where = places(sample)
        if where is None:
            rows.append({"route": route, "left_out": "this workshop has none"})
            continue
        look = partial(client.get, reverse(route, kwargs=where), asked_of(route, sample))
        rows.append(_row(route, look))
    with _a_token(owner) as headers, override_settings(API_PER_MINUTE=10**6):
        for name, operation in OPERATIONS.items():
            if only and name not in only:
                continue
            asked = operation(sample)
            if asked is None:
                rows.append({"route": name, "left_out": "this workshop has none"})
                continue
            path, fields = asked
            rows.append(_row(name, partial(Client().get, f"/api/1/{path}", fields, headers=headers)))
    return rows


def _row(route: str, look: Callable[[], Any]) -> dict[str, Any]:
    """Return what a look takes: the first, then warm ones, and the questions that one of those asks the database."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from tests.benchmarks.processor import processor_s

    answer: list[Any] = []

    def whole() -> None:
        response = look()
        answer[:] = [response, b"".join(response) if response.streaming else response.content]

    first_s = processor_s(whole)
    warm_s = [processor_s(whole) for _ in range(REPEATS if first_s < 5 else 1)]
    with CaptureQueriesContext(connection) as queries:
        whole()
    row = {
        "route": route,
        "status": answer[0].status_code,
        "first_ms": round(first_s * 1000),
        "ms": round(statistics.median(warm_s) * 1000),
        "bytes": len(answer[1]),
        "queries": len(queries),
    }
    print(row, file=sys.stderr, flush=True)
    return row


@contextmanager
def _a_token(owner: Any) -> Iterator[dict[str, str]]:
    """Give the headers of a program that may look at everything, for this time."""
    from django.utils import timezone

    from workshop.people.rights import Right
    from workshop.people.tokens import make_token

    token, secret = make_token(
        "walks", user=owner, right=Right.PLAN, at=timezone.now(), by=owner, station=None
    )
    yield {"Authorization": f"Bearer {secret}", "Host": "localhost"}
    token.delete()


def main() -> None:
    import os

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    import_module("workshop.wsgi")  # as a process of the site: with its collections
    json.dump(walk(sys.argv[1:]), sys.stdout)


if __name__ == "__main__":
    main()
