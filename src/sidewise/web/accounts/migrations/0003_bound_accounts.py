"""The manager of accounts is no longer part of migrations: it binds what it changes."""

from django.db import migrations


class Migration(migrations.Migration):

    dependencies = [("accounts", "0002_safekeeping")]

    operations = [migrations.AlterModelManagers(name="user", managers=[])]
