"""What version 0.1.0 has stored opens here, and says what it said.

The data and how they were made: tests/data/version_0_1_0/README.md. The expected values are those
that 0.1.0 itself gave, stored beside the data; nothing here is to be adapted to a later version.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pyotp
import pytest

from tests.old_data.conftest import PASSWORD, SAID, STORED, signed_in, stored
from tests.old_data.doors import (
    Browser,
    Home,
    Packed,
    lost,
    on_files,
    read_record,
    record_json,
    table_documents,
)

EXAMINATIONS: dict[str, Any] = SAID["examinations"]
PEOPLE: dict[str, Any] = SAID["accounts"]
WORKING = [name for name, about in PEOPLE.items() if not about.get("stopped")]
EXAMPLES: dict[str, Any] = stored("examples.json")
RECORDS = [name for name in EXAMPLES if name.endswith(".json")]
BROKEN = [name for name in EXAMPLES if "/broken/" in name]
PACKED = Packed(STORED / "examples.zip")
QUEUE: list[dict[str, Any]] = stored("queue.json")
KINDS = {
    "angle", "arc", "choice", "count", "force", "length", "level", "mrc", "normal_by_eye", "place",
    "pulse", "reflex", "result", "seconds", "sensation", "sign", "tenderness", "vital",
}  # fmt: skip
BACKUP = STORED / "backup"
BEGUN = {"age": 58, "sex": "female", "dominant": "right", "complaint": ["left"],
         "setting": "primary", "onset": "gradual", "duration_weeks": 14,
         "pain_0_10": 6}  # fmt: skip


def address(name: str) -> str:
    return str(EXAMINATIONS[name]["address"])


def record_file(browser: Browser, name: str) -> Any:
    answer = browser.get(f"{address(name)}file/")
    assert answer.status == 200
    return answer.json


def export_of(browser: Browser, name: str) -> Any:
    """The whole record of the patient of an examination."""
    page = browser.get(f"{address(name)}note/").text
    (patient,) = set(re.findall(r"/patients/[0-9a-f-]{36}/", page))
    return browser.get(f"{patient}export/").json


def exported(browser: Browser, name: str) -> Any:
    """One examination in the export of its patient."""
    number = EXAMINATIONS[name]["id"]
    return next(e for e in export_of(browser, name)["examinations"] if e["record"]["id"] == number)


# The comparison itself --------------------------------------------------------------------------


def test_a_field_that_was_added_is_no_loss() -> None:
    assert lost({"a": [{"b": 1}], "e": []}, {"a": [{"b": 1.0, "c": 2}], "d": 3}) == []


def test_the_same_time_may_be_written_in_two_ways() -> None:
    assert lost("2026-03-05T18:20:00+00:00", "2026-03-05T18:20:00Z") == []
    assert len(lost("2026-03-05T18:20:00+00:00", "2026-03-05T18:20:00+01:00")) == 1


@pytest.mark.parametrize(
    "new",
    [{}, {"a": []}, {"a": [{}]}, {"a": [{"b": 2}]}, {"a": [{"b": True}]}, {"a": [{"b": 1}, 2]}],
)
def test_what_is_gone_or_different_is_named(new: Any) -> None:
    assert len(lost({"a": [{"b": 1}]}, new)) == 1


# The home ---------------------------------------------------------------------------------------


def test_the_old_home_is_whole_and_agrees_with_the_seal_noted_then(home: Home) -> None:
    number, _, seal = SAID["audit"].partition(":")
    noted, other = (f"{number}:{text}" for text in (seal, seal[::-1]))
    done, told = home.commands(("verify", "--seal", noted), ("verify", "--seal", other))
    assert (done.status, told.status) == (0, 2), done.wrong
    assert "whole" in done.out
    # The seals noted outside, and the one given by hand.
    assert {SAID["records"], SAID["anchors"] + 1} <= numbers_in(done.out)


def numbers_in(text: str) -> set[int]:
    return {int(number) for number in re.findall(r"\b\d+\b", text)}


def test_there_were_seven_accounts_and_six_examinations() -> None:
    assert (len(PEOPLE), len(EXAMINATIONS)) == (7, 6)
    assert {about["role"] for about in PEOPLE.values()} == {
        "clinician", "teacher", "student", "administrator",
    }  # fmt: skip


@pytest.mark.parametrize("who", WORKING)
def test_everybody_signs_in_with_the_old_password(port: int, who: str) -> None:
    browser, secret = Browser(port), PEOPLE[who].get("totp_secret")
    browser.sign_in(who, PASSWORD, pyotp.TOTP(secret).now() if secret else "")
    assert browser.is_in


@pytest.mark.parametrize(
    ("who", "password"), [("stopped", PASSWORD), ("owner", "another"), ("colleague", PASSWORD)]
)
def test_a_stopped_account_a_wrong_password_and_a_missing_factor_do_not(
    port: int, who: str, password: str
) -> None:
    browser = Browser(port)
    browser.sign_in(who, password)
    assert not browser.is_in


def test_an_old_recovery_code_works_once(spare_port: int) -> None:
    about, found = PEOPLE["colleague"], []
    for code in (about["used_recovery_code"], about["recovery_code"], about["recovery_code"]):
        browser = Browser(spare_port)
        browser.sign_in("colleague", PASSWORD, code)
        found.append(browser.is_in)
    assert found == [False, True, False]


def test_what_waits_encrypted_on_a_tablet_can_be_read_again(owner: Browser) -> None:
    assert owner.send("/queue-key/", {}).json["key"] == SAID["owners_queue_key"]


def test_a_share_lets_in_whom_it_let_in(port: int) -> None:
    reader, place = signed_in(port, "reader"), address("disputed")
    assert reader.get(f"{place}file/").status == 200
    assert reader.send(f"{place}touch/", QUEUE[0]["body"]).status == 403
    assert reader.get(f"{address('from-queue')}file/").status == 404


def test_a_colleague_who_might_write_may_still(spare_port: int) -> None:
    colleague = Browser(spare_port)
    colleague.sign_in("colleague", PASSWORD, pyotp.TOTP(PEOPLE["colleague"]["totp_secret"]).now())
    sent = colleague.send(f"{address('amended-open')}queue/", QUEUE[0]["body"])
    assert sent.status == 404
    sent = colleague.send(f"{address('disputed')}queue/", QUEUE[0]["body"])
    assert sent.json["stored"] == QUEUE[0]["stored"]


@pytest.mark.parametrize("who", ["teacher", "student-7", "administrator"])
def test_no_patient_is_shown_to_another_role(port: int, who: str) -> None:
    assert signed_in(port, who).get(f"{address('disputed')}file/").status == 404


# The records in it ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", EXAMINATIONS)
def test_every_record_of_the_home_says_what_it_said(owner: Browser, name: str) -> None:
    assert lost(stored(f"records/{name}.json"), record_file(owner, name)) == []


@pytest.mark.parametrize("name", EXAMINATIONS)
def test_every_page_of_every_record_opens(owner: Browser, name: str) -> None:
    pages = ("stage/prepare/", "stage/special-tests/", "item/neer/", "history/", "about/",
             "figure/", "meaning/", "note/", "held/")  # fmt: skip
    opened = [owner.get(address(name) + page).status for page in pages]
    assert opened == [200] * 9


@pytest.mark.parametrize("name", ["amended", "amended-open"])
def test_an_amended_record_shows_both_revisions(owner: Browser, name: str) -> None:
    record = record_file(owner, name)
    assert (record["revision"], [old["number"] for old in record["earlier"]]) == (2, [1])
    now, before = record["findings"], record["earlier"][0]["findings"]
    assert [result_of(findings) for findings in (before, now)] == ["positive", "equivocal"]
    place = f"{address(name)}revisions/1/"
    assert place in owner.get(f"{address(name)}note/").text
    earlier = owner.get(place)
    assert "The tenderness was left out" in earlier.text
    assert "Painful arc on the right." in earlier.text


def result_of(findings: list[Any], item: str = "neer") -> str:
    return str(next(f["value"]["result"] for f in findings if f["item"] == item))


def test_signatures_are_whose_they_were(owner: Browser) -> None:
    signed = {name: record_file(owner, name).get("signed") for name in EXAMINATIONS}
    assert signed == {name: about["signed"] for name, about in EXAMINATIONS.items()}
    assert sum(one is not None for one in signed.values()) == 2


@pytest.mark.parametrize("name", ["signed", "amended", "discarded"])
def test_a_closed_record_stays_closed(owner: Browser, name: str) -> None:
    assert owner.send(f"{address(name)}touch/", QUEUE[0]["body"]).status == 422


def test_a_contradiction_is_still_shown_and_still_stops_the_signature(owner: Browser) -> None:
    place = address("disputed")
    page = owner.get(f"{place}item/hawkins_kennedy/").text
    assert 'class="cell conflict"' in page
    assert "E2" in page
    assert owner.form(f"{place}sign/", {"sign": "1"}).status == 422
    assert record_file(owner, "disputed").get("signed") is None


def test_a_disputed_answer_is_still_shown_and_still_warns(owner: Browser) -> None:
    page = owner.get(f"{address('disputed')}history/").text
    question = re.search(r'<form[^>]*id="q-fever".*?</form>', page, re.S)
    assert question
    assert "owner" in question[0]
    assert "E2" in question[0]
    assert record_file(owner, "disputed")["context"]["history"]["fever"] == "yes"


def test_a_dispute_of_then_can_be_settled_now(spare: Home, spare_port: int) -> None:
    """Not before both the finding and the answer are settled can the record be signed."""
    place, owner, tried = address("disputed"), signed_in(spare_port), []
    found = {"item": "hawkins_kennedy", "side": "left", "mode": None, "status": "examined",
             "value": {"kind": "result", "result": "positive", "pain": True}}  # fmt: skip
    kept = {"do": "found", "finding": found, "replaces": ["d.1", "d.3"]}
    answer = {"do": "state", "field": "history.fever", "value": "yes", "replaces": ["h3.2", "d.4"]}
    for name, deed in (("k.1", kept), ("k.2", answer)):
        tried.append(owner.form(f"{place}sign/", {"sign": "1"}).status)
        entry = {"id": name, "at": "2026-12-01T09:00:00.000Z", "deed": deed}
        assert owner.send(f"{place}touch/", {"entries": [entry]}).status == 200
    tried.append(owner.form(f"{place}sign/", {"sign": "1"}).status)
    assert tried == [422, 422, 302]
    assert record_file(owner, "disputed")["signed"]["by"] == "owner"


def test_what_was_taken_back_is_kept_and_not_said(owner: Browser) -> None:
    whole = exported(owner, "disputed")
    assert {"d.2", "d.6"} <= {entry["id"] for entry in whole["entries"]}
    said = {(f["item"], f["side"]) for f in whole["record"]["findings"]}
    assert ("neer", "left") not in said


def test_late_entries_still_wait_or_are_settled(owner: Browser) -> None:
    held = exported(owner, "signed")["held"]
    assert [(one["entry"]["id"], one["settled"]) for one in held] == [
        ("late.1", ""), ("late.2", "drop"),
    ]  # fmt: skip
    page = owner.get(f"{address('signed')}held/").text
    assert len(re.findall(r'name="held" value="\d+"', page)) == 1
    line = next(c for c in QUEUE if c["held"])["body"]["entries"][0]["deed"]["text"]
    assert line in owner.get(f"{address('from-queue')}held/").text


def test_the_export_of_a_patient_says_what_it_said(owner: Browser) -> None:
    old, new = stored("records/patient-export.json"), export_of(owner, "signed")
    looked, looks = old.pop("looked_at"), new.pop("looked_at")
    assert lost(old, new) == []
    assert len(looked) > 15
    assert all(line in looks for line in looked)


def test_a_legal_hold_still_holds(spare_port: int) -> None:
    owner, codes = signed_in(spare_port), ("PLOVER-2", "TERN-3")
    assert "A claim is open" in owner.get("/keeping/").text
    asked = [{"kind": "patient", "name": c, "again": c, "deed": "erase"} for c in codes]
    assert [owner.form("/keeping/", one).status for one in asked] == [422, 200]
    kept = [owner.get(f"{address(name)}file/").status for name in ("disputed", "from-queue")]
    assert kept == [200, 404]


def test_who_was_erased_is_gone(owner: Browser) -> None:
    gone = SAID["erased_after_the_backup"]
    assert owner.get(gone["patient"]).status == 404
    assert owner.get(f"{gone['examination']}file/").status == 404


# The backup -------------------------------------------------------------------------------------


def test_the_old_backup_is_whole_and_a_changed_one_is_not(empty: Home, tmp_path: Path) -> None:
    damaged, data = tmp_path / "damaged", bytearray(BACKUP.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 40] = bytes(40)
    damaged.write_bytes(data)
    files = (str(BACKUP), str(damaged))
    done = empty.commands(*(("verify", "--backup", file) for file in files))
    assert [one.status for one in done] == [0, 2]


def test_the_old_backup_is_restored_on_a_new_machine(empty: Home) -> None:
    restored, verified = empty.commands(("restore", str(BACKUP)), ("verify",))
    assert (restored.status, verified.status) == (0, 0), restored.wrong + verified.wrong
    assert SAID["records"] + 1 in numbers_in(verified.out)
    with empty.served() as port:
        owner = signed_in(port)
        for name in EXAMINATIONS:
            assert lost(stored(f"records/{name}.json"), record_file(owner, name)) == [], name
        assert owner.get(SAID["erased_after_the_backup"]["patient"]).status == 200
        assert owner.send("/queue-key/", {}).json["key"] == SAID["owners_queue_key"]


def test_a_restore_over_the_old_home_erases_again_who_was_erased(home: Home) -> None:
    """Afterwards everything of then, in the form of now, fits into a backup of now."""
    restore, again = ("restore", str(BACKUP)), str(home.folder / "again")
    done = home.commands(restore, (*restore, "--replace"), ("verify",), ("backup", again),
                         ("verify", "--backup", again))  # fmt: skip
    assert [one.status for one in done] == [2, 0, 0, 0, 0], [one.wrong for one in done]
    assert SAID["records"] in numbers_in(done[2].out)


# What a tablet sends ----------------------------------------------------------------------------


def entries_sent() -> list[dict[str, Any]]:
    return [entry for case in QUEUE for entry in case["body"]["entries"]]


def test_the_queue_holds_every_kind_of_entry() -> None:
    deeds = [entry["deed"] for entry in entries_sent()]
    findings = [deed["finding"] for deed in deeds if deed["do"] == "found"]
    assert len(QUEUE) > 30
    assert {deed["do"] for deed in deeds} == {"found", "state", "undo", "line"}
    assert {f["value"]["kind"] for f in findings if "value" in f} == KINDS
    statuses = {f.get("status", "examined") for f in findings}
    assert statuses == {"examined", "not examined", "unable", "withheld"}
    fields = {deed["field"].partition(".")[0] for deed in deeds if deed["do"] == "state"}
    assert fields == {"age", "sex", "dominant", "complaint", "setting", "onset", "duration_weeks",
                      "pain_0_10", "mechanism", "known", "history", "vitals"}  # fmt: skip


@pytest.fixture(scope="module")
def sent(owner: Browser) -> tuple[str, dict[str, Any]]:
    """Everything sent in its order to a new examination: its address, and each answer by name."""
    place = owner.new_examination("OYSTERCATCHER-9", **BEGUN)
    return place, {case["name"]: owner.send(f"{place}queue/", case["body"]) for case in QUEUE}


@pytest.mark.parametrize("case", QUEUE, ids=lambda case: case["name"])
def test_what_the_old_scripts_send_is_taken_in(
    sent: tuple[str, dict[str, Any]], case: dict[str, Any]
) -> None:
    answer = sent[1][case["name"]]
    assert answer.status == 200, answer.text
    assert answer.json["stored"] == case["stored"]
    assert answer.json["held"] == case["held"]
    assert len(case["stored"]) + len(case["held"]) == len(case["body"]["entries"])


def test_what_was_sent_stands_in_the_record(
    sent: tuple[str, dict[str, Any]], owner: Browser
) -> None:
    old, new = stored("records/from-queue.json"), owner.get(f"{sent[0]}file/").json
    for mine in ("id", "patient", "examined_at"):
        del (old if mine in old else old["context"])[mine]
    assert len(old["findings"]) > 70
    assert lost(old, new) == []


def test_a_queue_sent_twice_counts_once(sent: tuple[str, dict[str, Any]], owner: Browser) -> None:
    before = owner.get(f"{sent[0]}file/").json
    again = owner.send(f"{sent[0]}queue/", {"entries": entries_sent()}).json
    assert again["stored"] == [name for case in QUEUE for name in case["stored"]]
    assert owner.get(f"{sent[0]}file/").json == before


def test_the_typed_line_waits_and_is_read_when_a_person_asks(
    sent: tuple[str, dict[str, Any]], owner: Browser
) -> None:
    (case,) = (case for case in QUEUE if case["held"])
    text = case["body"]["entries"][0]["deed"]["text"]
    assert text in owner.get(f"{sent[0]}held/").text
    assert owner.form(f"{sent[0]}line/", {"text": text}).status == 200


def test_the_chain_is_whole_after_all_this(sent: tuple[str, dict[str, Any]], opened: Home) -> None:
    done = opened.command("verify", "--seal", SAID["audit"])
    assert done.status == 0, done.wrong
    assert SAID["records"] + 1 in numbers_in(done.out)


# Files ------------------------------------------------------------------------------------------


def test_the_stored_examples_are_those_that_were_stored() -> None:
    found = {name: hashlib.sha256(data).hexdigest() for name, data in PACKED.files.items()}
    assert found == {name: about["sha256"] for name, about in EXAMPLES.items()}
    assert (len(RECORDS), len(BROKEN), len(EXAMPLES)) == (17, 6, 28)


def assert_reads_and_writes(path: Path, about: dict[str, Any]) -> None:
    """The record in a file says what it said, and says it again when it is written and read."""
    document, record = json.loads(path.read_text()), read_record(path)
    written = record_json(record)
    assert lost(document, json.loads(written)) == []
    assert record.id == about["id"]
    assert len(record.findings) == about["findings"]
    assert (record.revision, len(record.earlier)) == (about["revision"], about["earlier"])
    assert (record.signed is not None) == (about["signed"] is not None)
    path.with_suffix(".again.json").write_text(written)
    assert read_record(path.with_suffix(".again.json")) == record


@pytest.mark.parametrize("name", RECORDS)
def test_every_old_example_reads_and_is_written_equal(tmp_path: Path, name: str) -> None:
    path = tmp_path / Path(name).name
    path.write_bytes(PACKED.files[name])
    assert_reads_and_writes(path, EXAMPLES[name])


@pytest.mark.parametrize("name", EXAMINATIONS)
def test_every_exported_record_reads_and_is_written_equal(tmp_path: Path, name: str) -> None:
    path = tmp_path / f"{name}.json"
    shutil.copy(STORED / "records" / path.name, path)
    assert_reads_and_writes(path, EXAMINATIONS[name])


@pytest.fixture(scope="module")
def examples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The examples in a folder of their own."""
    return PACKED.unpacked(tmp_path_factory.mktemp("examples"))


