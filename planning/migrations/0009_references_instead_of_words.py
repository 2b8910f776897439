"""What was cut is told by ids, strips out of rings by their keys, and the path lost at a thread change by itself.

Rows from before are filled from the words they were told by until now.
"""

import re

import django.db.models.deletion
from django.db import migrations, models

# The words of a layer's method, and the kinds of stabilizer, as they were when these rows were written.
METHODS = {"hooped with the cloth": "hooped", "floated under the hoop": "floated", "laid on top": "topping"}
RINGS = re.compile(r"^rings-\d+-\d+-")
NUMBERS = re.compile(r"^rings of job ([\d, ]+)$")


def tell_cuts_by_id(apps, schema_editor):
    products = {
        f"{product.maker} {product.name}": product.pk
        for product in apps.get_model("inventory", "StabilizerProduct").objects.all()
    }
    for cut in apps.get_model("planning", "JobCut").objects.all():
        for each in cut.pieces:
            kind, _, words = each["layer"].partition(", ")
            each.setdefault("kind", kind)
            each.setdefault("method", METHODS.get(words, words))
            each.setdefault("product_id", products.get(each["product"], 0))
        cut.save(update_fields=["pieces"])


def tell_strips_by_key(apps, schema_editor):
    Job = apps.get_model("planning", "Job")
    KeptStrips = apps.get_model("planning", "KeptStrips")
    known = set(Job.objects.values_list("pk", flat=True))
    for entry in apps.get_model("inventory", "Entry").objects.filter(key__startswith="rings-"):
        written = NUMBERS.match(entry.reference)
        if entry.reason == "receive" and RINGS.match(entry.key) and written:
            for number in map(int, re.findall(r"\d+", written[1])):
                if number in known:
                    KeptStrips.objects.get_or_create(job_id=number, key=entry.key)


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0007_orders_and_price_steps"),
        ("planning", "0008_buying_rules"),
    ]

    operations = [
        migrations.CreateModel(
            name="KeptStrips",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("key", models.CharField(max_length=80)),
                (
                    "job",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="kept_strips",
                        to="planning.job",
                    ),
                ),
            ],
            options={
                "ordering": ["job", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("job", "key"), name="strips_of_a_job_are_kept_once")
                ],
            },
        ),
        migrations.AddField(
            model_name="promisedthread",
            name="path_mm",
            field=models.JSONField(
                default=list, help_text="By position: what is lost at thread changes, which no factor scales."
            ),
        ),
        migrations.RunPython(tell_cuts_by_id, migrations.RunPython.noop),
        migrations.RunPython(tell_strips_by_key, migrations.RunPython.noop),
    ]
