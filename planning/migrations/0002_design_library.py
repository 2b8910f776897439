import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


def remember_the_files_own_colours(apps, schema_editor):
    """Until now nobody could choose a colour by hand: what a block asks for is what its file asks for."""
    apps.get_model("planning", "Block").objects.update(
        file_hex=models.F("hex"), file_name=models.F("name"), file_code=models.F("code")
    )


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0003_needles_and_stocktakes'),
        ('planning', '0001_initial'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='ImportedFile',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('path', models.CharField(db_index=True, max_length=1000)),
                ('size_bytes', models.PositiveBigIntegerField()),
                ('modified_ns', models.BigIntegerField(blank=True, null=True)),
                ('outcome', models.CharField(choices=[('kept', 'kept'), ('known', 'known already'), ('refused', 'refused')], max_length=7)),
                ('reason', models.CharField(blank=True, max_length=500)),
            ],
            options={
                'ordering': ['run', 'id'],
            },
        ),
        migrations.CreateModel(
            name='ImportRun',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('source', models.CharField(max_length=500)),
                ('asked_at', models.DateTimeField()),
                ('started_at', models.DateTimeField(blank=True, null=True)),
                ('alive_at', models.DateTimeField(blank=True, null=True)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
                ('found', models.PositiveIntegerField(default=0)),
                ('kept', models.PositiveIntegerField(default=0)),
                ('known', models.PositiveIntegerField(default=0)),
                ('refused', models.PositiveIntegerField(default=0)),
                ('passed_over', models.PositiveIntegerField(default=0)),
                ('failure', models.CharField(blank=True, max_length=500)),
            ],
            options={
                'ordering': ['-asked_at', '-id'],
            },
        ),
        migrations.CreateModel(
            name='StitchOutNote',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('stitched_on', models.DateField()),
                ('fabric', models.CharField(max_length=60)),
                ('verdict', models.CharField(choices=[('good', 'good as it is'), ('change', 'good with a change'), ('bad', 'not to be used so')], max_length=6)),
                ('words', models.CharField(blank=True, max_length=500)),
            ],
            options={
                'ordering': ['-stitched_on', '-id'],
            },
        ),
        migrations.CreateModel(
            name='Tag',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=30, unique=True)),
            ],
            options={
                'ordering': ['name'],
            },
        ),
        migrations.AddField(
            model_name='block',
            name='file_code',
            field=models.CharField(blank=True, max_length=40),
        ),
        migrations.AddField(
            model_name='block',
            name='file_hex',
            field=models.CharField(blank=True, max_length=7),
        ),
        migrations.AddField(
            model_name='block',
            name='file_name',
            field=models.CharField(blank=True, max_length=120),
        ),
        migrations.AddField(
            model_name='block',
            name='lab_a',
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='block',
            name='lab_b',
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='block',
            name='lab_l',
            field=models.FloatField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='block',
            name='same_thread',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='block',
            name='shade',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to='inventory.shade'),
        ),
        migrations.AddField(
            model_name='design',
            name='favourite',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='design',
            name='outline',
            field=models.JSONField(default=list),
        ),
        migrations.AddField(
            model_name='design',
            name='picked_by_hand',
            field=models.BooleanField(default=False),
        ),
        migrations.AddField(
            model_name='design',
            name='variant_of',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.RESTRICT, related_name='variants', to='planning.design'),
        ),
        migrations.AddIndex(
            model_name='block',
            index=models.Index(fields=['hex'], name='planning_bl_hex_630fce_idx'),
        ),
        migrations.AddField(
            model_name='importedfile',
            name='design',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='imported_as', to='planning.design'),
        ),
        migrations.AddField(
            model_name='importrun',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='importedfile',
            name='run',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='files', to='planning.importrun'),
        ),
        migrations.AddField(
            model_name='stitchoutnote',
            name='by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.SET_NULL, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='stitchoutnote',
            name='design',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='stitch_outs', to='planning.design'),
        ),
        migrations.AddField(
            model_name='design',
            name='tags',
            field=models.ManyToManyField(blank=True, related_name='designs', to='planning.tag'),
        ),
        migrations.AddIndex(
            model_name='design',
            index=models.Index(fields=['width_mm', 'height_mm'], name='planning_de_width_m_0feeaa_idx'),
        ),
        migrations.AddConstraint(
            model_name='design',
            constraint=models.CheckConstraint(condition=models.Q(('variant_of', models.F('pk')), _negated=True), name='no_design_is_its_own_variant'),
        ),
        migrations.RunPython(remember_the_files_own_colours, migrations.RunPython.noop),
    ]
