from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0007_orders_and_price_steps"),
    ]

    operations = [
        migrations.AddField(
            model_name="threadrange",
            name="tex_typed",
            field=models.CharField(blank=True, default="", max_length=24),
        ),
    ]
