"""The held entries now belong to the examinations app; the table stays as it is."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [("keeping", "0001_safekeeping")]

    operations = [
        migrations.SeparateDatabaseAndState(state_operations=[migrations.DeleteModel("HeldEntry")]),
    ]
