"""Made everything in this folder with version 0.1.0; kept as documentation, it need not run later.

    PYTHONPATH=src python tests/data/version_0_1_0/made_by.py

Every row of the home was written by the program's own views, asked by address as a browser asks
them; only a share is made in its table, for which 0.1.0 has no page. Whoever signs in here is
invented, and so are the secrets.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import html
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import zipfile
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[2]
WORK = Path(tempfile.mkdtemp(prefix="sidewise-0-1-0-"))
os.environ["SIDEWISE_HOME"] = str(WORK / "home")
os.environ["SIDEWISE_KEEP_PATIENT_YEARS"] = "0"
os.environ["DJANGO_SETTINGS_MODULE"] = "sidewise.web.settings"
(WORK / "home").mkdir(mode=0o700)

import django  # noqa: E402

django.setup()

import pyotp  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.test import Client  # noqa: E402

PASSWORD = "sandbar curlew lantern"
WHEN = "2026-03-02T09:{:02}:00.000Z"
PEOPLE = {
    "colleague": ("clinician", "E2"),
    "reader": ("clinician", "E3"),
    "teacher": ("teacher", ""),
    "student-7": ("student", ""),
    "administrator": ("administrator", ""),
    "stopped": ("clinician", "E9"),
}
TYPED = {
    "angle.degrees": "35", "angle.pain": "true", "angle.end_feel": "firm",
    "angle.instrument": "goniometer", "arc.from": "60", "arc.to": "120", "count.count": "4",
    "force.newtons": "84.5", "force.limited_by_pain": "true", "length.cm": "1.5",
    "level.level": "L3", "level.pain": "true", "seconds.seconds": "12", "vital.number": "128",
    "place.what": "scar, old", "place.view": "front", "reason": "too sore to go on",
}  # fmt: skip
ITEMS = (
    "pain_pointed", "scars", "scj_swelling", "neck_midline_tenderness", "groove_tenderness",
    "neck_flexion", "external_rotation_at_side", "internal_rotation_behind_back", "painful_arc",
    "spurling", "external_rotation_lag", "anterior_drawer", "load_and_shift_posterior", "sulcus",
    "deltoid_middle_power", "beighton", "dermatome_c5", "biceps_reflex", "radial_pulse",
    "arm_blood_pressure", "capillary_refill", "roos", "empty_can",
    "abduction_relief", "relocation", "scapular_assistance",
)  # fmt: skip
BUTTONS_A_FORM = 16


# Forms as they stand in a page ------------------------------------------------------------------


@dataclass
class Form:
    """A form of a page: its fields as a browser would send them, and its buttons."""

    action: str
    attributes: dict[str, str | None]
    fields: list[dict[str, Any]] = field(default_factory=list)
    buttons: list[dict[str, str]] = field(default_factory=list)

    @property
    def places(self) -> str:
        return next((f["value"] for f in self.fields if f["name"] == "places"), "")

    def filled(self, typed: dict[str, Any]) -> dict[str, Any]:
        """What node is told of it, with these fields typed or ticked."""
        data = []
        for one in self.fields:
            name, given = one["name"], typed.get(one["name"])
            if one["type"] in ("checkbox", "radio"):
                ticked = one["value"] in given if isinstance(given, list) else given == one["value"]
                data += [[name, one["value"]]] if ticked or one["checked"] else []
            else:
                data.append([name, one["value"] if given is None else given])
        return {
            "data": data,
            "types": {f["name"]: f["type"] for f in self.fields},
            "action": self.action,
            "classes": (self.attributes.get("class") or "").split(),
            "line": "data-line" in self.attributes,
        }


class Forms(HTMLParser):
    """Every form of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[Form] = []
        self.open: Form | None = None
        self.select: dict[str, Any] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "form":
            self.open = Form(given.get("action") or "", given)
            self.found.append(self.open)
        if self.open is None:
            return
        name, value = given.get("name") or "", given.get("value") or ""
        if tag == "button" and given.get("type") != "button":
            self.open.buttons.append({"name": name, "value": value})
        if tag == "input" and name:
            kind = given.get("type") or "text"
            self.open.fields.append(
                {"name": name, "value": value, "type": kind, "checked": "checked" in given}
            )
        if tag in ("select", "textarea"):
            self.select = {"name": name, "value": None, "type": tag, "checked": False}
            self.open.fields.append(self.select)
        if (
            tag == "option"
            and self.select
            and (self.select["value"] is None or "selected" in given)
        ):
            self.select["value"] = given.get("value") if "value" in given else None

    def handle_data(self, data: str) -> None:
        if self.select and self.select["value"] is None and data.strip():
            self.select["value"] = data.strip()

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self.open = None
        if tag in ("select", "textarea") and self.select:
            self.select["value"] = self.select["value"] or ""
            self.select = None


