"""The service as a department runs it: gunicorn with its own configuration, in another process."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import random
import signal
import socket
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.safe.stores import ROOT, Store

TOKEN = "t" * 32


@dataclass
class Server:
    """Starts, is killed, and starts again on the same port with the same store."""

    store: Store
    workers: int = 2
    port: int = 0
    process: subprocess.Popen[bytes] | None = field(default=None, repr=False)

    def start(self) -> None:
        """Start and wait until the health page answers."""
        if not self.port:
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                self.port = probe.getsockname()[1]
        environment = {
            **self.store.environment, "SIDEWISE_BIND": f"127.0.0.1:{self.port}",
            "SIDEWISE_WORKERS": str(self.workers), "SIDEWISE_LOG_LEVEL": "WARNING",
            # Killed hundreds of times, and asked for no meaning.
            "SIDEWISE_WARM_UP": "0",
        }  # fmt: skip
        log = (self.store.home / "server.log").open("ab")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "gunicorn", "-c", "deploy/gunicorn.conf.py",
             "--reuse-port", "sidewise.web.wsgi"],
            env=environment, cwd=ROOT, stdout=log, stderr=log, start_new_session=True,
        )  # fmt: skip
        log.close()
        self.wait()

    def wait(self, seconds: float = 600) -> None:
        """Until it answers; the deadline only ends what hangs."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            with contextlib.suppress(OSError, http.client.HTTPException):
                if self.ask("GET", "/health/")[0] == 200:
                    return
            time.sleep(0.05)
        raise AssertionError((self.store.home / "server.log").read_text()[-3000:])

    def ask(
        self, method: str, path: str, data: Any = None, session: str = "", timeout: float = 10
    ) -> tuple[int, bytes]:
        """One request; raises OSError or HTTPException when nobody answers."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=timeout)
        headers = {"Cookie": f"sessionid={session}; csrftoken={TOKEN}", "X-CSRFToken": TOKEN}
        body = None
        if data is not None:
            body = json.dumps(data).encode()
            headers["Content-Type"] = "application/json"
        try:
            link.request(method, path, body, headers)
            answer = link.getresponse()
            return answer.status, answer.read()
        finally:
            link.close()

    def worker_pids(self) -> list[int]:
        """The processes that answer."""
        assert self.process
        children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children").read_text()
        return [int(pid) for pid in children.split()]

    def kill_worker(self, chance: random.Random) -> bool:
        """kill -9 one worker in the middle of whatever it does."""
        pids = self.worker_pids()
        if not pids:
            return False
        with contextlib.suppress(ProcessLookupError):
            os.kill(chance.choice(pids), signal.SIGKILL)
            return True
        return False

    def kill(self) -> None:
        """kill -9 everything at once, as when the power goes."""
        assert self.process
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def stop(self) -> None:
        """As systemd stops it."""
        if self.process and self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(40)
            except subprocess.TimeoutExpired:
                self.kill()
