"""Everything killed at random moments that is not one act: backup, restore, update, move, an import of stitch files.

Run as ``python -m tests.workshop.storms.journeys NAME KILLS SEED`` on a database that nobody else uses: a new one, for
*update* one of an earlier commit. *move* wants the address of an empty database in ``MOVE_TO``.
"""

import io
import json
import os
import random
import shutil
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path

import django

django.setup()

import pyembroidery  # noqa: E402  the rest needs Django to be set up
from django.conf import settings  # noqa: E402
from django.contrib.auth.models import Permission  # noqa: E402
from django.contrib.contenttypes.models import ContentType  # noqa: E402
from django.core.files.uploadedfile import SimpleUploadedFile  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connection, connections  # noqa: E402

from inventory import ledger  # noqa: E402
from inventory.kept_files import UNFINISHED, state_of  # noqa: E402
from inventory.models import Entry, Spool  # noqa: E402
from planning.library.designs import kept_file  # noqa: E402
from planning.library.importing import GIVEN_UP_AFTER, carry_out, receive_files  # noqa: E402
from planning.models import Design  # noqa: E402
from tests.own_database import on_a_server  # noqa: E402
from tests.planning.acting.scene import NOW  # noqa: E402
from tests.stored import place_of  # noqa: E402
from tests.workshop.storms import databases  # noqa: E402
from tests.workshop.storms.acts import open_the_workshop  # noqa: E402
from tests.workshop.storms.acts_storm import databases_alike, differing_columns, examined  # noqa: E402
from tests.workshop.storms.deaths import Pace, short_life, whole_life  # noqa: E402
from workshop.backup.archive import manifest_in, unpack  # noqa: E402
from workshop.backup.making import back_up, back_up_into, empty_database, kept_backups  # noqa: E402
from workshop.backup.moving import move_database  # noqa: E402
from workshop.backup.restoring import restore  # noqa: E402
from workshop.backup.routing import migrate_database  # noqa: E402
from workshop.backup.rows import all_models, another_database, differences  # noqa: E402
from workshop.doctor.stored import stored_findings  # noqa: E402

BEFORE = "before"
FINISHED_EVERY = 5  # so many deaths of one journey, then it is let come to its end
FROM_NOTHING = 10  # so many backups make even the empty database that they fill
NEW_EVERY = 50  # so many deaths of moves, then one begins with a database that has no tables yet
IMPORTED = 10
_seconds = count(1)


@dataclass
class Travelled:
    """What came of the deaths: how many times the journey was found at its end, or finished after deaths."""

    kills: int = 0
    not_begun: int = 0
    under_way: int = 0
    arrived: int = 0
    finished_after_deaths: int = 0
    act_ms: int = 0
    problems: list[str] = field(default_factory=list)

    def timed(self, pace: Pace) -> None:
        self.act_ms = round(1000 * (pace.before_s + pace.after_s))


def a_moment() -> datetime:
    """Return a moment that no other backup has in its name."""
    return NOW + timedelta(seconds=next(_seconds))


def killed_backups(kills: int, rng: random.Random) -> Travelled:
    """Kill backups: every file under the name of one opens, and the workshop is as it was."""
    open_the_workshop()
    folder, there, pace, seen = Path(settings.BACKUP_FOLDER), databases.rows(), Pace(), Travelled()
    for _ in range(2):
        at = a_moment()
        pace.learn(whole_life(lambda at=at: back_up_into(folder, at=at, keep=3)))  # type: ignore[misc]
    seen.timed(pace)
    while seen.kills < kills:
        if seen.kills == FROM_NOTHING:
            empty_database()  # most of the time of a first backup on a server; then the deaths fall into the rest
        at, before = a_moment(), len(kept_backups(folder))
        life = short_life(
            lambda at=at: back_up_into(folder, at=at, keep=3),  # type: ignore[misc]
            pace=pace,
            rng=rng,
        )
        databases.settle()
        pace.learn(life)
        seen.kills += 1
        newest = kept_backups(folder)[0]
        arrived = newest.path.name == f"enough-thread-{at:%Y%m%d-%H%M%S}.zip"
        seen.arrived += arrived
        seen.not_begun += not arrived
        if life.done is not None and not arrived:
            seen.problems.append("a backup was made and is lost")
        for each in kept_backups(folder):
            manifest_in(each.path)
        if not before - 2 <= len(kept_backups(folder)) <= 4:
            seen.problems.append("backups are lost")
        if seen.kills % 20 == 0:
            look = folder / "look"
            look.mkdir()
            unpack(newest.path, into=look)
            shutil.rmtree(look)
        if databases.rows() != there:
            seen.problems.append("a backup changed the workshop")
        _clear_what_was_left(seen, folder)
    return seen


