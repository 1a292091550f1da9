"""What must hold after every seed, looked at from outside: the database, the tablets, the pages.

The fold is judged by its specification in `tests/record/test_fold_oracle.py`, not by itself.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

from sidewise.record.ledger import Entry, Found, Stated, Undone, fold_entries
from tests.record.test_fold_oracle import standing, taken_back

if TYPE_CHECKING:
    from tests.simulation.page import Page
    from tests.simulation.world import World

QUIET_S = 45.0
"""Long enough for a queue to be sent: it tries every four seconds, fifty entries at once."""


def entries_in(rows: list[Any]) -> list[Entry]:
    """Rows of a ledger as entries."""
    shape = [{"id": r.entry_id, "at": r.at, "by": r.by, "deed": r.deed} for r in rows]
    return [Entry.model_validate(one) for one in shape]


def raised_by(pk: str, rows: list[Any]) -> set[str]:
    """The flags that these entries raise, folded afresh and not by a page's own cache."""
    from sidewise.regions import region_of_record
    from sidewise.web.examinations import state

    record = fold_entries(pk, entries_in(rows)).record
    found = state.standing(record, region_of_record(record), None)
    return {flag.flag for flag in found.completeness.raised}


def peace(world: World) -> None:
    """Everything heals; then each person opens a page on each tablet where something is theirs."""
    from tests.simulation.world import Weather

    world.note("peace")
    world.weather = Weather(0, 0, 0, 0, 0, 0)
    for tablet in world.tablets:
        tablet.asleep_until = 0
    world.let_pass(75)
    # Once in a while the signing key stays lost: then the pages must say that something waits.
    if world.chance.random() < 0.5:
        world.service.use_key("")
    for tablet in world.tablets:
        tablet.is_online = tablet.has_room = True
    for tablet in world.tablets:
        check_idle(world, tablet)
        for page in list(tablet.pages):
            tablet.close(page)
        owners = {row["owner"] for row in tablet.rows.values()}
        for who, account in world.service.accounts.items():
            if str(account) in owners:
                _visit(world, tablet, who, str(account))


def _visit(world: World, tablet: Any, who: str, account: str) -> None:
    # The first may only sign somebody else out; a late answer to a page of an ended session takes
    # the new session's cookie away, as browsers do, and its person signs in once more.
    for _ in range(4):
        world.sign_in(tablet, who)
        world.let_pass(QUIET_S)
        if tablet.live_pages():
            break
    page = next(iter(tablet.live_pages()), None)
    left = [n for n, row in tablet.rows.items() if row["owner"] == account]
    if left:
        said = page.call("shownWaiting") if page is not None else '""'
        check_said(tablet, left, json.loads(said))
    for open_page in list(tablet.pages):
        tablet.close(open_page)
    world.sign_out(tablet)


def check_said(tablet: Any, left: list[int], said: str) -> None:
    """What stays on a tablet in peace is shown there, with why."""
    aside = {int(number) for number in re.findall(r"entry (\d+) is set aside", said)}
    closed = re.search(r"(\d+) of your entries (?:is|are) kept on this device, encrypted", said)
    if closed and int(closed[1]) == len(left):
        return
    refused = said.count("the server does not take it")
    if len(set(left) - aside) > refused:
        fail(f"tablet {tablet.number} keeps {sorted(set(left) - aside)} and says only {said!r}")


def check_idle(world: World, tablet: Any) -> None:
    """A page that no hand has touched for longer than a session may last shows nothing."""
    hand = world._hands.get(tablet.number, 0.0)
    if world.now - hand > 30 * 60 + 65 and (live := tablet.live_pages()):
        fail(f"page {live[0].number} still shows after {world.now - hand:.0f} s without a hand")


def check(world: World) -> None:
    """Every invariant, once peace has come."""
    held = held_entries()
    for pk in world.service.examinations:
        rows = world.ledger(pk)
        check_ledger(world, pk, rows)
    kept = {
        name: row for pk in world.service.examinations for name, row in world.ledger(pk).items()
    }
    on_tablets = sum(len(tablet.rows) for tablet in world.tablets)
    missing = []
    for name, sent in world.book.items():
        row = kept.get(name)
        if row is not None:
            check_same(world, name, sent, row)
        is_there = row is not None or name in held or name in world.excused
        if name in world.confirmed and not is_there:
            fail(f"{name} was confirmed and is lost")
        if name in world.held and name not in held and row is None and name not in world.excused:
            fail(f"{name} was taken to be decided on and is lost")
        if sent.said == "refused" and row is not None:
            fail(f"{name} was said not to be saved and stands")
        if sent.said == "kept" and not is_there:
            missing.append(name)
    if len(missing) > on_tablets:
        fail(f"{missing} were kept, and only {on_tablets} rows rest on the tablets")
    check_owners(world, held)
    check_chain()


def held_entries() -> dict[str, Any]:
    """What waits for a person, or was decided, by entry."""
    from sidewise.web.examinations.models import HeldEntry

    return {row.entry_id: row for row in HeldEntry.objects.all()}


