"""Opening the workshop: its first account."""

from django.contrib.auth.models import User
from django.db import connection, transaction

from inventory.compute.errors import WorkshopError


class AlreadyOpen(WorkshopError):
    """Somebody made the first account before; the text says how to go on."""

    def __init__(self) -> None:
        super().__init__(
            "This workshop already has an account. Sign in with it, or ask the person who has it for one."
        )


@transaction.atomic
def make_first_account(name: str, *, password: str) -> User:
    """Return the account of the person who opens the workshop; refuse once any account exists."""
    _wait_for_other_first_accounts()
    if User.objects.exists():
        raise AlreadyOpen
    return User.objects.create_superuser(name, password=password)


def _wait_for_other_first_accounts() -> None:
    # SQLite's transactions are IMMEDIATE: this one already holds the only place in the queue.
    if connection.vendor == "postgresql":
        table = connection.ops.quote_name(User._meta.db_table)
        with connection.cursor() as cursor:
            cursor.execute(f"LOCK TABLE {table} IN SHARE ROW EXCLUSIVE MODE")
