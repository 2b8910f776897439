"""A database that somebody else holds for 40 seconds: words after 30, nothing changed, and all goes on afterwards."""

import json
from pathlib import Path

import pytest
from django.db import connection

from tests.own_database import own_database, run_in
from workshop.trouble.kinds import BUSY

pytestmark = [pytest.mark.exhaustive, pytest.mark.database, pytest.mark.usefixtures("django_db_setup")]
SECONDS = 40
LOCKS = {"sqlite": ("writing",), "postgresql": ("acting", "tables")}
ACTS = {"/jobs/4/run/happened/", "/workshop/hoops/add/"}


@pytest.mark.parametrize("how", LOCKS.get(connection.vendor, ()))
def test_whoever_is_kept_waiting_is_told_in_words_and_nothing_is_changed(how: str, tmp_path: Path) -> None:
    with own_database(tmp_path) as environment:
        settings = {"DJANGO_SETTINGS_MODULE": "workshop.settings"}
        words = ("-m", "tests.workshop.backup.locked", how, str(SECONDS))
        said = json.loads(run_in({**environment, **settings}, *words).splitlines()[-1])
    print([(each["asked"], each["status"], each["after_s"]) for each in said["meanwhile"]])
    told = {each["asked"]: each for each in said["meanwhile"]}
    # Somebody who signs in meanwhile may do so where only acts are kept waiting.
    assert set(said["changed"]) <= {"auth_user", "axes_accesslog", "workshop_signin"}
    for asked, each in told.items():
        assert each["status"] != 500, each
        assert each["after_s"] < SECONDS, each  # told before all was over, not by it
        assert each["status"] < 400 or BUSY.title in each["text"] or "Somebody else was" in each["text"], (
            asked
        )
    refused = [asked for asked in told if "/do/" in asked or asked in ACTS or how == "tables"]
    for asked in refused:
        assert "Somebody else was" in told[asked]["text"] or BUSY.title in told[asked]["text"], told[asked]
    assert len(refused) == (len(told) if how == "tables" else 3)
    if how != "tables":
        assert told["/"]["status"] == told["/jobs/4/"]["status"] == 200
    assert [each for each in said["after"] if each["status"] != 200 or "Somebody else" in each["text"]] == []
