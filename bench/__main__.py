"""Measure this project beside its peers in one run: `make bench` or `python -m bench`.

    python -m bench            everything, about a quarter of an hour; writes docs/benchmarks.md
    python -m bench commands marks    only these parts (a name, or how it begins); prints alone
    python -m bench --quick    a look in two minutes; prints and writes nothing
    python -m bench --large    lme4 at 20,000 students and a million records too (an hour more)

Each module of this folder runs in a process of its own on one thread, one after the other. A module
that defines `rows()` prints its rows as JSON; of the others the figures are read from what they
print, and a figure that is not found there is shown as not measured, never left out.
"""

from __future__ import annotations

import argparse
import datetime
import importlib.metadata
import json
import os
import platform
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "benchmarks.md"
THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
ONE_THREAD = dict.fromkeys(THREADS, "1")
LIBRARIES = ("numpy", "scipy", "pandas", "pyarrow", "pydantic", "numba", "pyagrum", "Django")


@dataclass(frozen=True)
class Row:
    """One line of the table; `kept` is None where nothing is required or nothing was measured."""

    work: str
    ours: str
    p95: str = ""
    peer: str = ""
    theirs: str = ""
    ratio: str = ""
    required: str = ""
    goal: str = ""
    kept: bool | None = None
    reached: bool | None = None
    note: str = ""


@dataclass(frozen=True)
class Run:
    """A module that ran: what it printed and how it ended."""

    name: str
    seconds: float
    output: str
    status: int
    rows: tuple[Row, ...] = field(default=())


@dataclass(frozen=True)
class Options:
    """How much is wanted."""

    quick: bool
    large: bool


Reader = Callable[[str], Iterator[Row]]


# --- Reading what the modules print


def from_json(output: str) -> Iterator[Row]:
    """Rows of a module that defines `rows()`: the last line is a JSON list."""
    for data in json.loads(output.strip().splitlines()[-1]):
        yield json_row(data)


def json_row(data: dict[str, Any]) -> Row:
    """A row from plain data; a bar is "<what> <= <number>", or < or >=, of ours, p95, ratio ..."""
    unit = data.get("unit", "")
    shown = {name: _with_unit(data.get(name), unit) for name in ("ours", "p95", "theirs")}
    return Row(
        work=data["work"],
        **shown,
        peer=data.get("peer", ""),
        ratio=_number(data.get("ratio")),
        required=data.get("required", ""),
        goal=data.get("goal", ""),
        kept=kept(data.get("required", ""), data),
        reached=kept(data.get("goal", ""), data),
        note=data.get("note", ""),
    )


BAR = re.compile(r"(\w+) *(<=|<|>=) *([\d.,]+)")


def kept(bar: str, values: dict[str, Any]) -> bool | None:
    """Whether a bar is kept; None for no bar, or where its figure was not measured."""
    found = BAR.match(bar)
    if found is None:
        return None
    name = {"median": "ours"}.get(found[1], found[1])
    value, limit = values.get(name), float(found[3].replace(",", ""))
    if value is None:
        return None
    return {"<=": value <= limit, "<": value < limit, ">=": value >= limit}[found[2]]


def _with_unit(value: Any, unit: str) -> str:
    return "" if value is None else f"{_number(value)} {unit}".strip()


def _number(value: Any) -> str:
    return "" if value is None else f"{value:,.4g}" if abs(value) < 10_000 else f"{value:,.0f}"


ENGINE = re.compile(r"^(\d+) conditions, (numpy|compiled batch of \d+) +[\d.]+ +([\d.]+) .*?"
                    r"([\d.]+) times (.+)$", re.MULTILINE)  # fmt: skip
ENGINE_BARS = {"numpy": (3.0, 10.0), "compiled": (300.0, 1000.0)}


