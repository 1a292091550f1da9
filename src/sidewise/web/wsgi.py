"""For a WSGI server: `gunicorn sidewise.web.wsgi`."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
application = get_wsgi_application()
