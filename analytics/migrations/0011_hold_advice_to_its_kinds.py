from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("analytics", "0010_record_advice_of_more_kinds")]

    operations = [ValidateConstraint(model_name="advice", name="advice_kind_known")]
