"""Gunicorn for a department: `gunicorn -c deploy/gunicorn.conf.py sidewise.web.wsgi`.

Workers are stateless: sessions, counts of failed sign-ins and everything else are in the database,
so any worker, also on another machine, answers any request.
"""

import multiprocessing
import os

bind = os.environ.get("SIDEWISE_BIND", "127.0.0.1:8790")
workers = int(os.environ.get("SIDEWISE_WORKERS", str(min(2 * multiprocessing.cpu_count() + 1, 9))))
worker_class = "gthread"
threads = int(os.environ.get("SIDEWISE_THREADS", "8"))
# Loaded once before the workers are forked: a worker that dies is replaced within milliseconds.
preload_app = True
timeout = 60
graceful_timeout = 30
keepalive = 5
# A slow leak anywhere is bounded; the jitter keeps workers from restarting together.
max_requests = 5000
max_requests_jitter = 500
# Longer than any address of ours; a larger request is refused before it is read.
limit_request_line = 2048
limit_request_fields = 60
# Who read or wrote what is in the audit. An access log would hold one-time links.
accesslog = None
errorlog = "-"


def when_ready(server):
    """Before the workers are forked: read addresses and protocols once, for all of them."""
    from django.urls import get_resolver

    from sidewise.regions import every_region

    assert get_resolver().url_patterns
    assert every_region()


def post_worker_init(worker):
    """In each worker: load what the first meaning would wait for, while it answers already."""
    if os.environ.get("SIDEWISE_WARM_UP", "1") != "0":
        from sidewise.reason.weighing.warm_up import ready_soon
        from sidewise.regions import every_region

        ready_soon(every_region)