def from_network(output: str) -> Iterator[Row]:
    """The plain network beside the fastest exact engine of pyAgrum."""
    peers = dict(re.findall(r"^(\d+ conditions, pyAgrum .+?)  +([\d.]+) ", output, re.MULTILINE))
    for conditions, way, high, times, best in ENGINE.findall(output):
        required, goal = ENGINE_BARS[way.split()[0]]
        theirs, ratio = float(peers[f"{conditions} conditions, pyAgrum {best}"]), float(times)
        yield json_row(
            {
                "work": f"all marginals of one record, {conditions} conditions, {way}",
                "ours": theirs / ratio, "p95": None if "batch" in way else float(high),
                "theirs": theirs, "unit": "ms", "peer": f"pyAgrum {best}", "ratio": ratio,
                "required": f"ratio >= {required:g}", "goal": f"ratio >= {goal:g}",
            }
        )  # fmt: skip
    for found in re.finditer(r"^(\d+ seen: .+?)  +([\d.]+) +([\d.]+) ", output, re.MULTILINE):
        yield json_row({"work": f"invented network of 37 conditions, {found[1]}",
                        "ours": float(found[2]), "p95": float(found[3]), "unit": "ms"})  # fmt: skip


COMPONENTS = re.compile(
    r"^components +(\d+) students +(\d+) marks +ours +([\d.]+) s .*?criterion [-\d.]+"
    r"(?: +lme4 +([\d.]+) s +[\d.]+ times +criterion less lme4's ([-+\d.e]+))?", re.MULTILINE
)  # fmt: skip
SEVERITY = re.compile(r"^severity +(\d+) students +(\d+) ratings many-facet +([\d.]+) s .*?"
                      r"converged (\w+)", re.MULTILINE)  # fmt: skip
NATIONAL = 20_000


def from_marks_model(output: str) -> Iterator[Row]:
    """Variance components beside lme4; severity."""
    for students, marks, ours, theirs, gap in COMPONENTS.findall(output):
        yield _components(int(students), int(marks), float(ours), theirs, gap)
    for students, ratings, ours, converged in SEVERITY.findall(output):
        national = int(students) == NATIONAL
        bars = {"required": "median <= 6", "goal": "median <= 2"} if national else {}
        yield json_row(
            {"work": f"severity, {int(students):,} students, {int(ratings):,} ratings",
             "ours": float(ours), "unit": "s", "note": f"converged: {converged}", **bars}
        )  # fmt: skip


def _components(students: int, marks: int, ours: float, theirs: str, gap: str) -> Row:
    data = {"work": f"variance components, {students:,} students, {marks:,} marks",
            "ours": ours, "unit": "s"}  # fmt: skip
    if theirs:
        note = f"REML criterion less lme4's: {gap}"
        if abs(float(gap)) > 1e-4:
            note += " (MORE THAN 1e-4)"
        data |= {"peer": "lme4", "theirs": float(theirs), "ratio": float(theirs) / ours,
                 "note": note}  # fmt: skip
    if students == NATIONAL:
        data |= {"required": "ratio >= 50", "goal": "ratio >= 150"}
    return json_row(data)


def from_marks_report(output: str) -> Iterator[Row]:
    """Reading and analysing marks: label, seconds, and its own bar."""
    pattern = r"^(.+?)  +([\d.]+) s \(processor ([\d.]+)\)  peak ([\d.]+) GB(?:  bar ([\d.]+) s)?"
    for label, clock, _, peak, bar in re.findall(pattern, output, re.MULTILINE):
        bars = {"goal": f"median <= {bar}"} if bar else {}
        yield json_row({"work": label, "ours": float(clock), "unit": "s",
                        "note": f"largest memory {peak} GB", **bars})  # fmt: skip


def from_measure(output: str) -> Iterator[Row]:
    """Medians of measuring, one JSON object."""
    (found,) = json.loads(output[output.index("{") :]).values()
    for key, value in found.items():
        yield json_row({"work": f"measure: {key}", "ours": value, "unit": "ms"})


