from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("approaches", "0006_codes_are_no_ids")]

    operations = [
        ValidateConstraint(model_name="plan", name="plan_start_mark_plausible"),
        ValidateConstraint(model_name="approach", name="approach_code_is_no_id"),
        ValidateConstraint(model_name="session", name="session_code_is_no_id"),
    ]
