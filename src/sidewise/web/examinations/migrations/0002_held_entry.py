"""The held entries come over from the keeping app; the table stays as it is."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("examinations", "0001_initial"),
        ("keeping", "0002_held_entry_moves_out"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.CreateModel(
                    name="HeldEntry",
                    fields=[
                        ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                        ("entry_id", models.CharField(max_length=80)),
                        ("entry", models.JSONField()),
                        ("why", models.CharField(max_length=300)),
                        ("received_at", models.DateTimeField(auto_now_add=True)),
                        ("settled_by", models.CharField(blank=True, max_length=150)),
                        ("settled_at", models.DateTimeField(null=True)),
                        ("settled_how", models.CharField(blank=True, max_length=12)),
                        ("by", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, to=settings.AUTH_USER_MODEL)),
                        ("examination", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="held", to="examinations.examination")),
                    ],
                    options={
                        "db_table": "keeping_heldentry",
                        "ordering": ["pk"],
                        "constraints": [models.UniqueConstraint(fields=("examination", "entry_id"), name="held_once")],
                    },
                ),
            ],
        ),
    ]