def from_evidence(output: str) -> Iterator[Row]:
    """Times of the evidence side."""
    for label, value in re.findall(r"^(.+?)  +([\d.]+) ms$", output, re.MULTILINE):
        yield json_row({"work": f"evidence: {label}", "ours": float(value), "unit": "ms"})


BEDSIDE = re.compile(
    r"^(page|touch|meaning) +n +(\d+) +median +([\d.]+) ms +p95 +([\d.]+) ms +required ([\d.]+)",
    re.MULTILINE,
)


def from_bedside(output: str) -> Iterator[Row]:
    """The web application under load."""
    heading = output.strip().splitlines()[0]
    for kind, count, middle, high, bar in BEDSIDE.findall(output):
        yield json_row(
            {"work": f"bedside {kind}", "ours": float(middle), "p95": float(high), "unit": "ms",
             "required": f"p95 <= {bar}", "goal": f"p95 <= {float(bar) / 2:g}",
             "note": f"{count} answers; {heading}"}
        )  # fmt: skip


LOAD = re.compile(r"^  (.+?): n (\d+), median ([\d.]+) ms, p95 ([\d.]+) ms", re.MULTILINE)


def from_load(output: str) -> Iterator[Row]:
    """The service as a department runs it, on both databases."""
    for part in re.split(r"^(?=\w+, \d+ examiners)", output, flags=re.MULTILINE)[1:]:
        heading, _, rest = part.partition("\n")
        for what, count, middle, high in LOAD.findall(rest):
            yield json_row(
                {"work": f"department on {heading.partition(',')[0]}: {what}",
                 "ours": float(middle), "p95": float(high), "unit": "ms",
                 "note": f"{count} answers; {heading.partition(', ')[2]}"}
            )  # fmt: skip


# --- What is run


@dataclass(frozen=True)
class Module:
    """A module of this folder, how it is called, and how its output is read."""

    name: str
    reader: Reader = from_json
    full: tuple[str, ...] = ()
    quick: tuple[str, ...] | None = ("--quick",)
    quick_code: str = ""
    large: tuple[str, ...] = ()
    only_large: bool = False

    @property
    def path(self) -> Path:
        """Its file."""
        return ROOT / "bench" / f"{self.name}.py"

    def command(self, options: Options) -> list[str] | None:
        """The command, or None where it is not wanted: no quick way, or too long."""
        if self.only_large and not options.large:
            return None
        if options.quick and self.quick_code:
            return [sys.executable, "-c", self.quick_code]
        if options.quick:
            return None if self.quick is None else [sys.executable, str(self.path), *self.quick]
        more = self.large if options.large else ()
        return [sys.executable, str(self.path), *self.full, *more]


MODULES = (
    Module("commands"),
    Module("interpret"),
    Module("five_hundred"),
    Module("growth"),
    Module("network", from_network),
    Module("evidence", from_evidence, quick_code="from bench.evidence import times; times()"),
    Module("measure", from_measure, quick=()),
    Module("marks_report", from_marks_report, quick=None),
    Module(
        "marks_model",
        from_marks_model,
        quick_code="from bench.marks_model import components, severities; "
        "components(200, 1, True); severities(200, 1)",
        large=("--large",),
    ),
    Module("cohort"),
    Module("crossed"),
    Module("million", quick=None, only_large=True),
    Module("plan"),
    Module("practice"),
    Module("papers"),
    Module("timetable"),
    Module("flags"),
    Module("bedside", from_bedside, quick=("--seconds", "6", "--examiners", "5")),
    Module("page"),
    Module("visits"),
    Module("load", from_load),
    Module("install", quick=None),
)
# The figures to reach whose row must appear, and a word by which it is known.
MUST = (
    ("interpret", "interpret, "),
    ("batch exact posterior beside pyAgrum, compiled", "compiled batch"),
    ("one record in numpy beside pyAgrum", "conditions, numpy"),
    ("bedside page", "bedside page"),
    ("one touch saved and answered", "bedside touch"),
    ("meaning, 20 examiners each touching every 2 s", "bedside meaning"),
    ("variance components, 20,000 students beside lme4", "components, 20,000"),
    ("severity, 20,000 students", "severity, 20,000"),
    ("plan of a full examination, proven best", "plan of a full"),
    ("a simulated patient drawn beside one interpretation", "simulated patient drawn"),
    ("sidewise --help", "sidewise --help"),
    ("whole command: check", "sidewise check, whole command"),
    ("whole command: interpret", "sidewise interpret, whole command"),
    ("whole command: marks", "sidewise marks, the teaching week, whole command"),
    ("whole command: marks on 20,000 students", "students x 12, whole command"),
    ("two large crossed facets, 73,421 ratings", "crossed"),
    ("six whole visits by the keystroke-level model", "visit, "),
    ("bedside core as installed", "install: bedside core, installed"),
    ("interpret beside 500 inferences, first look", "examinations: first look at the patient"),
    ("interpret beside 500 inferences, after a touch", "examinations: after a touch"),
)


