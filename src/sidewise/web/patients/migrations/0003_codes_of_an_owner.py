"""A code is unique among the patients of one owner."""

from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("patients", "0002_patient_key"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AlterField("patient", "code", models.CharField(max_length=60)),
        migrations.AddConstraint(
            "patient",
            models.UniqueConstraint(fields=("owner", "code"), name="one_code_per_owner"),
        ),
    ]
