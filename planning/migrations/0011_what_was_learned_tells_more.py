import django.core.validators
import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('planning', '0010_warnings_in_two_grades'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        # Machines that are there were reckoned with 1.25 and keep it; new ones start from geometry fitted to the rules.
        migrations.AddField(
            model_name='machine',
            name='bobbin_start',
            field=models.FloatField(default=1.25, help_text='What bobbin thread takes for each metre reckoned, before anything was weighed.', validators=[django.core.validators.MinValueValidator(0.2), django.core.validators.MaxValueValidator(5.0)], verbose_name='bobbin thread beyond the drawn'),
        ),
        migrations.AlterField(
            model_name='machine',
            name='bobbin_start',
            field=models.FloatField(default=1.0, help_text='What bobbin thread takes for each metre reckoned, before anything was weighed.', validators=[django.core.validators.MinValueValidator(0.2), django.core.validators.MaxValueValidator(5.0)], verbose_name='bobbin thread beyond the drawn'),
        ),
        migrations.AddField(
            model_name='observation',
            name='kappa',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='observation',
            name='kappa_slope',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='promise',
            name='bobbin_kappa_slope',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='promise',
            name='kappa',
            field=models.FloatField(null=True),
        ),
        migrations.AddField(
            model_name='promisedthread',
            name='kappa_slope',
            field=models.FloatField(help_text='∂ ln geometry / ∂κ; NULL on older promises.', null=True),
        ),
        migrations.AlterField(
            model_name='fabric',
            name='thickness_mm',
            field=models.FloatField(default=1.0, validators=[django.core.validators.MinValueValidator(0.0)]),
        ),
        migrations.AlterField(
            model_name='machine',
            name='interlock_depth',
            field=models.FloatField(default=0.75, help_text='0.5 at the centre of the cloth, 1 at its back.', validators=[django.core.validators.MinValueValidator(0.0), django.core.validators.MaxValueValidator(1.0)]),
        ),
        migrations.AlterField(
            model_name='machine',
            name='kappa',
            field=models.FloatField(default=0.25, help_text='One third where the back of a satin column shows equal thirds; see Help.', validators=[django.core.validators.MinValueValidator(0.0), django.core.validators.MaxValueValidator(0.5)], verbose_name='draw-in κ'),
        ),
        migrations.CreateModel(
            name='ToldChange',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('what', models.CharField(blank=True, max_length=120)),
                ('at', models.DateTimeField()),
                ('key', models.CharField(max_length=80, unique=True)),
                ('by', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('machine', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='told_changes', to='planning.machine')),
            ],
            options={
                'ordering': ['-at', '-id'],
            },
        ),
    ]