def killed_restores(kills: int, rng: random.Random) -> Travelled:
    """Kill restores: the workshop is as it was or as the backup has it, and can be restored again."""
    open_the_workshop()
    folder, pace, seen = Path(settings.DATA_FOLDER), Pace(), Travelled()
    states: dict[str, databases.Rows] = {}
    for name in ("one", "two"):
        back_up(folder / f"{name}.zip", at=NOW)
        states[name] = databases.rows()
        for number in range(20):
            ledger.use(Spool.objects.earliest("pk"), quantity=1_000, key=f"{name}-{number}", at=NOW, by=None)
    here = "two"
    restore(folder / "two.zip", at=a_moment())
    connection.close()
    if not databases_alike(databases.rows(), states["two"], {}):
        seen.problems.append("a restored workshop is not as it was")
    while seen.kills < kills:
        to = "one" if here == "two" else "two"
        place_of(kept_file(Design.objects.earliest("pk"))).unlink(missing_ok=True)
        at = a_moment()
        if not pace.seen:
            life = whole_life(lambda to=to, at=at: restore(folder / f"{to}.zip", at=at))  # type: ignore[misc]
            pace.learn(life)
            seen.timed(pace)
        else:
            life = short_life(
                lambda to=to, at=at: restore(folder / f"{to}.zip", at=at),  # type: ignore[misc]
                pace=pace,
                rng=rng,
            )
            seen.kills += 1
            pace.learn(life)
        databases.settle()
        there = databases.rows()
        now = next((name for name, rows in states.items() if databases_alike(there, rows, {})), "")
        if not now:
            seen.problems.append("it is half restored")
            break
        seen.arrived += now == to
        seen.not_begun += now == here
        if life.done is not None and now != to:
            seen.problems.append("it was restored and is lost")
        if now == to and state_of(kept_file(Design.objects.earliest("pk"))) != "good":
            seen.problems.append("the database was restored before its files")
        here = now
        seen.problems += databases.quick_look()
        for each in kept_backups(Path(settings.BACKUP_FOLDER)):
            manifest_in(each.path)
            each.path.unlink()
        if seen.kills % 25 == 0:
            restore(folder / f"{here}.zip", at=a_moment())
            seen.problems += examined()
            seen.finished_after_deaths += 1
        _clear_what_was_left(seen, folder, Path(settings.BACKUP_FOLDER))
    return seen


def _clear_what_was_left(seen: Travelled, *folders: Path) -> None:
    """Delete unfinished folders, as the doctor does after some hours; others may not read what is in them."""
    for folder in folders:
        for left in folder.glob(f"{UNFINISHED}*"):
            if left.stat().st_mode & 0o077:
                seen.problems.append(f"others may read {left.name}")
            hours_ago = time.time() - 24 * 3600
            os.utime(left, (hours_ago, hours_ago))
            if str(left) not in " ".join(each.what for each in stored_findings()):
                seen.problems.append(f"the doctor does not see {left.name}")
            shutil.rmtree(left)


