import django.core.validators
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0009_what_files_landed'),
    ]

    operations = [
        migrations.AddField(
            model_name='putup',
            name='core_diameter_mm',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1.0)]),
        ),
        migrations.AddField(
            model_name='putup',
            name='full_diameter_mm',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1.0)]),
        ),
        migrations.AddField(
            model_name='putup',
            name='winding_height_mm',
            field=models.FloatField(blank=True, null=True, validators=[django.core.validators.MinValueValidator(1.0)]),
        ),
        migrations.AlterField(
            model_name='stockitem',
            name='known',
            field=models.CharField(choices=[('sealed', 'sealed, as sold'), ('weighed', 'weighed'), ('counted', 'counted'), ('measured', 'measured across'), ('judged', 'judged by eye'), ('unknown', 'not known')], default='sealed', max_length=8),
        ),
        migrations.AddConstraint(
            model_name='putup',
            constraint=models.CheckConstraint(condition=models.Q(('full_diameter_mm__isnull', True), ('core_diameter_mm__isnull', True), ('full_diameter_mm__gt', models.F('core_diameter_mm')), _connector='OR'), name='put_up_is_thicker_than_its_core'),
        ),
    ]
