"""Bring the shelf's tables of every earlier state of the house to this one.

Before this migration, landed ones were edited and renumbered; databases made in between differ from what their
recorded migrations say. Nothing happens where all is as it should be. From here on a landed migration never changes.
"""

from importlib import import_module

from django.db import migrations

from inventory.schema.tables import settle, tables_of, widen

guards = import_module("inventory.migrations.0002_entries_are_for_good")
THERE = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'inventory_entry'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE tgrelid = 'inventory_entry'::regclass AND NOT tgisinternal",
}


def mend(apps, schema_editor):
    tables = tables_of(apps, "inventory")
    widen(schema_editor, tables)
    settle(schema_editor, tables)
    keep_entries_for_good(schema_editor)


def keep_entries_for_good(schema_editor):
    """A table that is made anew loses its triggers without a word."""
    with schema_editor.connection.cursor() as cursor:
        cursor.execute(THERE[schema_editor.connection.vendor])
        there = {name for (name,) in cursor.fetchall()}
    if schema_editor.connection.vendor == "postgresql":
        if "inventory_entry_for_good" not in there:
            schema_editor.execute(guards.POSTGRESQL.replace("CREATE FUNCTION", "CREATE OR REPLACE FUNCTION"))
        return
    for name, statement in guards.SQLITE.items():
        if name not in there:
            schema_editor.execute(statement)


class Migration(migrations.Migration):
    dependencies = [("inventory", "0007_orders_and_price_steps")]
    # Whatever comes after 0007 rests on tables as 0007 says they are.
    run_before = [("inventory", "0008_tex_as_typed")]

    operations = [migrations.RunPython(mend, migrations.RunPython.noop)]
