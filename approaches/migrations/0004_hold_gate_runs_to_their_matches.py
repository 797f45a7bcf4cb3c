from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("approaches", "0003_gate_runs_and_versions_of_attempts")]

    operations = [
        ValidateConstraint(model_name="gaterun", name="gate_run_matched_or_says_why_not"),
    ]
