"""Which database a migration's own queries go to, where it is not the site's that is migrated."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.core.management import call_command

_migrated: ContextVar[str | None] = ContextVar("migrated", default=None)


class MigratedDatabase:
    """A router: while another database is migrated, unaddressed queries go there. Landed migrations have some."""

    def db_for_read(self, model: Any, **hints: Any) -> str | None:
        return _migrated.get()

    def db_for_write(self, model: Any, **hints: Any) -> str | None:
        return _migrated.get()

    def allow_relation(self, one: Any, other: Any, **hints: Any) -> bool | None:
        return None


@contextmanager
def _queries_to(alias: str) -> Iterator[None]:
    token = _migrated.set(alias)
    try:
        yield
    finally:
        _migrated.reset(token)


def migrate_database(alias: str) -> None:
    """Bring the database behind ``alias`` to this version."""
    with _queries_to(alias):
        call_command("migrate", database=alias, verbosity=0, interactive=False)
