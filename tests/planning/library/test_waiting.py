"""Files that wait for their import lie in the store, and whoever carries it out looks at them first."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from inventory.kept_files import store
from planning.library.importing import carry_out, receive_files
from planning.models import Design, ImportRun
from tests.planning.library.test_import_designs import stitch_bytes

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


@pytest.mark.django_db
def test_files_that_waited_through_an_update_are_imported(settings, person):
    run = ImportRun.objects.create(source="two files", by=person, asked_at=NOW)
    for number in (1, 2):  # where they were put before there was a list of them
        path = Path(settings.MEDIA_ROOT) / "incoming" / str(run.pk) / f"{number:05}" / f"{number}.vp3"
        path.parent.mkdir(parents=True)
        path.write_bytes(stitch_bytes(number))
    assert carry_out(run.pk, trim_at_jumps=3, clock=lambda: NOW)
    assert sorted(Design.objects.values_list("name", flat=True)) == ["1", "2"]
    assert not list(store().under("incoming/"))


@pytest.mark.django_db
def test_a_file_that_is_damaged_or_lost_while_it_waits_is_refused_and_the_others_come_in(person):
    files = [SimpleUploadedFile(f"{number}.vp3", stitch_bytes(number)) for number in range(3)]
    run = receive_files(files, at=NOW, by=person)
    first, second, _ = sorted(each.name for each in store().under("incoming/") if "-" in each.name)
    store().put(first, stitch_bytes(9))
    store().delete(second)
    run = carry_out(run.pk, trim_at_jumps=3, clock=lambda: NOW)
    assert (run.found, run.kept, run.refused) == (3, 1, 2)
    reasons = " ".join(run.files.values_list("reason", flat=True))
    assert "0.vp3 was damaged while it waited. Send it again." in reasons
    assert "1.vp3 is gone from the workshop's files. Send it again." in reasons