def run(module: Module, options: Options) -> Run | None:
    """The module in a process of its own; None if it is not there or has no quick way."""
    command = module.command(options)
    if not module.path.exists() or command is None:
        return None
    print(f"{module.name} ...", end=" ", flush=True, file=sys.stderr)
    start = time.perf_counter()
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=ROOT,
        env={**os.environ, **ONE_THREAD, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}"},
    )  # fmt: skip
    seconds = time.perf_counter() - start
    print(f"{seconds:.0f} s, status {done.returncode}", file=sys.stderr)
    output = done.stdout if done.returncode == 0 else done.stdout + done.stderr
    return Run(module.name, seconds, output, done.returncode, _read(module, done.stdout))


def _read(module: Module, output: str) -> tuple[Row, ...]:
    try:
        return tuple(module.reader(output))
    except (ValueError, KeyError, IndexError) as error:
        print(f"{module.name}: output not understood ({error})", file=sys.stderr)
        return ()


# --- The page


def page(runs: list[Run], options: Options) -> str:
    """docs/benchmarks.md."""
    rows = [row for one in runs for row in one.rows]
    parts = ["# Benchmarks", INTRODUCTION, machine(), "## Against what was required", verdict(rows),
             "## All figures", table(rows), "## How each part ended", ended(runs, options),
             "## Everything that was printed"]  # fmt: skip
    parts += [f"### {one.name}\n\n```text\n{one.output.strip()}\n```" for one in runs]
    return "\n\n".join(parts) + "\n"


INTRODUCTION = (
    "Written by `make bench`; nothing here is typed by hand. Peers run beside our own code in the "
    "same run, on the same data, everything on one thread (the compiled batch too). Medians; p95 "
    "is the 95th centile where single runs are timed. On a busy machine times grow, ratios less so."
)


def machine() -> str:
    """Processor, cores, memory, versions, date."""
    versions = ", ".join(f"{name} {_version(name)}" for name in LIBRARIES)
    return "\n".join(
        [
            f"- Date: {datetime.datetime.now(datetime.UTC):%Y-%m-%d %H:%M} UTC",
            f"- Processor: {_processor()}; {os.cpu_count()} cores; {_memory():.0f} GB; "
            f"load before the run {os.getloadavg()[0]:.1f}",
            f"- Python {platform.python_version()}; {versions}; {_lme4()}",
        ]
    )


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "absent"


def _processor() -> str:
    path = Path("/proc/cpuinfo")
    text = path.read_text() if path.exists() else ""
    found = re.search(r"^model name\s*: (.+)$", text, re.MULTILINE)
    return found[1] if found else platform.processor() or platform.machine()


def _memory() -> float:
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 1e9


def _lme4() -> str:
    code = "cat(R.version$major, '.', R.version$minor, ', lme4 ', " \
           "as.character(packageVersion('lme4')), sep='')"  # fmt: skip
    try:
        done = subprocess.run(["Rscript", "-e", code], capture_output=True, text=True, check=False)
    except FileNotFoundError:
        return "R absent"
    return f"R {done.stdout}" if done.returncode == 0 else "lme4 absent"


