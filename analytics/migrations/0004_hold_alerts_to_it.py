from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("analytics", "0003_put_offs_of_alerts")]

    operations = [
        ValidateConstraint(model_name="alert", name="alert_put_off_by_same_club"),
        ValidateConstraint(model_name="alert", name="alert_acknowledged_or_put_off"),
    ]
