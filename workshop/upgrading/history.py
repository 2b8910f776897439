"""What a database says was done to it, put right where the names have changed since.

Before migrations became history they were renumbered when lines of work met, and some were edited where they
stood. A database made then records names that no file has, or lacks columns that its record promises; Django would
stop at "table already exists", or find nothing to do. Such a record is rewritten to say that all of the old
migrations are done, and the first migration after them makes that true (0008 of the shelf, 0009 of the plan).
"""

from importlib import import_module
from typing import Any

from django.apps import apps as site
from django.db import transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.utils.translation import gettext as _

from inventory.schema.tables import columns_of, tables_of, wanted_columns

Name = tuple[str, str]

# All that landed before the mending migrations, and where those stand.
BEFORE_MENDING: dict[str, tuple[str, ...]] = {
    "inventory": (
        "0001_initial",
        "0002_entries_are_for_good",
        "0003_needles_and_stocktakes",
        "0004_what_the_entry_found_open",
        "0005_needle_and_speed",
        "0006_how_well_a_colour_is_known",
        "0007_orders_and_price_steps",
    ),
    "planning": (
        "0001_initial",
        "0002_design_library",
        "0003_jobs",
        "0004_the_run",
        "0005_working_hours",
        "0006_recipes_and_cuts",
        "0007_shades_that_jobs_hold",
        "0008_buying_rules",
    ),
}
MENDING: frozenset[Name] = frozenset(
    {("inventory", "0008_every_earlier_shelf"), ("planning", "0009_every_earlier_plan")}
)
# Names under which some of them were recorded while they were being worked on side by side.
FORMER: frozenset[Name] = frozenset(
    {
        ("inventory", "0005_how_well_a_colour_is_known"),
        ("inventory", "0005_orders_and_price_steps"),
        ("planning", "0004_buying_rules"),
        ("planning", "0004_recipes_and_cuts"),
        ("planning", "0004_shades_that_jobs_hold"),
        ("planning", "0004_working_hours"),
        ("planning", "0005_needle_and_speed"),
    }
)

# Names that some had on a line of work before they landed behind others, word for word the same.
LANDED_AS: dict[Name, Name] = {
    ("planning", "0009_warnings_in_two_grades"): ("planning", "0010_warnings_in_two_grades"),
    ("planning", "0011_where_colours_come_from"): ("planning", "0012_where_colours_come_from"),
    ("planning", "0011_runs_told_in_full"): ("planning", "0015_runs_told_in_full"),
    ("planning", "0012_runs_told_in_full"): ("planning", "0015_runs_told_in_full"),
    ("planning", "0025_films_and_adhesive_in_recipes"): (
        "planning",
        "0025_films_adhesive_and_second_needles",
    ),
    ("inventory", "0021_acts_on_many_and_shades"): ("inventory", "0014_acts_on_many_and_shades"),
}
# Of those, what has columns by now that it had not on its line; they are added before it counts as done.
GREW: frozenset[Name] = frozenset({("planning", "0025_films_and_adhesive_in_recipes")})
# What was done on a line of work before others that it landed behind, under the name that it still has.
BEFORE_THEIR_TURN: tuple[Name, ...] = (
    ("inventory", "0017_at_which_station"),
    ("inventory", "0020_how_lists_are_read"),
    ("planning", "0031_at_which_station"),
)


def put_history_right(connection: Any) -> list[str]:
    """Rewrite the record of migrations where it does not fit the tables, and say what was found.

    Nothing is done to a new database, to one whose record fits, or to one that was mended before.
    """
    recorder = MigrationRecorder(connection)
    if not recorder.has_table():
        return []
    return (
        _put_early_history_right(connection, recorder)
        + _take_landed_names(connection, recorder)
        + _catch_up(connection, recorder)
    )