def test_old_visits_are_followed(examples: Path) -> None:
    visits = [name for name in RECORDS if "heron" in name]
    assert len(visits) == 3
    assert on_files(examples, "follow", *visits).status == 0
    assert on_files(examples, "check", "full-tear.json").status in (0, 1)


@pytest.mark.parametrize(
    ("name", "status"), [("marks", 0), ("incomplete_marks", 1), ("unlinked_marks", 0)]
)
def test_old_marks_are_read_whole(examples: Path, name: str, status: int) -> None:
    path = f"marks/teaching_week_{name}.csv"
    done = on_files(examples, "check", path)
    assert done.status == status, done.wrong
    assert f"{EXAMPLES[path]['rows']:,} rows" in done.out


def test_old_judgements_set_a_pass_mark(examples: Path) -> None:
    judged = ("--angoff", "marks/teaching_week_judges.csv", "--draws", "0", "--json")
    done = on_files(examples, "marks", "marks/teaching_week_marks.csv", *judged)
    assert done.status == 0, done.wrong
    said = json.loads(done.out)
    assert (said["rows"], said["students"], said["stations"]) == (3840, 48, 8)


def test_old_findings_of_several_hands_are_read_whole(examples: Path) -> None:
    path = "marks/teaching_week_findings.csv"
    done = on_files(examples, "agree", path, "--json")
    assert done.status == 0, done.wrong
    said = json.loads(done.out)
    assert said["findings"] == EXAMPLES[path]["rows"]


