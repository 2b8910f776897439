"""Commands start without what only pages and programs need."""

import subprocess
import sys

import pytest

from tests.own_database import HOUSE, own_file

HEAVY = ("ninja", "pydantic", "webauthn", "pyotp", "cryptography")


@pytest.mark.parametrize("command", ["help", "weigh --help", "token --help", "plan --help"])
def test_a_command_imports_nothing_of_the_api_or_of_passkeys(tmp_path, command: str) -> None:
    program = (
        "import sys; from django.core.management import execute_from_command_line as run\n"
        f"sys.argv = ['manage.py', *{command.split()!r}]\n"
        "try:\n    run(sys.argv)\nexcept SystemExit:\n    pass\n"
        f"print('LOADED', [name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    environment = own_file(tmp_path) | {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
    done = subprocess.run(
        [sys.executable, "-c", program],
        cwd=HOUSE,
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[-1] == "LOADED []"
