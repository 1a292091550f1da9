"""For a WSGI server: `gunicorn sidewise.web.wsgi`."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

from sidewise.reason.weighing.warm_up import wish_for_compiled
from sidewise.web.keeping.place import hold_for_life

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
hold_for_life("the service")
application = get_wsgi_application()
wish_for_compiled()