@pytest.mark.parametrize("name", BROKEN)
def test_what_was_refused_is_refused(examples: Path, name: str) -> None:
    done = on_files(examples, "check", name)
    assert done.status == 2
    assert "Traceback" not in done.wrong


@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_the_old_long_tables_hold_what_the_records_hold(kind: str) -> None:
    found = table_documents(STORED / "tables", kind)
    assert len(found) == len(EXAMINATIONS)
    for name, about in EXAMINATIONS.items():
        old = stored(f"records/{name}.json")
        kept = {part: old[part] for part in ("format", "id", "region", "context", "findings")}
        for value in (f["value"] for f in kept["findings"] if "choice" in f.get("value", {})):
            # A cell cannot tell one choice from a list of one.
            value["choice"] = value["choice"][0] if len(value["choice"]) == 1 else value["choice"]
        assert lost(kept, found[about["id"]]) == [], name


def test_the_old_tables_are_weighed_like_the_documents(tmp_path: Path) -> None:
    """CSV, Parquet and one file for each record: three ways to say the same."""
    (tmp_path / "documents").mkdir()
    for name in EXAMINATIONS:
        shutil.copy(STORED / "records" / f"{name}.json", tmp_path / "documents")
    answers = []
    for source in (tmp_path / "documents", *(STORED / "tables" / k for k in ("csv", "parquet"))):
        out = tmp_path / f"{source.name}-weighed"
        done = on_files(tmp_path, "batch", str(source), str(out))
        assert done.status == 0, done.out + done.wrong
        parts = pd.concat([pd.read_parquet(part) for part in sorted(out.glob("part-*.parquet"))])
        plain = parts.astype(dict.fromkeys(parts.select_dtypes("category"), "str"))
        answers.append(plain.sort_values(["record", "condition"], ignore_index=True))
    assert answers[0]["record"].nunique() == len(EXAMINATIONS)
    for other in answers[1:]:
        pd.testing.assert_frame_equal(answers[0], other)
