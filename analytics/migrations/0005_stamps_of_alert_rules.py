from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("analytics", "0004_hold_alerts_to_it")]

    operations = [
        migrations.AddField(
            model_name="seriesstate",
            name="rules_stamp",
            field=models.PositiveBigIntegerField(
                db_default=0,
                default=0,
                help_text="By which state of the club's alert rules its sessions were judged.",
            ),
        ),
    ]
