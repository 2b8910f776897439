import django.db.models.deletion
from django.db import migrations, models

PART = 1000


def note_what_files_landed(apps, schema_editor):
    """Note for every entry that an import made of which file it is; until now only its key told."""
    entry = apps.get_model("inventory", "Entry")
    landed = apps.get_model("inventory", "LandedRow")
    made = entry.objects.filter(key__startswith="import-").order_by("id").values_list("id", "key")
    rows = (
        landed(entry_id=pk, sha256=parts[1])
        for pk, key in made.iterator(chunk_size=PART)
        # import-<32 figures of the file's SHA-256>-<new or row>-…
        if len(parts := key.split("-")) > 3 and len(parts[1]) == 32 and parts[2] in ("new", "row")
    )
    landed.objects.bulk_create(rows, batch_size=PART)


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0008_tex_as_typed"),
    ]

    operations = [
        migrations.CreateModel(
            name="LandedRow",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sha256", models.CharField(db_index=True, max_length=32)),
                (
                    "entry",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="landed_row",
                        to="inventory.entry",
                    ),
                ),
            ],
        ),
        migrations.RunPython(note_what_files_landed, migrations.RunPython.noop),
    ]
