import uuid

from django.db import migrations, models


def give_keys(apps, _schema_editor):
    for patient in apps.get_model("patients", "Patient").objects.all():
        patient.key = uuid.uuid4()
        patient.save(update_fields=["key"])


class Migration(migrations.Migration):

    dependencies = [("patients", "0001_initial")]

    operations = [
        migrations.AddField("patient", "key", models.UUIDField(editable=False, null=True)),
        migrations.RunPython(give_keys, migrations.RunPython.noop),
        migrations.AlterField(
            "patient",
            "key",
            models.UUIDField(default=uuid.uuid4, editable=False, unique=True),
        ),
    ]