def killed_updates(kills: int, rng: random.Random) -> Travelled:
    """Kill updates, again and again the same one: it goes on, and ends with the rows of one that nobody killed."""

    def update() -> None:
        call_command("migrate", verbosity=0, interactive=False, skip_checks=True)

    pace, seen = Pace(), Travelled()
    databases.keep(BEFORE)
    ends = []
    for _ in range(2):
        pace.learn(whole_life(update))
        databases.settle()
        ends.append(_all_but_numbers_of_kinds())
        kinds = _kinds_by_name()
        seen.problems += examined()
        databases.put_back(BEFORE)
    seen.timed(pace)
    passing = differing_columns(*ends)
    entries = len(ends[0]["inventory_entry"])
    whole, deaths = pace.before_s + pace.after_s, 0
    while seen.kills < kills:
        short = Pace(before_s=rng.uniform(0, whole * 0.6), seen=1)
        life = short_life(update, pace=short, rng=rng)
        databases.settle()
        seen.kills, deaths = seen.kills + 1, deaths + 1
        seen.problems += databases.quick_look()
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM inventory_entry")
            if cursor.fetchone()[0] != entries:
                seen.problems.append("entries are lost on the way")
        if life.done is None and deaths < FINISHED_EVERY and seen.kills < kills:
            seen.under_way += 1
            continue
        if life.done is None:
            whole_life(update)
            seen.finished_after_deaths += 1
        seen.arrived += life.done is not None
        databases.settle()
        there = _all_but_numbers_of_kinds()
        if not databases_alike(there, ends[0], passing) or _kinds_by_name() != kinds:
            others = [table for table in there if there[table] != ends[0][table]]
            seen.problems.append(f"an update that was killed ends with other rows: {others}")
        seen.problems += examined()
        for copy in Path(settings.BACKUP_FOLDER).glob("*"):
            copy.unlink()
        databases.put_back(BEFORE)
        deaths = 0
    databases.forget(BEFORE)
    return seen


def _all_but_numbers_of_kinds() -> databases.Rows:
    """Return all rows but those of kinds of records and what may be done with them, which a server numbers anew.

    They are entered after an update, in no order; each that is refused or dies leaves a gap in the numbers.
    """
    return {
        table: rows
        for table, rows in databases.rows().items()
        if table not in ("django_content_type", "auth_permission")
    }


def _kinds_by_name() -> list[tuple[str, ...]]:
    named = ("content_type__app_label", "content_type__model", "codename", "name")
    return [
        *ContentType.objects.order_by("app_label", "model").values_list("app_label", "model"),
        *Permission.objects.order_by(*named).values_list(*named),
    ]


def killed_moves(kills: int, rng: random.Random) -> Travelled:
    """Kill moves to another database: there is all of it or nothing, here nothing changes, and it can be done again."""
    open_the_workshop()
    url, there, pace, seen = os.environ["MOVE_TO"], databases.rows(), Pace(), Travelled()
    entries, deaths = Entry.objects.count(), 0
    with another_database(url, alias="moved") as alias:
        migrate_database(alias)  # most of the time that a move takes; then the deaths fall into the rest
    for _ in range(2):
        pace.learn(whole_life(lambda: move_database(url)))
        _forget_rows(url)
    seen.timed(pace)
    while seen.kills < kills:
        life = short_life(lambda: move_database(url), pace=pace, rng=rng, writes=False)
        databases.settle()
        seen.kills, deaths = seen.kills + 1, deaths + 1
        pace.learn(life)
        if databases.rows() != there:
            seen.problems.append("a move changed what was moved")
        arrived = _entries_in(url)
        seen.arrived += arrived == entries
        seen.not_begun += arrived == 0
        if arrived not in (0, entries) or (life.done is not None and arrived != entries):
            seen.problems.append(f"{arrived} of {entries} entries were moved")
        if arrived == 0 and deaths < FINISHED_EVERY and seen.kills < kills:
            continue
        if arrived == 0:
            whole_life(lambda: move_database(url))
            seen.finished_after_deaths += 1
        with another_database(url, alias="moved") as alias:
            seen.problems += [f"unequal: {each}" for each in differences("default", alias)]
        deaths = 0
        if seen.kills % NEW_EVERY < FINISHED_EVERY:
            _empty(url)
        else:
            _forget_rows(url)
    return seen


def _entries_in(url: str) -> int:
    with another_database(url, alias="moved") as alias:
        if "inventory_entry" not in connections[alias].introspection.table_names():
            return 0
        return Entry.objects.using(alias).count()


