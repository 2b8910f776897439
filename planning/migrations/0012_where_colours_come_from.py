from django.db import migrations, models
from django.db.models import F

# Formats that give numbers of a palette; both are a file's colours.
OF_A_PALETTE = ("PEC", "JEF")


def say_where_they_come_from(apps, schema_editor):
    """Say of what is kept already where it comes from; a form saved as it was left changed no colour."""
    database = schema_editor.connection.alias
    blocks = apps.get_model("planning", "Block").objects.using(database)
    coloured = blocks.exclude(file_hex="")
    coloured.update(file_source="rgb")
    coloured.filter(design__format__in=OF_A_PALETTE).update(file_source="palette")
    blocks.exclude(hex="").filter(chosen_by_hand=False).update(colour_source=F("file_source"))
    by_hand = blocks.exclude(hex="").filter(chosen_by_hand=True)
    by_hand.filter(shade__isnull=False).update(colour_source="shade")
    by_hand.filter(shade__isnull=True, lab_l__isnull=False).update(colour_source="sample")
    typed = by_hand.filter(shade__isnull=True, lab_l__isnull=True)
    typed.exclude(hex=F("file_hex")).update(colour_source="person")
    typed.filter(hex=F("file_hex")).update(colour_source=F("file_source"))


class Migration(migrations.Migration):

    dependencies = [
        ('planning', '0011_what_was_learned_tells_more'),
    ]

    operations = [
        migrations.AddField(
            model_name='block',
            name='colour_source',
            field=models.CharField(blank=True, default='', max_length=7),
        ),
        migrations.AddField(
            model_name='block',
            name='file_source',
            field=models.CharField(blank=True, default='', max_length=7),
        ),
        migrations.RunPython(say_where_they_come_from, migrations.RunPython.noop, elidable=True),
    ]