def check_ledger(world: World, pk: str, rows: dict[str, Any]) -> None:
    """The fold is as specified; what was taken back stays so; no flag falls silent."""
    entries = entries_in(list(rows.values()))
    folded = fold_entries(pk, entries)
    if set(folded.holders) != standing(entries, Found):
        fail(f"{pk}: the fold does not hold what stands")
    if set(folded.statements) != standing(entries, Stated):
        fail(f"{pk}: the fold does not state what stands")
    live = set(folded.holders) | set(folded.statements)
    if back := live & taken_back(entries):
        fail(f"{pk}: {sorted(back)} was taken back and stands")
    for entry in entries:
        named = {sent.entry["deed"].get("entries", [""])[0] for sent in world.book.values()
                 if isinstance(entry.deed, Undone) and sent.entry["id"] == entry.id}  # fmt: skip
        if named & live:
            fail(f"{pk}: {sorted(named & live)} stands after {entry.id} took it back")
    check_flags(world, pk, entries, list(rows.values()))


def check_flags(world: World, pk: str, entries: list[Entry], rows: list[Any]) -> None:
    """An absent pulse that stands raises its flag, whatever contradicts it, in every worker."""
    from sidewise.web.examinations import state
    from sidewise.web.examinations.models import Examination

    stands = standing(entries, Found)
    absent = [
        entry.id for entry in entries
        if entry.id in stands and isinstance(entry.deed, Found)
        and entry.deed.finding.item == "radial_pulse"
        and getattr(entry.deed.finding.value, "pulse", "") == "absent"
    ]  # fmt: skip
    if len(rows) == 1:
        return
    raised = raised_by(pk, rows)
    if absent and not raised:
        fail(f"{pk}: {absent} stands and no flag is raised")
    examination = Examination.objects.get(pk=pk)
    for number, worker in enumerate(world.service.workers):
        if worker.ledgers.get(examination.pk) is None:
            continue
        with world.service._as_worker(worker):
            shown = {flag.flag for flag in state.current(examination).completeness.raised}
        if shown != raised:
            fail(f"{pk}: worker {number} shows {sorted(shown)} and not {sorted(raised)}")


def check_same(world: World, name: str, sent: Any, row: Any) -> None:
    """A stored entry says what the hand said, in the name of whose hand it was, in its place."""
    if str(row.examination_id) != sent.examination:
        fail(f"{name} stands in another examination")
    if row.account != world.service.accounts[sent.who] or row.by != sent.who.upper():
        fail(f"{name} of {sent.who} stands under account {row.account} as {row.by}")
    made, kept = sent.entry["deed"], row.deed
    if made["do"] != kept["do"]:
        fail(f"{name} is another deed")
    if made["do"] == "found":
        for part in ("item", "side"):
            if made["finding"][part] != kept["finding"][part]:
                fail(f"{name}: {part} is another")
        for part, value in made["finding"]["value"].items():
            if kept["finding"]["value"][part] != value:
                fail(f"{name}: the value is another")
    elif made["do"] == "state" and (made["field"], made["value"]) != (kept["field"], kept["value"]):
        fail(f"{name}: another statement")


def check_owners(world: World, held: dict[str, Any]) -> None:
    """What was held is held under whose hand it was; what rests on a tablet says nothing."""
    for name, row in held.items():
        if name in world.book and row.by_id != world.service.accounts[world.book[name].who]:
            fail(f"{name} is held under account {row.by_id}")
    accounts = {str(account) for account in world.service.accounts.values()}
    for tablet in world.tablets:
        for row in tablet.rows.values():
            text = bytes.fromhex(row["sealed"]) + bytes.fromhex(row["nonce"])
            if row["owner"] not in accounts or b"hawkins" in text or b"pulse" in text:
                fail(f"tablet {tablet.number} keeps something readable")


def check_chain() -> None:
    """The audit is whole and binds what the database holds."""
    from sidewise.web.audit.chain import verify
    from sidewise.web.keeping import content

    verdict = verify()
    if not verdict.whole:
        fail(f"the audit: {verdict.broken}")
    if found := next(content.differences(verdict, "default"), None):
        fail(f"not as bound: {found.kind} {found.key} {found.what}")


def check_pages(world: World) -> None:
    """At any moment: a blank page says nothing more, and none lists what is another's."""
    for tablet in world.tablets:
        for page in tablet.pages:
            if tablet.rows or page.is_blank:
                check_waiting(page)


def check_waiting(page: Page) -> None:
    """A page lists no more than waits there for its own account, and none once it is blank."""
    said = json.loads(page.call("shownWaiting") or '""')
    if page.is_blank and said:
        fail(f"page {page.number} is blank and says {said!r}")
    number = re.search(r"(\d+) (?:entry is|entries are) kept on this device", said)
    if number and int(number[1]) > sum(owner == page.account for owner in page.tablet.ever_kept):
        fail(f"page {page.number} lists {number[1]} entries, more than its account ever kept here")


def fail(text: str) -> None:
    """An invariant does not hold."""
    from tests.simulation.world import Broken

    raise Broken(text)
