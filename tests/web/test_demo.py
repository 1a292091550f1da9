"""The invented clinic: loaded once, kept apart from patients, entered once from this machine."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from django.test import Client

from sidewise.record import read_record
from sidewise.web import demo
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import current
from sidewise.web.patients.models import Patient
from sidewise.web.serving import listening
from tests.shoulder import REGIONS

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture
def clinic(db):
    owner = demo.clinic_owner()
    demo.load_clinic(EXAMPLES, owner)
    return owner


def _visits():
    """Examples by patient and time: the first file of a visit is the one that is loaded."""
    found = {}
    for path in demo.example_files(EXAMPLES):
        record = read_record(path, REGIONS)
        found.setdefault((record.context.patient, record.context.examined_at), record)
    return found


def test_every_visit_is_there_once_however_often_it_is_loaded(clinic):
    visits = _visits()
    assert demo.load_clinic(EXAMPLES, clinic) == len(visits) == Examination.objects.count()
    assert len(visits) == 16


def test_a_loaded_example_is_the_file_again(clinic):
    for (_, at), record in _visits().items():
        stored = Examination.objects.get(patient__code=record.context.patient, examined_at=at)
        assert current(stored).record.findings == record.findings
        assert current(stored).record.context == record.context


def test_the_latest_examinations_stay_open_and_the_others_are_signed(clinic):
    states = list(Examination.objects.order_by("-examined_at").values_list("state", flat=True))
    assert states[: demo.LEFT_OPEN] == ["draft"] * demo.LEFT_OPEN
    assert set(states[demo.LEFT_OPEN :]) == {"signed"}


def test_patients_are_coded_by_shore_birds(clinic):
    codes = Patient.objects.values_list("code", flat=True)
    assert all(re.fullmatch(r"[A-Z]+-\d+", code) for code in codes)


def test_the_way_in_works_once(clinic):
    path = demo.way_in(clinic)
    browser = Client()
    assert "Enter" in browser.get(path, follow=True).content.decode()
    assert browser.post("/welcome/", follow=True).status_code == 200
    assert Client().get(path).status_code == 404


def test_the_owner_of_the_demonstration_has_no_password(clinic):
    assert not clinic.has_usable_password()


def test_a_taken_port_is_passed_over():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        server = listening(lambda *_: [], port)
        assert server.server_address[0] == "127.0.0.1"
        assert server.server_address[1] > port
        server.server_close()


@pytest.mark.slow
def test_demo_starts_prints_its_way_in_and_stops_cleanly(tmp_path):
    code = "from sidewise.cli import main; main()"
    command = [sys.executable, "-c", code, "demo", "--no-browser", "--port", "8960"]
    env = {**os.environ, "SIDEWISE_HOME": str(tmp_path)}
    process = subprocess.Popen(
        command, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    lines = [process.stdout.readline() for _ in range(5)]
    assert re.match(r"Ready at http://127\.0\.0\.1:89\d\d/", lines[2])
    assert "/welcome/" in lines[3]
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "Traceback" not in err
    assert "Stopped" in out
    assert (tmp_path / "demo" / "sidewise.sqlite3").exists()
    assert not (tmp_path / "sidewise.sqlite3").exists()
