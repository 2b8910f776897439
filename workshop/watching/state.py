"""What the workshop stands on now: versions, sizes, the queue of long work, the last backup."""

import platform
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import django
from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.db import connection
from django.db.models import Count

from inventory.kept_files import StoreAway, store
from inventory.models import Entry, LongWork, StockItem
from inventory.work.queue import alive
from planning.models import Design, Job
from workshop.backup.making import KeptBackup, kept_backups, program_version
from workshop.models import Token, WrongPassword

BUCKET_LISTED_EVERY_S = 600


@dataclass(frozen=True)
class WorkshopState:
    """What an owner and a watching machine are told."""

    versions: Mapping[str, str]
    sizes: Mapping[str, int]  # bytes
    counts: Mapping[str, int]
    jobs: Mapping[str, int]
    queue: Mapping[str, int]
    workers: int
    last_backup: KeptBackup | None


def state_of_workshop(*, at: datetime) -> WorkshopState:
    """Return how things stand, in a number of questions that does not grow."""
    backups = kept_backups(Path(settings.BACKUP_FOLDER))
    return WorkshopState(
        versions={
            "Enough Thread": program_version(),
            "Python": platform.python_version(),
            "Django": django.get_version(),
            "database": _database_version(),
            "system": f"{platform.system()} {platform.release()}"
            if sys.platform != "win32"
            else platform.platform(),
        },
        sizes={
            "database": _database_bytes(),
            **_bytes_kept(),
            "backups": sum(each.bytes for each in backups),
        },
        counts={
            "things": StockItem.objects.on_the_shelf().count(),
            "entries": Entry.objects.count(),
            "designs": Design.objects.count(),
            "sessions": Session.objects.filter(expire_date__gt=at).count(),
            "tokens": Token.objects.open(at).count(),
            "wrong_passwords_last_hour": WrongPassword.objects.filter(at__gt=at - timedelta(hours=1)).count(),
        },
        jobs=dict.fromkeys(Job.State.values, 0)
        | dict(Job.objects.order_by().values_list("state").annotate(Count("pk"))),
        queue={
            "waiting": LongWork.objects.waiting().count(),
            "running": LongWork.objects.under_way().count(),
            "failed": LongWork.objects.exclude(failure="").count(),
        },
        workers=alive(at=at).count(),
        last_backup=backups[0] if backups else None,
    )


def _database_version() -> str:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT sqlite_version()")
            return f"SQLite {cursor.fetchone()[0]}"
        cursor.execute("SHOW server_version")
        return f"PostgreSQL {cursor.fetchone()[0]}"


def _database_bytes() -> int:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()")
        else:
            cursor.execute("SELECT pg_database_size(current_database())")
        return int(cursor.fetchone()[0])


def _bytes_kept() -> dict[str, int]:
    """Return how much lies in the store; of a bucket, as it was some minutes ago at most. Nothing where it is away."""

    def added_up() -> int:
        return sum(each.bytes for each in store().under())

    try:
        if not store().is_far:
            return {"files": added_up()}
        return {"files": cache.get_or_set("bytes in the store", added_up, BUCKET_LISTED_EVERY_S) or 0}
    except StoreAway:
        return {}
