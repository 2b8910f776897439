"""Bring the tables of designs, jobs and runs of every earlier state of the house to this one.

Before this migration, landed ones were edited and renumbered (that of the run three times); databases made in
between differ from what their recorded migrations say. What an old column meant is carried over; nothing happens
where all is as it should be. From here on a landed migration never changes.
"""

import json

from django.db import migrations

from inventory.schema.tables import columns_of, settle, tables_of, widen


def mend(apps, schema_editor):
    tables = tables_of(apps, "planning")
    added = widen(schema_editor, tables)
    carry_over(schema_editor, {model._meta.db_table: model for model in tables}, added)
    settle(schema_editor, tables)


def carry_over(schema_editor, models, added):
    connection = schema_editor.connection

    def gained(table, new, old):
        return new in added.get(table, ()) and old in columns_of(connection, models[table])

    if gained("planning_block", "file_hex", "hex"):
        # Until then nobody could choose a colour by hand: what a block asks for is what its file asks for.
        schema_editor.execute(
            "UPDATE planning_block SET file_hex = hex, file_name = name, file_code = code", params=None
        )
    if gained("planning_fabric", "stretch", "stretches"):
        schema_editor.execute("UPDATE planning_fabric SET stretch = 'some' WHERE stretches", params=None)
    if gained("planning_observation", "said", "set_aside"):
        # Only what was left out needs a word; what counted is judged by the rule again.
        false = "0" if connection.vendor == "sqlite" else "false"
        schema_editor.execute(f"UPDATE planning_observation SET said = {false} WHERE set_aside", params=None)
    name_the_bobbins(schema_editor)


def name_the_bobbins(schema_editor):
    """Bobbin changes were pairs of position and block number; now the block is as it is called, and a label follows."""
    with schema_editor.connection.cursor() as cursor:
        cursor.execute("SELECT id, bobbin_changes FROM planning_promise")
        rows = cursor.fetchall()
    for pk, kept in rows:
        changes = json.loads(kept) if isinstance(kept, str) else kept
        named = [_named(*change) for change in changes]
        if named != changes:
            schema_editor.execute(
                "UPDATE planning_promise SET bobbin_changes = %s WHERE id = %s", [json.dumps(named), pk]
            )


def _named(position, block, label=""):
    return [position, str(block), label or ""]


class Migration(migrations.Migration):
    dependencies = [("planning", "0008_buying_rules"), ("inventory", "0008_every_earlier_shelf")]
    # Whatever comes after 0008 rests on tables as 0008 says they are.
    run_before = [("planning", "0009_references_instead_of_words")]

    operations = [migrations.RunPython(mend, migrations.RunPython.noop)]
