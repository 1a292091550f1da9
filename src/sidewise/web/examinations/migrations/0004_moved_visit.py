"""The trace that a visit leaves under the patient from whom it was moved."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("examinations", "0003_account_of_an_entry"),
        ("patients", "0003_codes_of_an_owner"),
    ]

    operations = [
        migrations.CreateModel(
            name="MovedVisit",
            fields=[
                ("id", models.BigAutoField(
                    auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("examined_at", models.DateTimeField()),
                ("was_signed", models.BooleanField()),
                ("by", models.CharField(max_length=80)),
                ("at", models.DateTimeField()),
                ("reason", models.CharField(max_length=500)),
                ("moved_to", models.ForeignKey(
                    null=True, on_delete=django.db.models.deletion.PROTECT,
                    related_name="moved_here", to="patients.patient")),
                ("patient", models.ForeignKey(
                    on_delete=django.db.models.deletion.PROTECT, related_name="moved_away",
                    to="patients.patient")),
                ("visit", models.ForeignKey(
                    null=True, on_delete=django.db.models.deletion.PROTECT,
                    related_name="moves", to="examinations.examination")),
            ],
            options={"ordering": ["-at"]},
        ),
    ]
