"""A full disk: words, nothing lost, and it works again once there is room. Needs to mount a small disk."""

import os
import subprocess
from pathlib import Path

import pytest
from django.db import connection

from tests.own_database import own_database, run_in

pytestmark = pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL's disk is not ours to fill")


@pytest.fixture
def small_disk(tmp_path: Path):
    place = tmp_path / "small"
    place.mkdir()
    if (
        os.geteuid() != 0
        or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=12m", "tmpfs", place]).returncode
    ):
        pytest.skip("mounting a small disk needs the rights of root")
    yield place
    subprocess.run(["umount", "-l", place], check=True)


ASK = """
import django, json, os, sys
os.environ['DJANGO_SETTINGS_MODULE'] = 'workshop.settings'
django.setup()
from django.contrib.auth.models import User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
client = Client(SERVER_NAME='localhost', raise_request_exception=False)
client.force_login(User.objects.first())
from pathlib import Path
if sys.argv[1] == 'full':
    filler = Path(os.environ['ENOUGH_THREAD_DATA']) / 'filler'
    with filler.open('wb', buffering=0) as file:
        try:
            while True:
                file.write(b'x' * 4096)
        except OSError:
            pass
rows = 'label,kind\\n' + ''.join(f'X{n:05},spool\\n' for n in range(3000))
answers = {
    'add a place or thing': client.post('/workshop/hoops/add/', {'name': 'large', 'field_width': '20 cm',
        'field_height': '20 cm', 'ring_width': '22 cm', 'ring_height': '22 cm', 'notes': 'x' * 200}),
    'import': client.post('/shelf/files/', {'kind': 'spools', 'file': SimpleUploadedFile('a.csv', rows.encode())}),
    'backup': client.post('/preferences/backups/', {}),
    'health': client.get('/health/'),
}
print(json.dumps({what: [answer.status_code, answer.content.decode()[:2000]] for what, answer in answers.items()}))
"""


def test_every_act_on_a_full_disk_is_told_in_words_and_nothing_is_lost(small_disk, django_db_setup):
    import json

    with own_database(small_disk, filled_from="017aeda") as environment:
        before = run_in(environment, "manage.py", "export_stock", "spools")
        answers = json.loads(run_in(environment, "-c", ASK, "full"))
        for what, (status, text) in answers.items():
            assert status != 500, (what, text)
        assert "disk is full" in answers["import"][1].lower() or answers["import"][0] == 503
        # The log may have room for the one row that it tries; what it says is then true.
        assert answers["health"][0] in (200, 503)
        (small_disk / "filler").unlink()
        assert run_in(environment, "manage.py", "export_stock", "spools") == before
        assert "sound" in run_in(environment, "manage.py", "check_ledger")
        again = json.loads(run_in(environment, "-c", ASK, "room"))
        assert again["health"][0] == 200
        assert again["import"][0] == 302