def forms(client: Client, address: str) -> list[Form]:
    answer = client.get(address)
    assert answer.status_code == 200, (address, answer.status_code)
    reader = Forms()
    reader.feed(answer.content.decode())
    return reader.found


# People -----------------------------------------------------------------------------------------


def browser(who: str = "", code: str = "") -> Client:
    client = Client(SERVER_NAME="localhost")
    if who:
        answer = client.post("/sign-in/", {"username": who, "password": PASSWORD})
        assert answer.status_code == 302, who
    if code:
        assert client.post("/sign-in/code/", {"code": code})["Location"] == "/"
    return client


def choose_password(path: str) -> Client:
    client = browser()
    client.get(path)
    assert client.post("/welcome/", {"password": PASSWORD}).status_code == 302
    return client


def make_people() -> tuple[Client, dict[str, Any]]:
    """The first account by its one-time link, then everybody else by the administrator's page."""
    from sidewise.web.accounts.first_run import ensure_owner

    owner = choose_password(ensure_owner().path)
    accounts = {"owner": {"role": "clinician", "signs_as": "owner"}}
    for name, (role, code) in PEOPLE.items():
        page = owner.post("/people/add/", {"username": name, "role": role, "code": code})
        link = re.search(r"/welcome/[\w-]{30,}/", page.content.decode())
        assert link, name
        choose_password(link[0])
        accounts[name] = {"role": role, "signs_as": code or name}
    stopped = re.findall(r"/people/(\d+)/", owner.get("/people/").content.decode())
    owner.post(f"/people/{max(map(int, stopped))}/stop/")
    accounts["stopped"]["stopped"] = True
    return owner, accounts


def second_factor(who: str) -> dict[str, str]:
    """Set up a second factor; its secret and an unused recovery code stay here."""
    client = browser(who)
    page = client.get("/account/second-factor/").content.decode()
    (secret,) = set(re.findall(r"\b[A-Z2-7]{32}\b", page))
    page = client.post("/account/second-factor/", {"code": pyotp.TOTP(secret).now()})
    codes = re.findall(r"\b(?:[A-Z2-7]{4}-){5}[A-Z2-7]{4}\b", page.content.decode())
    return {"totp_secret": secret, "used_recovery_code": codes[0], "recovery_code": codes[1]}


# Patients ---------------------------------------------------------------------------------------


def new_patient(client: Client, code: str) -> str:
    answer = client.post("/patients/new/", {"code": code})
    return answer["Location"].removesuffix("examine/")


def examine(client: Client, patient: str, **about: Any) -> str:
    """Begin an examination; its address."""
    base = {"age": "58", "sex": "female", "dominant": "right", "complaint": ["left"],
            "setting": "primary", "onset": "gradual", "duration_weeks": "14",
            "pain_0_10": "6"}  # fmt: skip
    answer = client.post(f"{patient}examine/", {**base, **about})
    assert answer.status_code == 302
    return answer["Location"].removesuffix("stage/prepare/")


def finding(item: str, side: str, kind: str, mode: str | None = None, **value: Any) -> dict:
    return {"item": item, "side": side, "mode": mode, "status": "examined",
            "value": {"kind": kind, **value}}  # fmt: skip


def entry(name: str, deed: dict[str, Any], minute: int = 40) -> dict[str, Any]:
    return {"id": name, "at": WHEN.format(minute), "deed": deed}


def found(name: str, *about: Any, replaces: tuple[str, ...] = (), **value: Any) -> dict:
    deed = {"do": "found", "finding": finding(*about, **value), "replaces": list(replaces)}
    return entry(name, deed)


def stated(name: str, field_: str, value: Any, replaces: tuple[str, ...] = ()) -> dict:
    deed = {"do": "state", "field": field_, "value": value, "replaces": list(replaces)}
    return entry(name, deed)


