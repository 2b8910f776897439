"""Many stitch files into the library: from a folder, through the browser, in archives, and after a kill."""

import csv
import io
import json
import os
import signal
import stat
import subprocess
import sys
import time
import zipfile
from datetime import timedelta
from pathlib import Path

import pyembroidery
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone

from inventory.kept_files import store
from inventory.models import LongWork
from planning.library import importing, uploads
from planning.library.colours import RequestedColour, recolour
from planning.library.digests import digest_design_files
from planning.library.importing import KEPT_AT_ONCE, CannotImport, carry_out, import_folder, receive_files
from planning.models import Design, ImportedFile, ImportRun
from planning.stitch_files import unpacking
from planning.stitch_files.reading import MIB
from planning.stitch_files.unpacking import UnpackLimits, UnsafeArchive, plain_name, unpack
from tests.factories import NOW
from tests.own_database import own_file
from tests.pages import page_text
from tests.planning.memory import most_memory

ROOT = Path(__file__).resolve().parents[3]
RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "designs"
    made.mkdir()
    return made


def stitch_bytes(number=1, *, extension="vp3"):
    """Return a small design; another number makes another drawing."""
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": RED, "name": "harbour red"})
    for step in range(60 + 5 * number):
        pattern.stitch_abs(20 * (step % 12), 25 * (step // 12))
    pattern.end()
    stream = io.BytesIO()
    stream.close = lambda: None  # type: ignore[method-assign]  # the library closes what it has written
    writer = next(
        each for each in pyembroidery.EmbPattern.supported_formats() if each["extension"] == extension
    )
    pyembroidery.write_embroidery(writer["writer"], pattern, stream)
    return stream.getvalue()


def bring_in(folder):
    return import_folder(folder, trim_at_jumps=3, clock=timezone.now)


def refusals(run):
    return {file.shown.rpartition("/")[2]: file.reason for file in run.files.filter(outcome="refused")}


def archive(members, **options):
    """Return a ZIP archive of name and content; a ZipInfo stands for a name that needs one."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, **options) as made:
        for name, content in members:
            made.writestr(name, content)
    return stream.getvalue()


# From a folder


@pytest.mark.django_db
def test_a_folder_comes_in_with_its_subfolders_and_the_bad_ones_are_told(folder):
    (folder / "caps").mkdir()
    (folder / "caps" / "one.vp3").write_bytes(stitch_bytes(1))
    (folder / "two.VP3").write_bytes(stitch_bytes(2))
    (folder / "empty.pes").write_bytes(b"")
    (folder / "letter.pes").write_text("Dear workshop")
    (folder / "invoice.pdf").write_bytes(b"%PDF-1.7")
    run = bring_in(folder)
    assert sorted(design.name for design in Design.objects.all()) == ["one", "two"]
    assert (run.found, run.kept, run.known, run.refused, run.passed_over) == (4, 2, 0, 2, 1)
    told = refusals(run)
    assert "empty.pes is empty" in told["empty.pes"]
    assert "letter.pes is not a whole PES file" in told["letter.pes"]


@pytest.mark.django_db
def test_a_file_of_a_gigabyte_is_refused_without_being_read_through(folder):
    with (folder / "huge.dst").open("wb") as file:
        file.truncate(1024 * MIB)
    with most_memory(20 * MIB):
        run = bring_in(folder)
    assert "larger than 20 MiB" in refusals(run)["huge.dst"]


@pytest.mark.django_db
def test_links_are_left_alone_and_pipes_refused(folder, tmp_path):
    (tmp_path / "elsewhere.vp3").write_bytes(stitch_bytes(1))
    (folder / "link.vp3").symlink_to(tmp_path / "elsewhere.vp3")
    (folder / "round").symlink_to(folder)
    os.mkfifo(folder / "pipe.vp3")
    run = bring_in(folder)
    assert (run.kept, run.passed_over) == (0, 1)
    assert "a pipe or a device" in refusals(run)["pipe.vp3"]


@pytest.mark.django_db
def test_a_second_run_reads_nothing_that_is_unchanged(folder, monkeypatch):
    (folder / "one.vp3").write_bytes(stitch_bytes(1))
    (folder / "letter.pes").write_text("Dear workshop")
    bring_in(folder)
    asked = []

    def watched(paths, **options):
        paths = list(paths)
        asked.extend(paths)
        return digest_design_files(paths, **options)

    monkeypatch.setattr(importing, "digest_design_files", watched)
    run = bring_in(folder)
    assert asked == []
    assert (run.known, run.refused) == (1, 1)
    assert "letter.pes" in refusals(run)


@pytest.mark.django_db
def test_a_file_that_was_moved_or_touched_is_known_by_its_content(folder):
    (folder / "one.vp3").write_bytes(stitch_bytes(1))
    bring_in(folder)
    (folder / "one.vp3").rename(folder / "other.vp3")
    run = bring_in(folder)
    assert (run.kept, run.known) == (0, 1)
    assert Design.objects.get().name == "one"


@pytest.mark.django_db
def test_a_file_that_was_mended_comes_in(folder):
    (folder / "one.vp3").write_bytes(b"damaged")
    assert bring_in(folder).refused == 1
    (folder / "one.vp3").write_bytes(stitch_bytes(1))
    assert bring_in(folder).kept == 1


@pytest.mark.django_db
def test_a_design_that_was_deleted_comes_in_again(folder):
    (folder / "one.vp3").write_bytes(stitch_bytes(1))
    bring_in(folder)
    Design.objects.all().delete()
    assert bring_in(folder).kept == 1


@pytest.mark.django_db
def test_colours_chosen_by_hand_survive_every_further_import(folder):
    (folder / "one.vp3").write_bytes(stitch_bytes(1))
    bring_in(folder)
    recolour(Design.objects.get(), {1: RequestedColour(hex=BLUE)})
    os.utime(folder / "one.vp3")
    (folder / "copy.vp3").write_bytes(stitch_bytes(1))
    bring_in(folder)
    assert Design.objects.get().blocks.get().hex == BLUE


@pytest.mark.django_db
def test_the_same_content_twice_in_one_folder_is_one_design(folder):
    for name in ("a.vp3", "b.vp3", "c.vp3"):
        (folder / name).write_bytes(stitch_bytes(1))
    run = bring_in(folder)
    assert (run.kept, run.known) == (1, 2)


@pytest.mark.django_db
def test_what_is_no_folder_is_refused(folder):
    with pytest.raises(CannotImport, match="is not a folder"):
        bring_in(folder / "missing")
    with pytest.raises(CannotImport, match="is not a folder"):
        bring_in(Path(os.devnull))


@pytest.mark.django_db
def test_a_name_that_is_no_text_is_imported_all_the_same(folder):
    name = os.fsdecode(b"caf\xe9.vp3")
    try:
        (folder / name).write_bytes(stitch_bytes(1))
    except OSError:
        pytest.skip("this file system takes no such names")
    run = bring_in(folder)
    assert run.kept == 1
    assert bring_in(folder).known == 1


# The command


@pytest.mark.django_db
def test_the_command_answers_in_json_and_by_its_exit_code(folder, capsys):
    (folder / "one.vp3").write_bytes(stitch_bytes(1))
    call_command("import_designs", str(folder), format="json")
    answer = json.loads(capsys.readouterr().out)
    assert (answer["found"], answer["kept"], answer["refused"]) == (1, 1, [])
    (folder / "letter.pes").write_text("Dear workshop")
    with pytest.raises(SystemExit) as ended:
        call_command("import_designs", str(folder), format="json")
    assert ended.value.code == 1
    answer = json.loads(capsys.readouterr().out)
    assert answer["known"] == 1
    assert "letter.pes" in answer["refused"][0]["reason"]


@pytest.mark.django_db
def test_the_command_says_in_words_what_came_in(folder, capsys):
    (folder / "one.vp3").write_bytes(stitch_bytes(1))
    (folder / "read me.txt").write_text("about these")
    call_command("import_designs", str(folder))
    assert "1 stitch file: 1 kept, 0 known already, 0 refused. 1 other files" in capsys.readouterr().out


@pytest.mark.thorough
@pytest.mark.usefixtures("django_db_setup")
def test_a_run_that_is_killed_is_finished_by_the_next_with_each_design_once(folder, tmp_path):
    for number in range(60):
        (folder / f"{number:03}.vp3").write_bytes(stitch_bytes(number))
    home = tmp_path / "home"
    environment = own_file(home)
    manage = [sys.executable, str(ROOT / "manage.py")]
    command = [*manage, "import_designs", str(folder), "--format", "json"]
    child = subprocess.Popen(
        command, env=environment, cwd=ROOT, stdout=subprocess.DEVNULL, start_new_session=True
    )
    try:
        deadline = time.monotonic() + 120
        while time.monotonic() < deadline and len(list(home.glob("files/designs/*/*"))) <= KEPT_AT_ONCE:
            time.sleep(0.02)
    finally:
        os.killpg(child.pid, signal.SIGKILL)
        child.wait()
    stored = len(list(home.glob("files/designs/*/*")))
    assert KEPT_AT_ONCE < stored < 60, "it was killed too early or too late to tell anything"
    answer = json.loads(
        subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, check=True).stdout
    )
    # Those that were being kept when the kill came may have their files but not their records: they are read again.
    assert answer["kept"] + answer["known"] == 60
    assert stored - KEPT_AT_ONCE <= answer["known"] <= stored
    assert answer["known"] > 0
    third = json.loads(
        subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, check=True).stdout
    )
    assert (third["kept"], third["known"]) == (0, 60)


# Archives


@pytest.mark.parametrize(
    "name",
    ["../climb.pes", "/root.pes", "a/../../climb.pes", "..\\climb.pes", "C:\\climb.pes", "C:climb.pes"],
)
def test_a_name_that_leads_out_of_the_archive_is_refused(tmp_path, name):
    (tmp_path / "bad.zip").write_bytes(archive([(name, stitch_bytes(1)), ("good.vp3", stitch_bytes(2))]))
    files, _ = unpack(tmp_path / "bad.zip", into=tmp_path / "in", name="bad.zip")
    bad, good = files
    assert "leads out of the archive" in bad.reason
    assert good.path
    assert good.path.read_bytes() == stitch_bytes(2)
    assert [path.name for path in tmp_path.rglob("*.pes")] == []


@pytest.mark.parametrize("name", ["NUL.pes", "a/con.dst", "Com1.backup.pes", "aux /one.pes", "LPT².exp"])
def test_a_name_that_means_a_device_is_refused(tmp_path, name):
    (tmp_path / "bad.zip").write_bytes(archive([(name, stitch_bytes(1))]))
    (bad,), _ = unpack(tmp_path / "bad.zip", into=tmp_path / "in", name="bad.zip")
    assert "means a device" in bad.reason


def test_links_locked_members_and_archives_within_are_refused(tmp_path):
    link = zipfile.ZipInfo("link.pes")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    inner = archive([("one.vp3", stitch_bytes(1))])
    content = archive(
        [(link, "/etc/passwd"), ("inner.zip", inner), ("inner.tar.gz", b"x"), ("locked.vp3", b"1")]
    )
    at = content.rindex(b"PK\x01\x02")  # the last record of the directory is that of locked.vp3
    content = content[: at + 8] + b"\x01\x00" + content[at + 10 :]
    (tmp_path / "bad.zip").write_bytes(content)
    files, _ = unpack(tmp_path / "bad.zip", into=tmp_path / "in", name="bad.zip")
    assert [file.path for file in files] == [None] * 4
    reasons = " ".join(file.reason for file in files)
    for words in ("a link or a device", "an archive within", "locked with a password"):
        assert words in reasons


def test_an_archive_that_grows_a_hundredfold_is_not_unpacked(tmp_path):
    (tmp_path / "bomb.zip").write_bytes(archive([("zeros.dst", bytes(19 * MIB))]))
    with pytest.raises(UnsafeArchive, match=r"bomb\.zip would grow [0-9,]+ times"):
        unpack(tmp_path / "bomb.zip", into=tmp_path / "in", name="bomb.zip")
    assert not (tmp_path / "in").exists()


def test_an_archive_that_holds_too_much_is_not_unpacked(tmp_path):
    (tmp_path / "big.zip").write_bytes(archive([(f"{n}.dst", os.urandom(1000)) for n in range(4)]))
    with pytest.raises(UnsafeArchive, match="holds 4 files; up to 3"):
        unpack(tmp_path / "big.zip", into=tmp_path / "in", name="big.zip", limits=UnpackLimits(members=3))
    with pytest.raises(UnsafeArchive, match="Pack it in parts"):
        unpack(tmp_path / "big.zip", into=tmp_path / "in", name="big.zip", limits=UnpackLimits(bytes=3000))
    assert not (tmp_path / "in").exists()


def test_a_member_that_lies_about_its_size_is_stopped_at_the_limit(tmp_path):
    """The directory says 10 bytes; the stream holds 100,000."""
    content = bytearray(archive([("liar.dst", os.urandom(100_000))]))
    at = content.rindex(b"PK\x01\x02")
    content[at + 24 : at + 28] = (10).to_bytes(4, "little")
    (tmp_path / "liar.zip").write_bytes(content)
    limits = UnpackLimits(bytes=50_000, member_bytes=50_000)
    (liar,), _ = unpack(tmp_path / "liar.zip", into=tmp_path / "in", name="liar.zip", limits=limits)
    assert "damaged" in liar.reason
    assert list((tmp_path / "in").rglob("*.dst")) == []


@pytest.mark.parametrize("cut", [0, 30, 200])
def test_an_archive_that_is_cut_off_is_refused(tmp_path, cut):
    (tmp_path / "cut.zip").write_bytes(archive([("one.vp3", stitch_bytes(1))])[:cut])
    with pytest.raises(UnsafeArchive, match="not a whole ZIP archive"):
        unpack(tmp_path / "cut.zip", into=tmp_path / "in", name="cut.zip")


def test_a_member_whose_bytes_are_damaged_is_refused_alone(tmp_path):
    content = bytearray(archive([("one.dst", os.urandom(5000)), ("two.vp3", stitch_bytes(2))]))
    content[2000] ^= 0xFF
    (tmp_path / "hurt.zip").write_bytes(content)
    hurt, whole = unpack(tmp_path / "hurt.zip", into=tmp_path / "in", name="hurt.zip")[0]
    assert "damaged" in hurt.reason
    assert whole.path
    assert whole.path.read_bytes() == stitch_bytes(2)


def test_what_is_no_stitch_file_is_left_in_the_archive_and_counted(tmp_path):
    content = archive([("read me.txt", "hello"), ("__MACOSX/._one.vp3", b"x"), ("one.vp3", stitch_bytes(1))])
    (tmp_path / "set.zip").write_bytes(content)
    files, others = unpack(tmp_path / "set.zip", into=tmp_path / "in", name="set.zip")
    assert ([file.shown for file in files], others) == (["one.vp3"], 2)


@pytest.mark.parametrize(
    "name", ["crew.pes", "a/b\\c.DST", "con.pes", "..", "", ".", "x" * 400 + ".pes", "é\u202e.pes"]
)
def test_a_plain_name_can_be_stored_anywhere(name):
    plain = plain_name(name)
    assert plain
    assert len(plain.encode()) <= 160
    assert unpacking.unsafe_name(plain) == ""
    assert plain.isprintable()


# Through the browser


def send(client, *files):
    sent = [SimpleUploadedFile(name, content) for name, content in files]
    return client.post(reverse("design_import"), {"stitch_files": sent})


@pytest.mark.django_db
def test_five_files_of_which_one_is_damaged_end_as_four_designs_and_one_reason(signed_in):
    files = [(f"{number}.vp3", stitch_bytes(number)) for number in range(4)]
    response = send(signed_in, *files, ("broken.pes", b"#PES0001" + bytes(40)))
    page = page_text(signed_in.get(response.url))
    assert Design.objects.count() == 4
    assert "1 of 5 files was refused" in page
    assert "broken.pes" in page
    run = ImportRun.objects.get()
    assert not list(store().under("incoming/"))
    refused = signed_in.get(reverse("import_refused", args=[run.pk]))
    table = list(csv.reader(io.StringIO(refused.content.decode())))
    assert table[0][-1] == "reason"
    assert table[1][0] == "broken.pes"
    assert len(table) == 2


@pytest.mark.django_db
def test_an_archive_comes_in_beside_single_files(signed_in):
    inner = archive([("caps/one.vp3", stitch_bytes(1)), ("../climb.vp3", stitch_bytes(2)), ("note.txt", "x")])
    response = send(signed_in, ("set.zip", inner), ("three.vp3", stitch_bytes(3)))
    page = signed_in.get(response.url).content.decode()
    assert sorted(Design.objects.values_list("name", flat=True)) == ["one", "three"]
    assert "leads out of the archive" in page
    assert ImportRun.objects.get().passed_over == 1


@pytest.mark.django_db
def test_a_bomb_is_refused_and_the_rest_comes_in(signed_in):
    bomb = archive([("zeros.dst", bytes(19 * MIB))])
    response = send(signed_in, ("bomb.zip", bomb), ("cut.zip", b"PK\x03\x04"), ("one.vp3", stitch_bytes(1)))
    page = page_text(signed_in.get(response.url))
    assert "2 of 3 files were refused" in page
    assert "would grow" in page
    assert "not a whole ZIP archive" in page
    assert Design.objects.count() == 1


@pytest.mark.django_db
@pytest.mark.parametrize(
    "name", ["../../climb.vp3", "CON.vp3", "=cmd.vp3", "a\u202eb.vp3", "x" * 300 + ".vp3"]
)
def test_a_hostile_name_does_no_harm(signed_in, name, tmp_path):
    file = SimpleUploadedFile("x.vp3", stitch_bytes(1))
    file._name = name  # type: ignore[attr-defined]  # as a program sends it, not a browser
    response = signed_in.post(reverse("design_import"), {"stitch_files": file})
    assert response.status_code == 302
    assert Design.objects.count() == 1
    assert not list(tmp_path.parent.glob("**/climb.vp3"))


@pytest.mark.django_db
def test_empty_and_foreign_files_are_refused_in_words(signed_in):
    response = send(signed_in, ("empty.dst", b""), ("photo.jpg", b"\xff\xd8\xff"), ("zero.zip", b""))
    page = signed_in.get(response.url).content.decode()
    assert "empty.dst is empty" in page
    assert "photo.jpg is not a kind of stitch file" in page
    assert "zero.zip is not a whole ZIP archive" in page


@pytest.mark.django_db
def test_sending_nothing_or_too_much_says_what_to_do(signed_in, monkeypatch):
    response = signed_in.post(reverse("design_import"), {})
    assert response.status_code == 422
    assert "Choose stitch files" in response.content.decode()
    monkeypatch.setattr("planning.library.forms.MOST_LIBRARY_FILES", 1)
    response = send(signed_in, ("a.vp3", b"1"), ("b.vp3", b"2"))
    assert response.status_code == 422
    assert "put them into a ZIP archive" in response.content.decode().replace("\n", " ")
    monkeypatch.setattr(uploads, "MOST_BYTES", 2_000)
    response = send(signed_in, ("large.dst", bytes(50_000)))
    assert response.status_code == 422
    assert "Send fewer at once" in response.content.decode()
    assert not ImportRun.objects.exists()


@pytest.mark.django_db
def test_a_formula_in_a_name_stays_text_in_the_list_of_refusals(signed_in):
    send(signed_in, ("=HYPERLINK(1).pes", b"x"))
    run = ImportRun.objects.get()
    assert b"\"'=HYPERLINK" in signed_in.get(reverse("import_refused", args=[run.pk])).content


@pytest.mark.django_db
def test_a_run_that_waits_is_shown_so_and_can_be_started_here(signed_in, person):
    run = receive_files([SimpleUploadedFile("one.vp3", stitch_bytes(1))], at=timezone.now(), by=person)
    address = reverse("import_run", args=[run.pk])
    page = page_text(signed_in.get(address))
    assert "1 file waits for its turn" in page
    assert 'hx-trigger="every 1s"' in page
    assert "manage.py work" not in page
    ImportRun.objects.update(asked_at=timezone.now() - timedelta(seconds=30))
    assert "manage.py work" in page_text(signed_in.get(address))
    signed_in.post(reverse("import_here", args=[run.pk]))
    page = page_text(signed_in.get(address))
    assert "1 design came in" in page
    assert "hx-trigger" not in page


@pytest.mark.django_db
def test_two_never_work_at_one_run_and_a_killed_one_is_taken_up_where_it_was(person):
    files = [SimpleUploadedFile(f"{number}.vp3", stitch_bytes(number)) for number in range(3)]
    run = receive_files(files, at=NOW, by=person)
    ImportRun.objects.update(started_at=NOW, alive_at=NOW)
    ImportedFile.objects.create(run=run, path="00001/0.vp3", size_bytes=1, outcome="kept")

    def carry(at):
        return carry_out(run.pk, trim_at_jumps=3, clock=lambda: at)

    assert not carry(NOW + timedelta(minutes=1))
    assert carry(NOW + timedelta(minutes=6))
    assert not carry(NOW + timedelta(minutes=20))
    run.refresh_from_db()
    assert (run.found, run.kept) == (3, 3)
    assert sorted(Design.objects.values_list("name", flat=True)) == ["1", "2"]


@pytest.mark.django_db
def test_a_run_that_fails_says_so_instead_of_waiting_for_ever(signed_in, person, monkeypatch):
    run = receive_files([SimpleUploadedFile("one.vp3", stitch_bytes(1))], at=timezone.now(), by=person)

    def fail(*_, **__):
        raise RuntimeError("no space left")

    monkeypatch.setattr(importing, "digest_design_files", fail)
    with pytest.raises(RuntimeError):
        carry_out(run.pk, trim_at_jumps=3, clock=timezone.now)
    page = signed_in.get(reverse("import_run", args=[run.pk])).content.decode()
    assert "The program itself failed" in page


@pytest.mark.django_db(transaction=True)
def test_a_worker_takes_what_waits(signed_in, settings):
    settings.WORK_IN, settings.TASKS = "worker", {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    response = send(signed_in, ("one.vp3", stitch_bytes(1)))
    assert "for its turn" in page_text(signed_in.get(response.url))
    assert not Design.objects.exists()
    call_command("work", until_empty=True)
    assert "1 design came in" in page_text(signed_in.get(response.url))
    assert Design.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_an_import_that_was_stopped_before_it_began_keeps_nothing(signed_in, settings):
    settings.WORK_IN, settings.TASKS = "worker", {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}
    response = send(signed_in, ("one.vp3", stitch_bytes(1)))
    assert len(list(store().under("incoming/"))) == 2
    LongWork.objects.update(stop_asked_at=timezone.now())
    call_command("work", until_empty=True)
    assert "It was stopped" in page_text(signed_in.get(response.url))
    assert not Design.objects.exists()
    assert not list(store().under("incoming/"))


def test_a_visitor_is_asked_to_sign_in(client, db):
    for address in (
        reverse("design_import"),
        reverse("import_run", args=[1]),
        reverse("import_refused", args=[1]),
    ):
        assert client.get(address).url.startswith(reverse("sign_in"))
