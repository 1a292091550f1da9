"""For a WSGI server: `gunicorn sidewise.web.wsgi`."""

from __future__ import annotations

import os

from django.core.wsgi import get_wsgi_application

from sidewise.reason.compiled import wish_for_compiled

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
application = get_wsgi_application()
wish_for_compiled()