def _take_landed_names(connection: Any, recorder: MigrationRecorder) -> list[str]:
    """Record what was done under another name as what it landed as, once all that came to stand before it is done.

    They change tables of their own, so that the order in which they were done leaves no trace.
    """
    found = []
    for name, landed in LANDED_AS.items():
        done = set(recorder.applied_migrations())
        if name not in done or landed in done:
            continue
        executor = MigrationExecutor(connection)
        before = {parent.key for parent in executor.loader.graph.node_map[landed].parents}
        executor.migrate(
            sorted(before - done)
        )  # one that is done, as a target, would take back what came after it
        if name in GREW:
            reached = executor.loader.project_state([landed]).apps
            with connection.schema_editor() as schema_editor:
                _mend_of(landed[0]).mend(reached, schema_editor)
        with transaction.atomic(using=connection.alias):
            recorder.record_unapplied(*name)
            recorder.record_applied(*landed)
        found.append(
            _("{app} {name} landed as {landed}.").format(app=name[0], name=name[1], landed=landed[1])
        )
    return found


def _catch_up(connection: Any, recorder: MigrationRecorder) -> list[str]:
    """Do what has come to stand before something that is done already; its record stays, for it is done."""
    found = []
    for name in BEFORE_THEIR_TURN:
        done = set(recorder.applied_migrations())
        if name not in done:
            continue
        executor = MigrationExecutor(connection)
        before = {parent.key for parent in executor.loader.graph.node_map[name].parents}
        if before - done:
            executor.migrate(sorted(before - done))
            found.append(
                _("{app} {name} was done before what stands before it now.").format(app=name[0], name=name[1])
            )
    return found


def _mend_of(app: str) -> Any:
    return import_module(next(f"{app}.migrations.{name}" for label, name in MENDING if label == app))


def _put_early_history_right(connection: Any, recorder: MigrationRecorder) -> list[str]:
    ours = {name for name in recorder.applied_migrations() if name[0] in BEFORE_MENDING}
    if not ours or ours & MENDING:
        return []
    later = ours - FORMER - {(app, name) for app, names in BEFORE_MENDING.items() for name in names}
    found = history_problems(connection, ours)
    if later:
        _mend_beneath(connection, later)
    elif not found:
        return []
    with transaction.atomic(using=connection.alias):
        for app, name in sorted(ours & FORMER):
            recorder.record_unapplied(app, name)
        for app, names in BEFORE_MENDING.items():
            for name in names:
                if (app, name) not in ours:
                    recorder.record_applied(app, name)
        for app, name in sorted(MENDING) if later else ():
            recorder.record_applied(app, name)
    return found


def _mend_beneath(connection: Any, later: set[Name]) -> None:
    """Mend a database that has gone past the mending migrations without them: they came between later.

    The tables are brought to what the last of its migrations says, instead of to what stood before them.
    """
    loader = MigrationLoader(connection)
    before = {(app, name) for app, names in BEFORE_MENDING.items() for name in names}
    reached = loader.project_state(sorted((before | MENDING | later) & set(loader.graph.nodes))).apps
    for app, _name in sorted(MENDING):
        with connection.schema_editor() as schema_editor:
            _mend_of(app).mend(reached, schema_editor)


def history_problems(connection: Any, ours: set[Name]) -> list[str]:
    """Return in words where the recorded migrations and the tables do not fit each other."""
    former = [
        _("{app} {name} has another name now.").format(app=app, name=name)
        for app, name in sorted(ours & FORMER)
    ]
    if former:
        return former
    loader = MigrationLoader(connection)
    done = ours & set(loader.graph.nodes)
    early = [
        _("{app} {name} was done before {other_app} {other_name}.").format(
            app=app, name=name, other_app=parent[0], other_name=parent[1]
        )
        for app, name in sorted(done)
        for parent in loader.graph.node_map[app, name].parents
        if parent[0] in BEFORE_MENDING and parent.key not in done | MENDING
    ]
    return early or _misfits(connection, loader, done)


def _misfits(connection: Any, loader: MigrationLoader, done: set[Name]) -> list[str]:
    recorded = loader.project_state(sorted(done)).apps
    found = []
    for app_label in sorted(
        {app for app, _name in done} & {config.label for config in site.get_app_configs()}
    ):
        for model in tables_of(recorded, app_label):
            wanted = wanted_columns(model)
            there = columns_of(connection, model)
            found += [
                _("{table} has no {column}.").format(table=model._meta.db_table, column=column)
                for column in sorted(wanted - there)
            ]
            found += [
                _("{table} still has {column}.").format(table=model._meta.db_table, column=column)
                for column in sorted(there - wanted)
            ]
    return found
