"""The demo's account, for a workshop that nobody opened yet."""

import os
import secrets
from dataclasses import dataclass
from pathlib import Path

from django.contrib.auth.models import User

from workshop.people.members import make_first_account

NAME = "demo"
FILE = "demo-sign-in"


@dataclass(frozen=True)
class DemoSignIn:
    """Name and password of the demo's account, and the file that keeps them."""

    name: str
    password: str
    path: Path


def demo_sign_in(folder: Path) -> DemoSignIn | None:
    """Return how to sign in, with an account made where there is none.

    None where the workshop has accounts of its own, or the demo's password was changed.
    """
    path = folder / FILE
    if not User.objects.exists():
        password = secrets.token_urlsafe(9)
        # First the file: an account whose password nobody knows could not be opened again.
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as file:
            file.write(f"{NAME}\n{password}\n")
        make_first_account(NAME, password=password)
        return DemoSignIn(NAME, password, path)
    account = User.objects.filter(username=NAME).first()
    if account is None or not path.exists():
        return None
    _, _, password = path.read_text().strip().partition("\n")
    return DemoSignIn(NAME, password, path) if account.check_password(password) else None
