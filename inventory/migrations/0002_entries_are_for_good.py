"""Triggers under which no entry of the ledger can be changed or deleted."""

from django.db import migrations

SQLITE = {
    "inventory_entry_no_update": """
        CREATE TRIGGER inventory_entry_no_update BEFORE UPDATE ON inventory_entry
        BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never changed'); END
    """,
    "inventory_entry_no_delete": """
        CREATE TRIGGER inventory_entry_no_delete BEFORE DELETE ON inventory_entry
        BEGIN SELECT RAISE(ABORT, 'an entry of the ledger is never deleted'); END
    """,
}

POSTGRESQL = """
    CREATE FUNCTION inventory_entry_is_for_good() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION 'an entry of the ledger is never changed or deleted' USING ERRCODE = 'integrity_constraint_violation';
    END $$;
    CREATE TRIGGER inventory_entry_for_good BEFORE UPDATE OR DELETE ON inventory_entry
        FOR EACH ROW EXECUTE FUNCTION inventory_entry_is_for_good();
"""


def guard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(POSTGRESQL)
    else:
        for statement in SQLITE.values():
            schema_editor.execute(statement)


def unguard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute("DROP TRIGGER inventory_entry_for_good ON inventory_entry")
        schema_editor.execute("DROP FUNCTION inventory_entry_is_for_good()")
    else:
        for name in SQLITE:
            schema_editor.execute(f"DROP TRIGGER {name}")


class Migration(migrations.Migration):
    dependencies = [("inventory", "0001_initial")]

    operations = [migrations.RunPython(guard, unguard)]
