"""Keep in how many strips a length came off a roll, and say of rolls cut before how well they are really known.

The hand that cuts each strip long cuts all of them long: what was kept as a roll's sigma was too small for rolls of
which much had been cut since they were measured. The figures are those of ``inventory.compute.knowing`` at the time.
"""

import math

from django.db import migrations, models

LONG_MM, UNEVEN_MM, CUT_AGAIN, USUAL_STRIP_MM = 3.0, 2.0, 0.02, 200
SHOWN = 10_000  # lines from here on tell what an act showed of an item that nobody had measured


def say_what_is_known(apps, schema_editor):
    db = schema_editor.connection.alias
    entries, items = apps.get_model("inventory", "Entry"), apps.get_model("inventory", "StockItem")
    taken_back = set(
        entries.objects.using(db).filter(reverses__isnull=False).values_list("reverses_id", flat=True)
    )
    # Those that left the shelf too: a cut that is taken back brings one back.
    rolls = items.objects.using(db).filter(kind="roll", sigma__isnull=False)
    for roll in rolls.only("pk", "sigma"):
        newest_first = list(entries.objects.using(db).filter(item_id=roll.pk).order_by("-id"))
        sigma = known_now(roll.sigma, newest_first, taken_back)
        if sigma > roll.sigma:
            items.objects.using(db).filter(pk=roll.pk).update(sigma=sigma)


def known_now(sigma, newest_first, taken_back):
    """Return one sigma of a roll with what its cuts really made unknown, instead of what was kept of them."""
    after, kept = sigma, 0.0
    strips = length_mm = squares_mm2 = 0
    for entry in newest_first:
        before = entry.sigma_before
        stands = entry.pk not in taken_back and entry.reason != "reverse" and entry.line < SHOWN
        if stands and entry.reason in ("weigh", "count") and after != before:
            break
        if stands and entry.reason == "cut" and entry.quantity < 0:
            count = max(1, round(-entry.quantity / USUAL_STRIP_MM))
            strips += count
            length_mm -= entry.quantity
            squares_mm2 += entry.quantity**2 / count
            if after is not None and before is not None:
                kept += max(0.0, after**2 - before**2)
        after = before
    shared = LONG_MM * strips + CUT_AGAIN * length_mm
    own = UNEVEN_MM**2 * strips + CUT_AGAIN * squares_mm2
    return math.sqrt(max(0.0, sigma**2 - kept) + shared**2 + own)


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0023_long_work"),
    ]

    operations = [
        migrations.AddField(
            model_name="entry",
            name="strips",
            field=models.PositiveIntegerField(null=True),
        ),
        migrations.RunPython(say_what_is_known, migrations.RunPython.noop),
    ]
