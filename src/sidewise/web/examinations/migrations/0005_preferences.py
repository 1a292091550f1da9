"""What one person usually does: setting of care, instrument, whether the tour was taken."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("examinations", "0004_moved_visit"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="Preferences",
            fields=[
                ("id", models.BigAutoField(
                    auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("setting", models.CharField(blank=True, max_length=20)),
                ("instrument", models.CharField(blank=True, max_length=20)),
                ("toured", models.BooleanField(default=False)),
                ("user", models.OneToOneField(
                    on_delete=django.db.models.deletion.CASCADE, related_name="preferences",
                    to=settings.AUTH_USER_MODEL)),
            ],
        ),
    ]
