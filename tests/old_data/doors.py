"""The doors by which the tests of old data reach the program; nothing else here knows its modules.

A command on a home runs in a process of its own, a command on files in this one; the web app is
`sidewise serve` asked by address, and the formats are read and written by the functions imported
below. When modules move, this file alone follows.
"""

from __future__ import annotations

import gzip
import http.client
import io
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from http.cookies import SimpleCookie
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import urlencode

import pandas as pd

from sidewise.protocol.loader import vocabulary_of_all
from sidewise.record import Record
from sidewise.record import read_record as read_record_of
from sidewise.record import record_json as record_json
from sidewise.record.table import context_from_row, finding_from_row
from sidewise.regions import regions

ROOT = Path(__file__).parents[2]
CLI = "from sidewise.cli import main; main()"
SEVERAL = """
import json, sys
from tests.old_data.doors import ran
print(json.dumps([ran(*each) for each in json.loads(sys.argv[1])]))
"""
UNSTATED: tuple[Any, ...] = (None, "", [], {})
TOKEN = "t" * 32
"""Sent as cookie and as header: what Django's protection against forged requests compares."""


def read_record(path: Path) -> Record:
    """The record in a file, of whichever region it says."""
    return read_record_of(path, regions())


# Commands and pages -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Done:
    """How a command ended, and what it said."""

    status: int
    out: str
    wrong: str


def ran(*arguments: str) -> tuple[int, str, str]:
    """The command `sidewise` run in this process: its status, and what it said."""
    from sidewise.cli import main

    out, wrong, status = io.StringIO(), io.StringIO(), 0
    told = (redirect_stdout(out), redirect_stderr(wrong))
    with patch("sys.argv", ["sidewise", *arguments]), told[0], told[1]:
        try:
            main()
        except SystemExit as stopped:
            status = int(stopped.code or 0)
    return status, out.getvalue(), wrong.getvalue()


def on_files(folder: Path, *arguments: str) -> Done:
    """A command that needs no home, on the files of a folder."""
    with chdir(folder):
        return Done(*ran(*arguments))


@dataclass(frozen=True)
class Home:
    """A data folder, used by commands and by a served app."""

    folder: Path

    @classmethod
    def copied(cls, source: Path, folder: Path) -> Home:
        """A copy of a stored home, its database unpacked, as it lay there."""
        folder.mkdir(mode=0o700)
        for path in source.iterdir():
            if path.suffix == ".gz":
                (folder / path.stem).write_bytes(gzip.decompress(path.read_bytes()))
            else:
                shutil.copy(path, folder / path.name)
        return cls(folder)

    @property
    def environment(self) -> dict[str, str]:
        """What a process needs to use this folder and no other."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("SIDEWISE_", "DJANGO_"))}
        sources = f"{ROOT / 'src'}{os.pathsep}{ROOT}"
        # Without a retention time nothing could be erased anyway, and a hold would prove nothing.
        years = {"SIDEWISE_KEEP_PATIENT_YEARS": "0"}
        return {**kept, **years, "SIDEWISE_HOME": str(self.folder), "PYTHONPATH": sources}

    def commands(self, *each: tuple[str, ...]) -> list[Done]:
        """Run `sidewise` with each of these, one after the other in one process of its own."""
        run = subprocess.run(
            [sys.executable, "-c", SEVERAL, json.dumps(each)],
            env=self.environment, capture_output=True, text=True, check=False, cwd=self.folder,
        )  # fmt: skip
        # A traceback of any command ends the process, and the test.
        assert run.returncode == 0, run.stderr[-3000:]
        return [Done(*one) for one in json.loads(run.stdout.splitlines()[-1])]

    def command(self, *arguments: str) -> Done:
        """Run `sidewise` with these."""
        (done,) = self.commands(arguments)
        return done

    @contextmanager
    def served(self) -> Iterator[int]:
        """The app as `sidewise serve` serves it; its port."""
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = str(probe.getsockname()[1])
        log = (self.folder / "serve.log").open("w")
        server = subprocess.Popen(
            [sys.executable, "-c", CLI, "serve", "--no-browser", "--port", port],
            env=self.environment, stdout=subprocess.PIPE, stderr=log, text=True, cwd=self.folder,
        )  # fmt: skip
        assert server.stdout is not None
        try:
            first = server.stdout.readline()
            address = re.search(r"http://127\.0\.0\.1:(\d+)/", first)
            assert address, (first, (self.folder / "serve.log").read_text()[-3000:])
            yield int(address[1])
        finally:
            server.terminate()
            server.wait(10)
            server.stdout.close()
            log.close()


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back."""

    status: int
    text: str
    goes_to: str

    @property
    def json(self) -> Any:
        """The text as JSON."""
        return json.loads(self.text)


