from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("approaches", "0006_mark_limits_and_session_codes")]

    operations = [
        ValidateConstraint(model_name="plan", name="plan_start_mark_plausible"),
        ValidateConstraint(model_name="session", name="session_code_is_no_id"),
    ]
