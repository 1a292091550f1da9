"""An entry holds the number of the account that sent it; those of before hold none."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [("examinations", "0002_held_entry")]

    operations = [migrations.AddField("ledgerentry", "account", models.BigIntegerField(null=True))]