@dataclass
class Browser:
    """Asks by address and keeps cookies; follows nothing by itself."""

    port: int
    cookies: dict[str, str] = field(default_factory=lambda: {"csrftoken": TOKEN})

    def get(self, path: str) -> Answer:
        """A page."""
        return self._ask("GET", path, None, "")

    def form(self, path: str, data: Mapping[str, Any]) -> Answer:
        """A form sent; a signature from its page, with what that page showed."""
        if path.endswith("/sign/"):
            data = {**self._shown(path), **data}
        body = urlencode(data, doseq=True)
        return self._ask("POST", path, body, "application/x-www-form-urlencoded")

    def _shown(self, path: str) -> dict[str, Any]:
        # Since the version after 0.1.0 a signature says what was seen, flags one by one.
        page = self.get(path).text
        seen = re.findall(r'name="seen" value="([^"]*)"', page)
        flags = re.findall(r'name="flag" value="([^"]*)"', page)
        told = {f"not_arranged.{flag}": "asked of no signature of 0.1.0" for flag in flags}
        return {"seen": seen, "flag": flags, **told}

    def send(self, path: str, data: Any) -> Answer:
        """What a script sends."""
        return self._ask("POST", path, json.dumps(data), "application/json")

    def sign_in(self, who: str, password: str, code: str = "") -> Answer:
        """By name and password, and by the second step where one is asked for."""
        answer = self.form("/sign-in/", {"username": who, "password": password})
        return self.form("/sign-in/code/", {"code": code}) if code else answer

    @property
    def is_in(self) -> bool:
        """Whether somebody is signed in here."""
        return self.get("/account/").status == 200

    def new_examination(self, code: str, **about: Any) -> str:
        """A patient with an examination that has begun; the address of the examination."""
        patient = self.form("/patients/new/", {"code": code}).goes_to
        opened = self.form(patient, about)
        assert opened.status == 302, opened.text[-2000:]
        return re.sub(r"(stage|history)/.*", "", opened.goes_to)

    def _ask(self, method: str, path: str, body: str | None, kind: str) -> Answer:
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        headers = {"Cookie": cookies, "X-CSRFToken": self.cookies["csrftoken"]}
        if body is not None:
            headers["Content-Type"] = kind
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            link.request(method, path, body, headers)
            answer = link.getresponse()
            for text in answer.headers.get_all("Set-Cookie") or []:
                self.cookies |= {name: one.value for name, one in SimpleCookie(text).items()}
            place = answer.headers.get("Location") or ""
            return Answer(answer.status, answer.read().decode(), place)
        finally:
            link.close()


# Files ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Packed:
    """Files as they were, in an archive."""

    path: Path

    @cached_property
    def files(self) -> dict[str, bytes]:
        """Every file by its path."""
        with zipfile.ZipFile(self.path) as archive:
            return {name: archive.read(name) for name in archive.namelist()}

    def unpacked(self, folder: Path) -> Path:
        """All of them, in this folder."""
        with zipfile.ZipFile(self.path) as archive:
            archive.extractall(folder)
        return folder


def lost(old: Any, new: Any, where: str = "") -> list[str]:
    """Every place at which `new` lacks what `old` says, or says it otherwise.

    A later version may say more: a field it has added is no loss, nor is an empty one left out.
    The name of the format may change, the length of a list may not.
    """
    if isinstance(old, dict) and isinstance(new, dict):
        stated = [name for name in old if old[name] not in UNSTATED]
        missing = [f"{where}.{name}: gone" for name in stated if name not in new]
        both = [name for name in old if name in new and (where or name != "format")]
        return missing + [p for name in both for p in lost(old[name], new[name], f"{where}.{name}")]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        pairs = enumerate(zip(old, new, strict=True))
        return [p for n, (a, b) in pairs for p in lost(a, b, f"{where}[{n}]")]
    return [] if _same(old, new) else [f"{where}: {old!r} became {new!r}"]


def _same(old: Any, new: Any) -> bool:
    # In JSON 170 and 170.0 are one number; "Z" and "+00:00" end one and the same time.
    if isinstance(old, bool) or isinstance(new, bool):
        return old is new
    if isinstance(old, str) and isinstance(new, str) and old != new:
        times = _time(old), _time(new)
        return None not in times and times[0] == times[1]
    return bool(old == new)


def _time(text: str) -> tuple[datetime, timedelta | None] | None:
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        return None
    return time, time.utcoffset()


def table_documents(folder: Path, kind: str) -> dict[str, Any]:
    """The records that a pair of long tables holds, as documents, by the record's id."""
    read = {"csv": pd.read_csv, "parquet": pd.read_parquet}[kind]
    findings, contexts = (
        read(folder / kind / f"{name}.{kind}").to_dict("records")
        for name in ("findings", "contexts")
    )
    words = vocabulary_of_all(regions())
    found: dict[str, list[Any]] = {}
    for row in findings:
        found.setdefault(row["record"], []).append(finding_from_row(row, words))
    records = [
        Record(id=row["record"], region=row["region"], context=context_from_row(row),
               findings=tuple(found[row["record"]]))
        for row in contexts
    ]  # fmt: skip
    return {record.id: json.loads(record_json(record)) for record in records}
