from django.db import migrations, models


def let_them_mix_as_before(apps, schema_editor):
    """Where no fibre was named, one piece might mix them until now: no answer changes unasked.

    A workshop that has never saved its rules went by the stated ones; they are saved for it if it has anything.
    """
    database = schema_editor.connection.alias
    rules = apps.get_model("planning", "Rules").objects.using(database)
    rules.filter(fibre="").update(may_mix_fibres=True)
    kept = (("inventory", "StockItem"), ("planning", "Design"), ("planning", "Job"))
    if not rules.exists() and any(apps.get_model(*each).objects.using(database).exists() for each in kept):
        rules.create(pk=1, may_mix_fibres=True)


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0001_initial'),
        ('planning', '0018_quotes_and_wearers'),
    ]

    operations = [
        migrations.AddField(
            model_name='rules',
            name='may_mix_fibres',
            field=models.BooleanField(default=False, help_text='Where no fibre is named: if not, one piece is stitched in the fibre that serves it best, and metallic thread stands for nothing else. What a person pins or has said once may cross all the same.', verbose_name='one piece may mix fibres'),
        ),
        migrations.RunPython(let_them_mix_as_before, migrations.RunPython.noop, elidable=True),
    ]
