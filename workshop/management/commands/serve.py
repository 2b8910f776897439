"""Serve the site to the workshop: granian, with numbers that suit the database and the machine."""

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from workshop.people.members import opening_link


class Command(WorkshopCommand):
    help = N_(
        "Serve the site with granian. BASE_URL says how people reach it; with --certificate and --key it speaks "
        "TLS itself, which phones need for the camera and for working without a network."
    )
    example = "serve --host 0.0.0.0 --port 8000"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--host", default="127.0.0.1", help=_("the address to listen on; 0.0.0.0 for the network")
        )
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument(
            "--workers", type=int, help=_("site processes; 1 on SQLite, one a core on PostgreSQL")
        )
        parser.add_argument("--certificate", type=Path, help=_("a TLS certificate, PEM"))
        parser.add_argument("--key", type=Path, help=_("its key, PEM (PKCS 8)"))

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        if MigrationExecutor(connection).migration_plan(
            MigrationExecutor(connection).loader.graph.leaf_nodes()
        ):
            raise CommandError(
                _("The database is of an older version. Back up, then run: python3 manage.py migrate")
            )
        certificate, key = options["certificate"], options["key"]
        if bool(certificate) != bool(key):
            raise CommandError(_("TLS takes both: --certificate FILE and --key FILE."))
        environment = os.environ | {
            "ENOUGH_THREAD_SERVED": "yes",
            "DJANGO_SETTINGS_MODULE": "workshop.settings",
        }
        _run([sys.executable, "manage.py", "collectstatic", "--no-input", "-v", "0"], environment)
        scheme = "https" if certificate else "http"
        where = settings.BASE_URL.origin if settings.BASE_URL else f"{scheme}://{host}:{port}"
        self.stdout.write(
            _("Serving at {address}. Stop with Ctrl-C.").format(address=where + reverse("today"))
        )
        secret = opening_link(at=timezone.now())
        if secret:
            self.stdout.write(
                _("Open the workshop once with: {address}").format(
                    address=where + reverse("open_workshop", args=[secret])
                )
            )
        self.stdout.flush()
        connection.close()
        _run(
            granian_command(host, port, options["workers"], certificate, key), environment, gone_with_us=True
        )


def granian_command(
    host: str, port: int, workers: int | None, certificate: Path | None = None, key: Path | None = None
) -> list[str]:
    """Return the command line that serves this site.

    On SQLite all writers queue for one file: a second process would only wait. On PostgreSQL there is one a core.
    """
    number = workers or (1 if connection.vendor == "sqlite" else os.cpu_count() or 1)
    command = [
        sys.executable, "-m", "granian", "workshop.wsgi:application", "--interface", "wsgi", "--host", host,
        "--port", str(port), "--workers", str(number), "--blocking-threads", str(settings.SERVING_THREADS),
        "--respawn-failed-workers", "--no-ws",
    ]  # fmt: skip
    if settings.BASE_URL and settings.BASE_URL.path != "/":
        command += ["--url-path-prefix", settings.BASE_URL.path.rstrip("/")]
    if certificate and key:
        command += ["--ssl-certificate", str(certificate), "--ssl-keyfile", str(key)]
    return command


def _run(command: list[str], environment: dict[str, str], *, gone_with_us: bool = False) -> None:
    house = Path(__file__).resolve().parents[3]
    if gone_with_us and os.name != "nt":
        os.chdir(house)
        os.execve(command[0], command, environment)  # signals reach the server itself
    code = subprocess.call(command, cwd=house, env=environment)
    if code:
        raise CommandError(
            _("{command} ended with {code}; its own words are above.").format(
                command=" ".join(command[1:4]), code=code
            )
        )