def send(client: Client, examination: str, *entries: dict, door: str = "touch") -> Any:
    body = json.dumps({"entries": entries})
    answer = client.post(f"{examination}{door}/", body, content_type="application/json")
    assert answer.status_code == 200, answer.content
    return answer


def typed(client: Client, examination: str, text: str) -> None:
    """A typed line, shown back and confirmed."""
    page = client.post(f"{examination}line/", {"text": text}).content.decode()
    hidden = {
        name: html.unescape(re.search(rf'type="hidden" name="{name}" value="([^"]*)"', page)[1])
        for name in ("text", "seen", "touch")
    }
    assert client.post(f"{examination}line/", {**hidden, "record": "1"}).status_code == 302


def sign(client: Client, examination: str, impression: str, plan: str) -> None:
    form = {"impression": impression, "plan": plan, "sign": "1"}
    assert client.post(f"{examination}sign/", form).status_code == 302


def history_and_vitals(name: str) -> list[dict]:
    return [
        stated(f"{name}.1", "history.night_pain", "yes"),
        stated(f"{name}.2", "history.fever", "no"),
        stated(f"{name}.3", "history.cancer", "unsure"),
        stated(f"{name}.4", "vitals.temperature", "36.8"),
        stated(f"{name}.5", "vitals.heart_rate", "72"),
    ]


def make_signed(owner: Client, patient: str) -> str:
    examination = examine(owner, patient)
    send(owner, examination, *history_and_vitals("h1"))
    typed(owner, examination, "Neer L pos; Neer R neg; ER passive L 15; ER passive R 60")
    send(
        owner, examination,
        found("s.1", "hawkins_kennedy", "left", "result", result="positive", pain=True),
        found("s.2", "spurling", "left", "result", result="negative"),
        found("s.3", "deltoid_middle_power", "left", "mrc", grade="4", limited_by_pain=True),
        entry("s.4", {"do": "found", "replaces": [], "finding": {
            "item": "drop_arm", "side": "left", "mode": None, "status": "unable",
            "reason": "too sore to lift"}}),
    )  # fmt: skip
    sign(owner, examination, "Stiff and painful left shoulder.", "Explain\nSee again in six weeks")
    return examination


def make_amended(owner: Client, patient: str, again: bool) -> str:
    """Signed, opened again for a reason, changed; signed once more where `again`."""
    examination = examine(owner, patient, complaint=["right"], known_left=["tear", "surgery"])
    send(owner, examination, *history_and_vitals("h2"),
         found("a.1", "neer", "right", "result", result="positive", pain=True),
         found("a.2", "painful_arc", "right", "arc", **{"from": "70", "to": "110"}))  # fmt: skip
    sign(owner, examination, "Painful arc on the right.", "Exercises")
    reason = {"reason": "The tenderness was left out"}
    assert owner.post(f"{examination}amend/", reason).status_code == 302
    send(owner, examination,
         found("a.3", "groove_tenderness", "right", "tenderness", grade=2, familiar=True),
         found("a.4", "neer", "right", "result", result="equivocal",
               replaces=("a.1",)))  # fmt: skip
    if again:
        sign(owner, examination, "Painful arc, tender groove.", "Exercises\nSee again")
    return examination


def make_disputed(owner: Client, colleague: Client, patient: str) -> str:
    """Two tablets: a finding and an answer on which they differ, and an entry taken back."""
    examination = examine(owner, patient)
    send(owner, examination, *history_and_vitals("h3"),
         found("d.1", "hawkins_kennedy", "left", "result", result="positive", pain=True),
         found("d.2", "neer", "left", "result", result="positive", pain=True))  # fmt: skip
    send(colleague, examination,
         found("d.3", "hawkins_kennedy", "left", "result", result="negative"),
         stated("d.4", "history.fever", "yes"),
         found("d.5", "neer", "right", "result", result="negative"))  # fmt: skip
    send(owner, examination, entry("d.6", {"do": "undo", "entries": ["d.2"]}))
    return examination


def make_discarded(owner: Client, patient: str) -> str:
    examination = examine(owner, patient)
    send(owner, examination, found("x.1", "neer", "left", "result", result="negative"))
    reason = {"reason": "Begun for the wrong patient"}
    assert owner.post(f"{examination}discard/", reason).status_code == 302
    return examination


