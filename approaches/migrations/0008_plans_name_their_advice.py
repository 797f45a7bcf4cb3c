from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("approaches", "0007_hold_plans_and_sessions_to_it")]

    operations = [
        migrations.AddField(
            model_name="plan",
            name="advice_id",
            field=models.UUIDField(
                editable=False,
                help_text="The recorded advice that it was published from.",
                null=True,
            ),
        ),
    ]
