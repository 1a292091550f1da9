"""Keeps tables and answers, and brings them back as they came."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from sidewise.errors import UserError
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.web.accounts.models import Role, User
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.marks.models import (
    KeptSitting,
    MarksSheet,
    Settlement,
    SheetRows,
    SittingStudent,
)

if TYPE_CHECKING:
    from sidewise.teaching.report.marks_apart import OpenedSheet

Answers = dict[str, Any]
NOTHING_ASKED = "nothing was asked"
LEFT_BEHIND = ("without", "leave_out")
"""What was moderated in one table is not carried to the next: it is decided anew."""
OF_READING = ("columns", "zeros", "codes", "sitting", "leave_out", "group", "ratings",
              "borderline", "ratings_from", "positions")  # fmt: skip


def begin_sitting(user: User, title: str, opened: OpenedSheet, sha256: str) -> KeptSitting:
    """A new sitting with its first table."""
    with gathered():
        sitting = KeptSitting.objects.create(title=title, owner=user)
        add_sheet(sitting, user, opened, sha256, "")
        write(Act.WRITE, f"sitting:{sitting.key}")
    return sitting


def add_sheet(
    sitting: KeptSitting, user: User, opened: OpenedSheet, sha256: str, reason: str
) -> MarksSheet:
    """Another table; where nothing is asked of it, it is settled under the rules in force."""
    grid = opened.grid
    with gathered():
        last = latest_settlement(sitting)
        sheet = MarksSheet.objects.create(
            sitting=sitting, number=sitting.sheets.count() + 1, name=grid.name, sha256=sha256,
            height=len(grid.rows), width=len(grid.rows[0]),
            frame=[[n, row] for n, row in _numbered(grid) if n not in opened.students],
            notes=list(grid.warnings), reason=reason, by=user.signs_as, account=user.pk,
        )  # fmt: skip
        _keep_rows(sheet, grid, opened.students)
        write(Act.WRITE, f"marks-sheet:{sitting.key}/{sheet.number}")
        if opened.understood.settled:
            settle(sitting, user, sheet, rules_of(last), reason or NOTHING_ASKED)
    return sheet


def rules_of(settlement: Settlement | None) -> Answers:
    """The rules that go on holding for another table."""
    if settlement is None:
        return {}
    dropped = (*OF_READING, *LEFT_BEHIND)
    return {name: value for name, value in settlement.answers.items() if name not in dropped}


def settle(
    sitting: KeptSitting, user: User, sheet: MarksSheet, answers: Answers, reason: str
) -> Settlement:
    """Answers that hold from here on."""
    with gathered():
        done = Settlement.objects.create(
            sitting=sitting, sheet=sheet, number=sitting.settlements.count() + 1,
            answers={name: value for name, value in answers.items() if value not in ("", None)},
            reason=reason, by=user.signs_as, account=user.pk,
        )  # fmt: skip
        write(Act.WRITE, f"settlement:{sitting.key}/{done.number}")
    return done


def settle_after(
    sitting: KeptSitting, user: User, opened: OpenedSheet, sheet: MarksSheet, answers: Answers,
    reason: str, seen: int,
) -> Settlement:  # fmt: skip
    """As `settle`, if nobody has settled anything since `seen`; rows go to whom they now name."""
    with gathered():
        # On PostgreSQL the row is held, so that two who settle at once come one after the other.
        KeptSitting.objects.select_for_update().get(pk=sitting.pk)
        if sitting.settlements.count() != seen or latest_sheet(sitting).pk != sheet.pk:
            raise UserError(
                "settle", "answers given while somebody else settled or replaced the table",
                "the newest version under your answers", "Look at what holds now, then say again.",
            )  # fmt: skip
        _reassign_rows(sheet, opened)
        return settle(sitting, user, sheet, answers, reason)


def latest_sheet(sitting: KeptSitting) -> MarksSheet:
    """The table in force."""
    return MarksSheet.objects.filter(sitting=sitting).order_by("-number")[0]


def latest_settlement(sitting: KeptSitting) -> Settlement | None:
    """What was settled last, of whichever table."""
    rows = Settlement.objects.filter(sitting=sitting).select_related("sheet")
    return rows.order_by("-number").first()


def grid_of(sheet: MarksSheet) -> Grid:
    """The table as it came; rows that were erased are empty."""
    rows = {number: tuple(cells) for number, cells in sheet.frame}
    for kept in SheetRows.objects.filter(sheet=sheet).values_list("rows", flat=True):
        rows.update((number, tuple(cells)) for number, cells in kept)
    blank = ("",) * sheet.width
    whole = tuple(rows.get(number, blank) for number in range(1, sheet.height + 1))
    return Grid(sheet.name, whole, tuple(sheet.notes))


def erased_rows(sheet: MarksSheet) -> int:
    """How many rows of the table were erased since it came."""
    kept = SheetRows.objects.filter(sheet=sheet).values_list("rows", flat=True)
    return sheet.height - len(sheet.frame) - sum(len(rows) for rows in kept)


def _numbered(grid: Grid) -> list[tuple[int, list[str]]]:
    return [(number, list(row)) for number, row in enumerate(grid.rows, 1)]


def _keep_rows(sheet: MarksSheet, grid: Grid, students: dict[int, str]) -> None:
    by_code: dict[str, list[list[Any]]] = defaultdict(list)
    for number, cells in _numbered(grid):
        if number in students:
            by_code[students[number]].append([number, cells])
    there = {s.code: s for s in SittingStudent.objects.filter(sitting=sheet.sitting)}
    fresh = [SittingStudent(sitting=sheet.sitting, code=c) for c in by_code if c not in there]
    there |= {s.code: s for s in SittingStudent.objects.bulk_create(fresh)}
    SheetRows.objects.bulk_create(
        [SheetRows(sheet=sheet, student=there[code], rows=rows) for code, rows in by_code.items()]
    )


def _reassign_rows(sheet: MarksSheet, opened: OpenedSheet) -> None:
    """Where another column now names the students, each row goes to whom it names."""
    kept = SheetRows.objects.filter(sheet=sheet).select_related("student")
    now = {number: row.student.code for row in kept for number, _ in row.rows}
    named = {n: code for n, code in opened.students.items() if any(opened.grid.rows[n - 1])}
    if now == named:
        return
    # A row that was erased stays erased: it is neither.
    there = {*now, *(number for number, _ in sheet.frame)} - set(named)
    SheetRows.objects.filter(sheet=sheet).delete()
    sheet.frame = [[n, row] for n, row in _numbered(opened.grid) if n in there]
    sheet.save(update_fields=["frame"])
    _keep_rows(sheet, opened.grid, named)
    SittingStudent.objects.filter(sitting=sheet.sitting, rows=None, account=None).delete()


def accounts_named(sitting: KeptSitting) -> dict[str, User]:
    """Students' accounts whose code in records is a code of this sitting, letter for letter."""
    codes = set(sitting.students.filter(account=None).values_list("code", flat=True))
    students = User.objects.filter(role=Role.STUDENT, is_active=True)
    return {user.signs_as: user for user in students if user.signs_as in codes}


def tie_accounts(sitting: KeptSitting) -> int:
    """Say that each such code is that account; how many."""
    found = accounts_named(sitting)
    with gathered():
        for row in sitting.students.filter(account=None, code__in=list(found)):
            row.account = found[row.code]
            row.save(update_fields=["account"])
        write(Act.WRITE, f"sitting:{sitting.key}")
    return len(found)


def untie_accounts(sitting: KeptSitting) -> None:
    """Take it back for every student of the sitting."""
    with gathered():
        sitting.students.update(account=None)
        write(Act.WRITE, f"sitting:{sitting.key}")
