"""What `deploy/` says is done as it says, as far as one machine without root's units can.

Run: the unit's own commands with its own environment file, until gunicorn tells systemd that it is
ready; the health page; reload and stop; the backup unit's commands; the container's command and
health check without a container; the proxy with TLS in front, where there is an nginx. Not run: the
units under systemd as process 1 (their text is checked by `systemd-analyze`), a container build.
"""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.safe.stores import ROOT

pytestmark = pytest.mark.slow
DEPLOY = ROOT / "deploy"
HOST = "sidewise.example"
BIN = Path(sys.executable).parent
KEY = "0" * 64


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def unit(name: str) -> dict[str, list[str]]:
    """The settings of a unit, each with all its values, for this tree instead of /opt/sidewise."""
    found: dict[str, list[str]] = {}
    for line in (DEPLOY / name).read_text().splitlines():
        key, sign, value = line.partition("=")
        if sign and not line.startswith("#"):
            found.setdefault(key, []).append(here(value))
    return found


def here(text: str) -> str:
    """The same where this tree stands."""
    return text.replace("/opt/sidewise/.venv/bin", str(BIN)).replace("/opt/sidewise", str(ROOT))


def environment_file(**filled: str) -> dict[str, str]:
    """`environment.example` as systemd reads it, with what an operator fills in."""
    lines = (DEPLOY / "environment.example").read_text().splitlines()
    pairs = dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))
    assert set(filled) <= {*pairs, "SIDEWISE_BIND", "SIDEWISE_WORKERS"}
    return {"PATH": os.environ["PATH"], "LANG": "C.UTF-8", **pairs, **filled}


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    headers: http.client.HTTPMessage
    body: bytes


def asked(
    link: http.client.HTTPConnection, path: str, body: bytes | None, headers: dict[str, str]
) -> Answer:
    """One request on a connection of its own."""
    with contextlib.closing(link):
        link.request("POST" if body is not None else "GET", path, body, headers)
        came = link.getresponse()
        return Answer(came.status, came.headers, came.read())


