import uuid

from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.state import StateApps


def give_keys(apps: StateApps, _schema_editor: BaseDatabaseSchemaEditor) -> None:
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
