from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("examinations", "0005_preferences"),
    ]

    operations = [
        migrations.AddField(
            model_name="preferences",
            name="language",
            field=models.CharField(blank=True, max_length=10),
        ),
    ]