@dataclass
class Service:
    """What the unit started."""

    process: subprocess.Popen[bytes]
    port: int
    environment: dict[str, str]
    said: bytes

    def health(self, host: str = HOST, scheme: str = "https") -> tuple[int, bytes]:
        """As the proxy asks."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        answer = asked(link, "/health/", None, {"Host": host, "X-Forwarded-Proto": scheme})
        return answer.status, answer.body


@pytest.fixture(scope="module")
def filled(tmp_path_factory: Any, request: Any) -> dict[str, str]:
    """The environment file, with a PostgreSQL as in the example where there is one."""
    home = tmp_path_factory.mktemp("deployed")
    (home / "backups").mkdir()
    try:
        url = request.getfixturevalue("cluster").create("deployed")
    except pytest.skip.Exception:
        url = ""
    return environment_file(
        SIDEWISE_HOME=str(home), SIDEWISE_DATABASE_URL=url, SIDEWISE_SECRET_KEY=KEY,
        SIDEWISE_BIND=f"127.0.0.1:{free_port()}", SIDEWISE_WORKERS="2",
        BACKUP_FOLDER=str(home / "backups"),
    )  # fmt: skip


def run(command: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["/bin/sh", "-c", f"exec {command}"], env=environment, cwd=ROOT, check=False,
        capture_output=True, text=True,
    )  # fmt: skip


@pytest.fixture(scope="module")
def service(filled: dict[str, str]) -> Iterator[Service]:
    """ExecStartPre in order, then ExecStart, until it tells that it is ready (Type=notify)."""
    settings = unit("sidewise.service")
    for command in settings["ExecStartPre"]:
        done = run(command, filled)
        assert done.returncode == 0, done.stderr
    told = Path(filled["SIDEWISE_HOME"]) / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(told))
        listener.settimeout(60)
        process = subprocess.Popen(
            settings["ExecStart"][0].split(), cwd=ROOT, start_new_session=True,
            env=filled | {"NOTIFY_SOCKET": str(told)}, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        said = listener.recv(4096)
    port = int(filled["SIDEWISE_BIND"].rsplit(":", 1)[1])
    yield Service(process, port, filled, said)
    if process.poll() is None:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def test_the_unit_tells_that_it_is_ready_and_the_health_page_answers(service: Service) -> None:
    assert b"READY=1" in service.said
    assert unit("sidewise.service")["Type"] == ["notify"]
    assert service.health() == (200, b"ok\n")


def test_it_answers_to_its_host_behind_tls_only(service: Service) -> None:
    assert service.health(host="elsewhere.example")[0] == 400
    assert service.health(scheme="http")[0] == 301


def test_a_reload_answers_all_the_time(service: Service) -> None:
    (command,) = unit("sidewise.service")["ExecReload"]
    done = run(command.replace("$MAINPID", str(service.process.pid)), service.environment)
    assert done.returncode == 0, done.stderr
    for _ in range(40):
        assert service.health()[0] == 200
        time.sleep(0.05)


def test_the_first_accounts_link_is_printed_as_operations_say(service: Service) -> None:
    done = run(f"{BIN}/python -m sidewise.web.keeping.owner", service.environment)
    assert done.returncode == 0, done.stderr
    assert re.search(r"/welcome/[\w-]{43}/", done.stdout)


def test_the_backup_unit_writes_a_backup_and_verifies(service: Service) -> None:
    for command in unit("sidewise-backup.service")["ExecStart"]:
        done = run(command.replace("%%", "%"), service.environment)
        assert done.returncode == 0, done.stderr
    (made,) = Path(service.environment["BACKUP_FOLDER"]).iterdir()
    assert re.fullmatch(r"sidewise-\d{8}T\d{6}Z\.backup", made.name)
    assert run(f"{BIN}/sidewise verify --backup {made}", service.environment).returncode == 0


def test_systemd_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("no systemd-analyze here")
    for path in DEPLOY.glob("sidewise*"):
        (tmp_path / path.name).write_text(here(path.read_text()))
    units = sorted(str(path) for path in tmp_path.iterdir())
    assert len(units) == 3
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *units],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


# ---------------------------------------------------------------- container


def container() -> list[tuple[str, str]]:
    """The instructions of the Containerfile, continued lines joined."""
    text = (DEPLOY / "Containerfile").read_text().replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return [(line.split(None, 1)[0], line.split(None, 1)[1]) for line in lines]


def said_by(instruction: str) -> str:
    return next(rest for name, rest in container() if name == instruction)


@pytest.fixture
def image(tmp_path: Path) -> Path:
    """What COPY brings into the image, and nothing else."""
    for name, rest in container():
        if name == "COPY":
            *sources, target = rest.split()
            for source in sources:
                to = tmp_path / target / (Path(source).name if target == "./" else "")
                to.parent.mkdir(parents=True, exist_ok=True)
                copy = shutil.copytree if (ROOT / source).is_dir() else shutil.copy
                copy(ROOT / source, to)
    return tmp_path


def test_the_containers_command_serves_from_what_is_copied_and_its_check_is_healthy(
    image: Path, tmp_path_factory: Any
) -> None:
    port = free_port()
    environment = environment_file(
        SIDEWISE_HOME=str(tmp_path_factory.mktemp("volume")), SIDEWISE_DATABASE_URL="",
        SIDEWISE_SECRET_KEY=KEY, SIDEWISE_BIND=f"127.0.0.1:{port}", SIDEWISE_WORKERS="1",
    )  # fmt: skip
    environment |= {"PYTHONPATH": str(image / "src"), "PATH": f"{BIN}:{os.environ['PATH']}"}
    # The unit's commands compile the sums above; a minute more would show nothing of the image.
    environment |= {"NUMBA_DISABLE_JIT": "1", "SIDEWISE_WARM_UP": "0"}
    check = said_by("HEALTHCHECK").split("CMD ", 1)[1]
    words: dict[str, Any] = {}
    exec(f"command = {check}; main = {said_by('CMD')}", words)
    healthy = [part.replace(":8790/", f":{port}/") for part in words["command"]]
    process = subprocess.Popen(words["main"], cwd=image, env=environment, start_new_session=True,
                               stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)  # fmt: skip
    try:
        assert eventually(
            lambda: subprocess.run(healthy, env=environment, check=False,
                                   capture_output=True).returncode == 0
        )  # fmt: skip
        where = ["python", "-c", "import sidewise; print(sidewise.__file__)"]
        found = subprocess.run(where, cwd=image, env=environment, capture_output=True, text=True)
        assert found.stdout.startswith(str(image))
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


def eventually(true: Any, seconds: float = 900) -> bool:
    """Whether it comes true; the limit only ends what hangs, however slow the machine."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if true():
            return True
        time.sleep(0.2)
    return False


# ---------------------------------------------------------------- proxy


@dataclass
class Proxy:
    """An nginx with the file of `deploy/` in front of the service."""

    plain: int
    tls: int
    trusted: ssl.SSLContext
    logs: Path

    def ask(self, path: str = "/health/", body: bytes | None = None, **headers: str) -> Answer:
        """Over TLS, as a browser."""
        link = http.client.HTTPSConnection("127.0.0.1", self.tls, context=self.trusted, timeout=20)
        return asked(link, path, body, {"Host": HOST, **headers})


