"""A line binds the rows that its act changed, and carries a mark of the keeping key."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [("audit", "0001_initial")]

    operations = [
        migrations.AddField("auditline", "bound", models.JSONField(null=True)),
        migrations.AddField(
            "auditline", "mark", models.CharField(blank=True, default="", max_length=64),
            preserve_default=False,
        ),
    ]