def _forget_rows(url: str) -> None:
    with another_database(url, alias="moved") as alias, connections[alias].cursor() as cursor:
        guards = []
        if connections[alias].vendor == "sqlite":
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            guards = cursor.fetchall()
        for name, _ in guards:
            cursor.execute(f"DROP TRIGGER {name}")
        if connections[alias].vendor == "sqlite":
            cursor.execute("PRAGMA foreign_keys = OFF")
            for model in all_models():
                cursor.execute(f"DELETE FROM {model._meta.db_table}")
        else:
            cursor.execute(f"TRUNCATE {', '.join(model._meta.db_table for model in all_models())} CASCADE")
        for _, statement in guards:
            cursor.execute(statement)


def _empty(url: str) -> None:
    if url.startswith("sqlite"):
        path = Path(url.removeprefix("sqlite:///"))
        for each in path.parent.glob(f"{path.name}*"):
            each.unlink()
        return
    name = url.rpartition("/")[2]
    on_a_server(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)', f'CREATE DATABASE "{name}"', beside=url)


def killed_imports(kills: int, rng: random.Random) -> Travelled:
    """Kill an import of stitch files: what is kept has its file, and whoever takes it up brings in the rest."""
    pace, seen = Pace(), Travelled()
    databases.keep(BEFORE)
    while seen.kills < kills or not pace.seen:
        run = receive_files(
            [SimpleUploadedFile(f"drawing {number}.vp3", stitch_file(number)) for number in range(IMPORTED)],
            at=NOW,
        )
        deaths = 0
        while True:
            now = NOW + 2 * GIVEN_UP_AFTER * (deaths + 1)  # so long that it counts as given up
            act = _carried_out(run.pk, now)
            last = not pace.seen or deaths >= FINISHED_EVERY or seen.kills >= kills
            life = whole_life(act) if last else short_life(act, pace=pace, rng=rng)
            databases.settle()
            pace.learn(life)
            seen.problems += [
                f"{design.name} has no file"
                for design in Design.objects.all()
                if state_of(kept_file(design)) != "good"
            ]
            if life.done is not None:
                break
            seen.kills, deaths = seen.kills + 1, deaths + 1
            kept = Design.objects.count()
            seen.under_way += 0 < kept < IMPORTED
            seen.not_begun += kept == 0
        run.refresh_from_db()
        seen.finished_after_deaths += deaths > 0
        seen.arrived += 1
        if (run.kept, run.known, Design.objects.count()) != (IMPORTED, 0, IMPORTED) or run.ended_at is None:
            seen.problems.append(f"{run.kept} kept, {run.known} known of {IMPORTED}")
        if run.files.count() != IMPORTED:
            seen.problems.append("a file is told of twice, or not at all")
        seen.timed(pace)
        databases.put_back(BEFORE)
        shutil.rmtree(settings.MEDIA_ROOT)
    databases.forget(BEFORE)
    return seen


def _carried_out(run_id: int, now: datetime) -> Callable[[], object]:
    return lambda: carry_out(run_id, trim_at_jumps=3, clock=lambda: now, processes=1)


def stitch_file(number: int) -> bytes:
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": "#b01c2e", "name": "red"})
    for step in range(60 + 5 * number):
        pattern.stitch_abs(20 * (step % 12), 25 * (step // 12))
    pattern.end()
    stream = io.BytesIO()
    stream.close = lambda: None  # type: ignore[method-assign]  # the library closes what it has written
    pyembroidery.Vp3Writer.write(pattern, stream)
    return stream.getvalue()


JOURNEYS: dict[str, Callable[[int, random.Random], Travelled]] = {
    "backup": killed_backups,
    "restore": killed_restores,
    "update": killed_updates,
    "move": killed_moves,
    "import": killed_imports,
}


def main(words: Sequence[str]) -> None:
    name, kills, seed = words
    seen = JOURNEYS[name](int(kills), random.Random(int(seed)))
    print(json.dumps({"journey": name, **asdict(seen)}))


if __name__ == "__main__":
    main(sys.argv[1:])