@pytest.fixture(scope="module")
def proxy(service: Service, tmp_path_factory: Any) -> Iterator[Proxy]:
    """Ports, certificate, log and the service's port are changed, nothing else."""
    nginx, openssl = shutil.which("nginx"), shutil.which("openssl")
    if nginx is None or openssl is None:
        pytest.skip("no nginx here: the proxy's file was not tried")
    folder = tmp_path_factory.mktemp("proxy")
    subprocess.run(
        [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
         f"/CN={HOST}", "-addext", f"subjectAltName=DNS:{HOST}",
         "-keyout", folder / "key.pem", "-out", folder / "fullchain.pem"],
        check=True, capture_output=True,
    )  # fmt: skip
    plain, tls = free_port(), free_port()
    text = (DEPLOY / "proxy.nginx").read_text()
    for old, new in (
        ("listen 80;", f"listen 127.0.0.1:{plain};"), ("listen 443 ", f"listen 127.0.0.1:{tls} "),
        ("/etc/ssl/sidewise", str(folder)), ("/var/log/nginx", str(folder)),
        ("127.0.0.1:8790", f"127.0.0.1:{service.port}"),
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new)
    kinds = ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    places = "\n".join(f"{kind}_temp_path {folder}/{kind};" for kind in kinds)
    main = folder / "nginx.conf"
    main.write_text(f"daemon off;\npid {folder}/pid;\nerror_log {folder}/error.log;\n"
                    f"events {{}}\nhttp {{\naccess_log {folder}/access.log;\n"
                    f"{places}\n{text}\n}}\n")  # fmt: skip
    command = [nginx, "-p", str(folder), "-e", f"{folder}/error.log", "-c", str(main)]
    tried = subprocess.run([*command, "-t"], capture_output=True, text=True, check=False)
    assert tried.returncode == 0, tried.stderr
    process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    trusted = ssl.create_default_context(cafile=str(folder / "fullchain.pem"))
    trusted.check_hostname = False  # asked by address; the name is sent as Host
    front = Proxy(plain, tls, trusted, folder)
    assert eventually(lambda: answers(front))
    yield front
    process.terminate()
    process.wait()


def answers(front: Proxy) -> bool:
    with contextlib.suppress(OSError):
        return bool(front.ask().status == 200)
    return False


def test_the_proxy_hands_on_over_tls_and_sends_plain_http_there(proxy: Proxy) -> None:
    answer = proxy.ask("/sign-in/")
    assert answer.status == 200
    assert "max-age=31536000" in answer.headers["Strict-Transport-Security"]
    assert answer.headers["Set-Cookie"].startswith("__Host-")
    plain = http.client.HTTPConnection("127.0.0.1", proxy.plain, timeout=10)
    sent = asked(plain, "/sign-in/", None, {"Host": HOST})
    assert (sent.status, sent.headers["Location"]) == (301, f"https://{HOST}/sign-in/")


def test_the_proxy_refuses_more_than_five_megabytes(proxy: Proxy) -> None:
    assert proxy.ask("/sign-in/", b"x" * (5 * 1024 * 1024 + 1)).status == 413


def test_what_the_browser_claims_of_its_address_is_dropped(proxy: Proxy, service: Service) -> None:
    """Otherwise every wrong password could come from another address, and none would wait."""
    statuses = []
    for number in range(7):
        first = proxy.ask("/sign-in/")
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', first.body.decode())
        assert token
        cookie = first.headers["Set-Cookie"].split(";")[0]
        form = f"csrfmiddlewaretoken={token[1]}&username=nobody&password=guess".encode()
        answer = proxy.ask(
            "/sign-in/", form, Cookie=cookie, Referer=f"https://{HOST}/sign-in/",
            **{"X-Forwarded-For": f"192.0.2.{number}",
               "Content-Type": "application/x-www-form-urlencoded"},
        )  # fmt: skip
        statuses.append(answer.status)
    assert statuses == [422] * 5 + [429] * 2


@pytest.mark.parametrize(("version", "taken"), [("TLSv1_1", False), ("TLSv1_2", True),
                                                ("TLSv1_3", True)])  # fmt: skip
def test_the_proxy_takes_tls_from_1_2_on(proxy: Proxy, version: str, taken: bool) -> None:
    import warnings

    wanted = getattr(ssl.TLSVersion, version)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    context.set_ciphers("ALL:@SECLEVEL=0")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        context.minimum_version = context.maximum_version = wanted
    with socket.create_connection(("127.0.0.1", proxy.tls), timeout=10) as link:
        try:
            with context.wrap_socket(link) as safe:
                got = safe.version()
        except ssl.SSLError:
            got = None
    assert (got is not None) is taken


def test_one_time_links_stand_in_no_log_of_the_proxy(proxy: Proxy, service: Service) -> None:
    link = "/welcome/" + "w" * 43 + "/"
    proxy.ask(link)
    plain = http.client.HTTPConnection("127.0.0.1", proxy.plain, timeout=10)
    asked(plain, link, None, {"Host": HOST})
    proxy.ask("/health/")
    assert eventually(lambda: "/health/" in (proxy.logs / "sidewise.log").read_text(), 5)
    logs = sorted(proxy.logs.glob("*.log"))
    assert [log.name for log in logs] == ["access.log", "error.log", "sidewise.log"]
    assert not any("www" in log.read_text() for log in logs)


def test_the_service_stops_when_it_is_told_to(service: Service) -> None:
    """Last: nothing is started again afterwards."""
    limit = int(unit("sidewise.service")["TimeoutStopSec"][0])
    service.process.send_signal(signal.SIGTERM)
    assert service.process.wait(limit) == 0
    with pytest.raises(OSError):
        urllib.request.urlopen(f"http://127.0.0.1:{service.port}/health/", timeout=2)
