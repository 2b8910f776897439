"""Carry out long work beside the site: imports, pictures and backups that people asked for on its pages."""

import logging
import signal
import threading
from types import FrameType
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from inventory.models import WorkProcess
from inventory.processes.allocator import give_memory_back
from inventory.work.loop import work_on


class Command(WorkshopCommand):
    help = N_(
        "Carry out long work that was asked for on the pages: imports, pictures, backups. Any "
        "number may run, on any number of machines that reach the same database and files; "
        "ENOUGH_THREAD_WORKER=yes tells the site of them."
    )
    formats = ("text",)
    example = "work --until-empty"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--until-empty", action="store_true", help=_("do what waits, then end"))
        parser.add_argument(
            "--interval", type=float, default=1.0, metavar="SECONDS", help=_("look so often (default: 1)")
        )

    def handle(self, *args: Any, until_empty: bool, interval: float, **options: Any) -> None:
        give_memory_back()
        logging.getLogger("django_tasks_db").setLevel(logging.WARNING)
        ending, wake = threading.Event(), threading.Event()

        def end(number: int, frame: FrameType | None) -> None:
            if ending.is_set():  # asked twice: at once
                raise SystemExit(1)
            ending.set()
            wake.set()

        for each in (signal.SIGINT, signal.SIGTERM):
            signal.signal(each, end)
        work_on(
            kind=WorkProcess.Kind.WORKER,
            ending=ending,
            wake=wake,
            interval_s=interval,
            through=lambda: until_empty,
        )