def verdict(rows: list[Row]) -> str:
    """Plainly: what is not met, what was not measured, what is met."""
    judged = [row for row in rows if row.kept is not None]
    failed = [row for row in judged if not row.kept]
    missing = [name for name, word in MUST if not any(word in row.work for row in rows)]
    unproven = [row.work for row in rows if row.required and row.kept is None]
    lines = [f"**NOT MET**: {row.work}: {_told(row)}; required {row.required}." for row in failed]
    lines += [f"**NOT MEASURED** in this run: {name}." for name in [*missing, *unproven]]
    lines += [f"Met{' (goal too)' if row.reached else ''}: {row.work}: {_told(row)}; "
              f"required {row.required}." for row in judged if row.kept]  # fmt: skip
    return "\n".join(f"- {line}" for line in lines)


def _told(row: Row) -> str:
    parts = [f"{row.ours} median"]
    parts += [f"p95 {row.p95}"] if row.p95 else []
    parts += [f"{row.ratio} times {row.peer}"] if row.ratio else []
    return ", ".join(parts + ([row.note] if row.note else []))


HEADINGS = ("work", "peer", "ours (median)", "ours (p95)", "peer (median)", "ratio", "required",
            "goal", "kept", "remark")  # fmt: skip


def table(rows: list[Row]) -> str:
    """The whole table."""
    word = {True: "yes", False: "**no**", None: ""}
    lines = [f"| {' | '.join(HEADINGS)} |", f"|{' --- |' * len(HEADINGS)}"]
    for row in rows:
        cells = (row.work, row.peer, row.ours, row.p95, row.theirs, row.ratio, row.required,
                 row.goal, word[row.kept], row.note)  # fmt: skip
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def ended(runs: list[Run], options: Options) -> str:
    """Which modules ran, how long, and which did not."""
    lines = [f"- {one.name}: {one.seconds:.0f} s, {_how(one)}" for one in runs]
    there = {one.name for one in runs}
    lines += [
        f"- {m.name}: not run ({'no quick way' if m.path.exists() else 'not there'})"
        for m in MODULES
        if m.name not in there and not m.only_large
    ]
    if not options.large:
        lines.append("- lme4 at 20,000 students, a million records: only with "
                     "`python -m bench --large`")  # fmt: skip
    return "\n".join(lines)


def _how(one: Run) -> str:
    how = "ended well" if one.status == 0 else f"ended with status {one.status}"
    return how if one.rows else f"{how}, no figure could be read from it"


def chosen_modules(parts: list[str]) -> list[Module]:
    """The modules whose name begins with one of the words; all for none."""
    for part in parts:
        if not any(module.name.startswith(part) for module in MODULES):
            names = ", ".join(module.name for module in MODULES)
            raise SystemExit(f"{part}: no such part; expected one of {names}.")
    return [m for m in MODULES if not parts or m.name.startswith(tuple(parts))]


def main() -> int:
    """Run, write, and say what was not kept; status 1 if a module could not be run."""
    parser = argparse.ArgumentParser(prog="python -m bench", description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a look; writes nothing")
    parser.add_argument("--large", action="store_true", help="lme4 at 20,000 students as well")
    parser.add_argument("parts", nargs="*", help="only these, by name or how it begins; no writing")
    given = parser.parse_args()
    options = Options(given.quick, given.large)
    chosen = chosen_modules(given.parts)
    runs = [done for module in chosen if (done := run(module, options)) is not None]
    text = page(runs, options)
    if options.quick or given.parts:
        print(text)
    else:
        PAGE.write_text(text, encoding="utf-8")
        print(verdict([row for one in runs for row in one.rows]))
        print(f"\nWritten: {PAGE.relative_to(ROOT)}")
    # A module may end with 1 because a bar was missed, which is said above: it did run.
    return 1 if any(one.status and not one.rows for one in runs) else 0


if __name__ == "__main__":
    sys.exit(main())