def late_entries(owner: Client, colleague: Client, examination: str) -> None:
    """After the signature: one that waits for a person, and one that a person has dropped."""
    for name in ("late.1", "late.2"):
        late = found(name, "neer", "left", "result", result="equivocal")
        send(colleague, examination, late, door="queue")
    page = owner.get(f"{examination}held/").content.decode()
    number = re.findall(r'name="held" value="(\d+)"', page)[-1]
    assert owner.post(f"{examination}held/", {"held": number, "how": "drop"}).status_code == 302


# The tablet's queue -----------------------------------------------------------------------------


class Tablet:
    """Submits forms of pages to the program's own scripts without network, and keeps what comes."""

    def __init__(self, client: Client, examination: str, scripts: Path) -> None:
        self.client, self.examination, self.scripts = client, examination, scripts
        self.kept: list[dict[str, Any]] = []

    def wave(self, name: str, touches: list[tuple[Form, dict[str, Any], dict | None]]) -> None:
        """These touches while the network is gone; then what the queue sends is stored."""
        told = [{"form": form.filled(data), "button": button} for form, data, button in touches]
        done = subprocess.run(
            ["node", str(HERE / "tablet.mjs"), str(self.scripts)],
            input=json.dumps(told), capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        for number, one in enumerate(json.loads(done.stdout)):
            assert one["address"] == f"{self.examination}queue/", one
            answer = send(self.client, self.examination, *one["body"]["entries"], door="queue")
            taken = answer.json()
            suffix = f" ({number + 1})" if number else ""
            self.kept.append({"name": name + suffix, "body": one["body"],
                              "stored": taken["stored"], "held": taken["held"]})  # fmt: skip

    def page(self, address: str) -> list[Form]:
        return [f for f in forms(self.client, self.examination + address) if f.action]

    def item(self, item: str) -> None:
        """Every button of the first side, then the numbers, those of the last side to stay."""
        mine = [form for form in self.page(f"item/{item}/") if form.places]
        first, last = mine[0].places, [f for f in mine if "status" not in f.filled({})["classes"]]
        touches = [
            (form, TYPED, button)
            for form in last
            if form.places == first
            for button in form.buttons[:BUTTONS_A_FORM]
            if button["name"]
        ]
        end = [f for f in last if f.places == last[-1].places]
        if end[0].places != first:
            touches += [(end[-1], TYPED, end[-1].buttons[-1])]
            touches += [(end[0], TYPED, end[0].buttons[0])] if len(end) > 1 else []
        self.wave(f"item {item}", touches)


def make_queue(owner: Client, examination: str) -> list[dict[str, Any]]:
    scripts = WORK / "scripts"
    shutil.copytree(ROOT / "src/sidewise/web/static/sidewise", scripts)
    (scripts / "package.json").write_text('{"type": "module"}')
    tablet = Tablet(owner, examination, scripts)
    for item in ITEMS:
        tablet.item(item)
    status = [
        f for f in tablet.page("item/hawkins_kennedy/") if "status" in f.filled({})["classes"]
    ]
    tablet.wave("each status with its reason", [(status[0], TYPED, b) for b in status[0].buttons])
    tablet.wave("not examined, no reason", [(status[1], {}, status[1].buttons[0])])
    one = [f for f in tablet.page("stage/feel/") if "one" in f.filled({})["classes"]]
    tablet.wave("one touch for both sides", [(one[0], {}, one[0].buttons[0])])
    rest = [f for f in tablet.page("rest/look/") if any(x["name"] == "findings" for x in f.fields)]
    tablet.wave("the rest of a stage", [(rest[0], {}, rest[0].buttons[0])])
    mark = [
        f for f in tablet.page("figure/?view=front&mark=mass") if "data-place-form" in f.attributes
    ]
    here = [{"item": "mass", "side": "left", "value": {
        "kind": "place", "what": "mass", "view": "front", "x": "0.712", "y": "0.264"}}]  # fmt: skip
    tablet.wave("a mark on the figure", [(mark[0], {"findings": json.dumps(here)}, None)])
    undo = [f for f in tablet.page("stage/look/") if any(x["name"] == "undo" for x in f.fields)]
    tablet.wave("undo", [(undo[0], {}, undo[0].buttons[0])])
    make_statements(tablet)
    line = [f for f in tablet.page("stage/move/") if "data-line" in f.attributes]
    text = "Neer R neg; ER passive R 60; supraspinatus power L 4"
    tablet.wave("a typed line", [(line[0], {"text": text}, None)])
    return tablet.kept


def make_statements(tablet: Tablet) -> None:
    asked = {f.fields[1]["value"]: f for f in tablet.page("history/") if len(f.fields) > 1}
    fever, injury = asked["history.fever"], asked["history.injury"]
    no, yes, unsure, not_asked = range(4)
    touches = [(fever, {}, fever.buttons[n]) for n in (not_asked, unsure, yes, no)]
    touches += [(injury, {}, injury.buttons[n]) for n in (no, not_asked, unsure, yes)]
    tablet.wave("each answer to a question", touches)
    vitals = next(f for f in tablet.page("history/") if f.action.endswith("vitals/"))
    numbers = {"temperature": "37.9", "heart_rate": "88", "respiratory_rate": "16",
               "systolic_pressure": "128", "diastolic_pressure": "76",
               "oxygen_saturation": "97"}  # fmt: skip
    tablet.wave("vital signs", [(vitals, numbers, vitals.buttons[-1])])
    about = next(f for f in tablet.page("about/") if f.action.endswith("about/"))
    words = {"age": "61", "sex": "male", "dominant": "both", "complaint": ["right", "left"],
             "setting": "orthopaedic", "onset": "sudden", "duration_weeks": "2.5",
             "pain_0_10": "7.5", "mechanism": "fell on the slipway", "known_right": ["tear"],
             "known_left": ["surgery", "replacement"]}  # fmt: skip
    tablet.wave("every field of the context", [(about, words, about.buttons[-1])])
    vitals = next(f for f in tablet.page("history/") if f.action.endswith("vitals/"))
    tablet.wave("a vital sign taken out", [(vitals, {"heart_rate": ""}, vitals.buttons[-1])])


# What is stored ---------------------------------------------------------------------------------


def write(path: str, content: str | bytes) -> None:
    place = HERE / path
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(content.encode() if isinstance(content, str) else content)


def as_json(data: Any) -> str:
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def command(*arguments: str, home: Path = WORK / "home") -> str:
    done = subprocess.run(
        [sys.executable, "-c", "from sidewise.cli import main; main()", *arguments],
        env={**os.environ, "SIDEWISE_HOME": str(home)}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout


def store_home() -> None:
    """The data folder as it lies there when nothing runs; the database in one packed file."""
    copy = WORK / "copy.sqlite3"
    with sqlite3.connect(WORK / "home/sidewise.sqlite3") as there, sqlite3.connect(copy) as here:
        there.backup(here)
        here.execute("PRAGMA journal_mode=DELETE")
    there.close(), here.close()
    write("home/sidewise.sqlite3.gz", gzip.compress(copy.read_bytes(), 9, mtime=0))
    for name in ("secret-key", "audit-anchors", "erased"):
        write(f"home/{name}", (WORK / "home" / name).read_bytes())


def packed(name: str, files: dict[str, bytes]) -> None:
    """A zip with fixed times, so that the same files make the same bytes."""
    with zipfile.ZipFile(HERE / name, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path, content in sorted(files.items()):
            info = zipfile.ZipInfo(path, (2026, 3, 2, 9, 40, 0))
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, content)


def store_examples() -> None:
    folder = ROOT / "examples"
    files = {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    packed("examples.zip", files)
    write("examples.json", as_json({n: essentials(n, c) for n, c in sorted(files.items())}))


def essentials(name: str, content: bytes) -> dict[str, Any]:
    said: dict[str, Any] = {"sha256": hashlib.sha256(content).hexdigest()}
    if name.endswith(".json"):
        document = json.loads(content)
        said |= record_essentials(document)
    else:
        said["rows"] = len(content.decode("utf-8-sig").strip().splitlines()) - 1
    return said


def record_essentials(document: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": document["id"],
        "findings": len(document.get("findings", ())),
        "revision": document.get("revision", 1),
        "signed": document.get("signed"),
        "earlier": len(document.get("earlier", ())),
    }


def store_tables(documents: list[str]) -> None:
    from sidewise.record import parse_record
    from sidewise.record.table import contexts_frame, findings_frame

    records = [parse_record(text) for text in documents]
    for name, frame in (
        ("findings", findings_frame(records)),
        ("contexts", contexts_frame(records)),
    ):
        for kind in ("csv", "parquet"):
            (HERE / "tables" / kind).mkdir(parents=True, exist_ok=True)
        frame.to_csv(HERE / f"tables/csv/{name}.csv", index=False)
        frame.to_parquet(HERE / f"tables/parquet/{name}.parquet", index=False)


def main() -> None:
    call_command("migrate", verbosity=0, interactive=False)
    owner, accounts = make_people()
    accounts["colleague"] |= second_factor("colleague")
    colleague = browser("colleague", accounts["colleague"]["used_recovery_code"])
    heron, plover = new_patient(owner, "HERON-1"), new_patient(owner, "PLOVER-2")
    tern, dunlin = new_patient(owner, "TERN-3"), new_patient(owner, "DUNLIN-4")
    knot = new_patient(owner, "KNOT-5")
    share(plover, "colleague", may_write=True)
    share(plover, "reader")
    share(heron, "colleague", may_write=True)
    examinations = {
        "signed": make_signed(owner, heron),
        "amended": make_amended(owner, heron, again=True),
        "disputed": make_disputed(owner, colleague, plover),
        "amended-open": make_amended(owner, dunlin, again=False),
        "discarded": make_discarded(owner, dunlin),
        "from-queue": examine(owner, tern),
    }
    erased = examine(owner, knot)
    send(owner, erased, found("k.1", "neer", "left", "result", result="negative"))
    late_entries(owner, colleague, examinations["signed"])
    queue = make_queue(owner, examinations["from-queue"])
    hold = {"kind": "patient", "name": "PLOVER-2", "deed": "hold", "reason": "A claim is open"}
    assert owner.post("/keeping/", hold).status_code == 200
    key = owner.post("/queue-key/").json()
    assert len(base64.b64decode(key["key"])) == 32
    store_all(owner, accounts, examinations, queue, erased, knot, key["key"])


def share(patient: str, who: str, may_write: bool = False) -> None:
    from sidewise.web.accounts.models import User
    from sidewise.web.patients.models import Patient, Share

    whose = Patient.objects.get(key=patient.strip("/").split("/")[-1])
    Share.objects.create(patient=whose, user=User.objects.get(username=who), may_write=may_write)


def store_all(owner: Client, accounts: Any, examinations: dict[str, str], queue: Any,
              erased: str, knot: str, queue_key: str) -> None:  # fmt: skip
    files = {name: owner.get(f"{at}file/").content.decode() for name, at in examinations.items()}
    for name, text in files.items():
        write(f"records/{name}.json", text)
    patient = owner.get(f"{examinations['signed']}note/").content.decode()
    (heron,) = set(re.findall(r'href="(/patients/[0-9a-f-]{36}/)"', patient))
    write("records/patient-export.json", owner.get(f"{heron}export/").content)
    write("queue.json", as_json(queue))
    (HERE / "backup").unlink(missing_ok=True)
    command("backup", str(HERE / "backup"))
    (HERE / "backup").chmod(0o644)
    gone = {"kind": "patient", "name": "KNOT-5", "again": "KNOT-5", "deed": "erase"}
    assert owner.post("/keeping/", gone).status_code == 200
    assert owner.get(knot).status_code == 404
    store_home()
    store_examples()
    store_tables(list(files.values()))
    verified = command("verify")
    said = {
        "password": PASSWORD,
        "accounts": accounts,
        "owners_queue_key": queue_key,
        "audit": re.search(r"last seal: (\d+:[0-9a-f]{64})", verified)[1],
        "anchors": len((WORK / "home/audit-anchors").read_text().splitlines()),
        "records": int(re.search(r"records: (\d+)", verified)[1]),
        "erased_after_the_backup": {"patient": knot, "examination": erased},
        "examinations": {
            name: {"address": at, **record_essentials(json.loads(files[name]))}
            for name, at in examinations.items()
        },
    }
    write("home.json", as_json(said))
    print(verified)


if __name__ == "__main__":
    main()
