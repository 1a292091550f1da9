"""Every door of the web app that takes something in, given whatever Hypothesis can think of.

A door answers below 500, in bounded size, stores nothing it refused, and what it stored folds.
The doors are counted from the address resolver, so a new one cannot be left out: every view that
answers a POST is fuzzed with forms and with JSON, every view with forms of its own field names.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.urls import reverse
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from sidewise.web.examinations.models import LedgerEntry
from sidewise.web.examinations.store import folded
from tests.safe.conftest import Clinic
from tests.safe.stores import ROOT
from tests.safe.test_access import arguments, table, views

pytestmark = pytest.mark.django_db
WEB = ROOT / "src" / "sidewise" / "web"
OURS = settings(
    max_examples=12,
    suppress_health_check=list(HealthCheck),
    deadline=None,
    derandomize=True,
    # Found is enough: making a failure small would take minutes of requests.
    phases=[Phase.explicit, Phase.generate],
    report_multiple_bugs=False,
)
MANY = settings(OURS, max_examples=120)


ASKED = r"(?:POST|GET|form)(?:\.get\(|\[)\"([\w.]+)\""


def field_names() -> list[str]:
    """Every name that a template or a form of ours uses, so that fuzzing gets past the door."""
    names: set[str] = set()
    for path in WEB.rglob("*.html"):
        names |= set(re.findall(r"\bname=\"([\w.]+)\"", path.read_text()))
    for path in WEB.rglob("*.py"):
        names |= set(re.findall(ASKED, path.read_text()))
        names |= set(re.findall(r"^    (\w+) = forms\.", path.read_text(), re.MULTILINE))
    return sorted(names)


NASTY = st.sampled_from(
    ["", " ", "x",
     "\x00", "0", "-1", "1e309", "NaN", "9" * 400, "null", "[]", "{}", "a" * 5000, "\ud83d",
     "../../etc/passwd", "<script>", "' OR 1=1 --", "%00", "٣", "hawkins_kennedy left", ";;;",
     "hawkins_kennedy", "left", "positive", "{\"kind\": \"result\"}"]
)  # fmt: skip
TEXT = st.one_of(NASTY, st.text(max_size=60))
NUMBERS = st.one_of(st.integers(), st.floats(allow_nan=False, allow_infinity=False))
JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), NUMBERS, TEXT),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.one_of(st.sampled_from(field_names()), TEXT), inner, max_size=4),
    ),
    max_leaves=12,
)


def doors() -> list[tuple[str, tuple[str, ...]]]:
    """Every view; whether it answers a POST is found by asking."""
    return sorted({(name, tuple(names)) for name, names in views()})


def answering(method: str) -> int:
    """How many views answer this method, by the table that `test_access.py` holds to the truth."""
    return sum(asked == method for _, asked in table())


def clean(value: Any) -> Any:
    """What can be sent: lone surrogates cannot be encoded by any browser."""
    return json.loads(
        json.dumps(value).encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    )


def text(value: str) -> str:
    return value.encode("utf-8", "replace").decode()


def fine(response: Any, about: object) -> None:
    """No crash, and nothing boundless."""
    assert response.status_code < 500, about
    assert len(response.content) < 3_000_000, about


@dataclass(repr=False)
class Doors:
    """A signed-in client that may most, a student for the rest, and the address of each door."""

    client: Any
    student: Any
    urls: dict[str, str]

    def __repr__(self) -> str:
        return f"{len(self.urls)} doors"


@pytest.fixture
def everywhere(clinic: Clinic) -> Doors:
    """The owner with every role of work, and every door."""
    clinic.owner.also = ["teacher", "administrator"]
    clinic.owner.save()
    urls = {name: reverse(name, kwargs=arguments(list(n), clinic)) for name, n in doors()}
    return Doors(clinic.client("owner"), clinic.client("student"), urls)


# Doors that lead to the sign-in by themselves.
OUT = {"sign-out", "sign-in-code", "welcome", "welcome-password"}


def swept(everywhere: Doors, send: Any) -> int:
    """Send to each door, take back what it did; how many were open (not 405, not signed out)."""
    cookies, count = everywhere.client.cookies.copy(), 0
    for name, url in everywhere.urls.items():
        with transaction.atomic():
            response = send(everywhere.client, url)
            fine(response, (name, url))
            if response.status_code == 404:
                response = send(everywhere.student, url)
                fine(response, (name, url))
            away = response.status_code == 302 and response["Location"].startswith("/sign-in/")
            assert response.status_code != 401, name
            assert not away or name in OUT, name
            count += response.status_code != 405
            transaction.set_rollback(True)
        everywhere.client.cookies = cookies.copy()
    return count


POSTS = answering("POST")
FORMS = st.dictionaries(st.sampled_from(field_names()), TEXT.map(text), max_size=8)


@pytest.mark.slow
@OURS
@given(form=FORMS)
def test_every_door_takes_any_form(everywhere: Doors, form: Any) -> None:
    assert swept(everywhere, lambda client, url: client.post(url, form)) >= POSTS


@pytest.mark.slow
@OURS
@given(body=JSON.map(clean))
def test_every_door_takes_any_json(everywhere: Doors, body: Any) -> None:
    def send(client: Any, url: str) -> Any:
        return client.post(url, json.dumps(body), content_type="application/json")

    assert swept(everywhere, send) >= POSTS


@pytest.mark.slow
@OURS
@given(query=FORMS)
def test_every_view_takes_any_query(everywhere: Doors, query: Any) -> None:
    assert swept(everywhere, lambda client, url: client.get(url, query)) >= answering("GET")


@pytest.mark.slow
@settings(OURS, max_examples=6)
@given(data=st.binary(max_size=300), name=TEXT.map(text), kind=st.sampled_from(["text/plain", "x"]))
def test_every_door_takes_any_file(everywhere: Doors, data: bytes, name: str, kind: str) -> None:
    def send(client: Any, url: str) -> Any:
        return client.post(url, {"file": SimpleUploadedFile(name or "f", data, kind)})

    assert swept(everywhere, send) >= POSTS


@pytest.mark.slow
@settings(OURS, max_examples=6)
@given(
    data=st.binary(max_size=300),
    kind=st.sampled_from(
        [
            "application/json",
            "multipart/form-data",
            "multipart/form-data; boundary=x",
            "text/xml",
            "é",
        ]
    ),
)
def test_every_door_takes_any_bytes(
    everywhere: Doors, data: bytes, kind: str
) -> None:  # fmt: skip
    assert swept(everywhere, lambda c, url: c.generic("POST", url, data, kind)) >= POSTS


ITEMS = st.sampled_from(
    ["hawkins_kennedy", "external_rotation_at_side", "painful_arc", "no_such_item", ""]
)
FINDING = st.fixed_dictionaries(
    {},
    optional={
        "item": st.one_of(ITEMS, TEXT), "side": st.sampled_from(["left", "right", "both", ""]),
        "mode": st.one_of(st.none(), st.sampled_from(["active", "passive", "x"])),
        "status": st.sampled_from(["examined", "unable", "not examined", "x"]),
        "value": JSON, "reason": TEXT, "repeat": NUMBERS, "note": TEXT, "examiner": TEXT,
        "together": st.booleans(),
    },
)  # fmt: skip
GOOD = st.builds(
    lambda side, result: {
        "item": "hawkins_kennedy", "side": side, "value": {"kind": "result", "result": result}
    },
    st.sampled_from(["left", "right"]), st.sampled_from(["positive", "negative", "equivocal"]),
)  # fmt: skip
DEED = st.one_of(
    st.builds(lambda f, r: {"do": "found", "finding": f, "replaces": r},
              st.one_of(GOOD, GOOD, FINDING), st.lists(TEXT, max_size=3)),
    st.builds(lambda e: {"do": "undo", "entries": e}, st.lists(TEXT, max_size=3)),
    st.sampled_from([{"do": "sign"}, {"do": "open"}, {"do": "amend", "reason": "because"}]),
    JSON,
)  # fmt: skip
ENTRY = st.fixed_dictionaries(
    {"id": st.text(st.characters(min_codepoint=33, max_codepoint=126), min_size=1, max_size=20)},
    optional={"at": st.one_of(st.just("2026-03-02T09:40:00+00:00"), TEXT), "deed": DEED,
              "by": TEXT},
)  # fmt: skip


@MANY
@given(entries=st.lists(ENTRY, min_size=1, max_size=6).map(clean))
def test_whatever_is_queued_is_stored_or_held_and_the_record_folds(
    clinic: Clinic, entries: list[dict[str, Any]]
) -> None:
    with transaction.atomic():
        url = reverse("queue", args=[clinic.examination.pk])
        body = json.dumps({"entries": entries})
        answer = clinic.client("owner").post(url, body, content_type="application/json")
        fine(answer, entries)
        if answer.status_code == 200:
            said = answer.json()
            assert sorted(said["stored"] + said["held"]) == sorted(e["id"] for e in entries)
            stored = set(LedgerEntry.objects.values_list("entry_id", flat=True))
            assert set(said["stored"]) <= stored
        folded(clinic.examination)
        transaction.set_rollback(True)


def test_the_names_that_the_fuzzing_knows_are_many() -> None:
    assert len(field_names()) >= 40
    assert len(doors()) == len({name for name, _ in table()}) >= 40
    page = (ROOT / "docs" / "security.md").read_text().replace("\n", " ")
    assert f"all {len(doors())} views" in page
    assert f"{POSTS} of which take something by POST" in page
