"""One orderly examination of both sides: recorded, measured, weighed, followed and taught.

    import sidewise

    record = sidewise.read_record("examination.json")
    sidewise.interpret(record).to_frame()

What stands in `__all__` is the face of the package: it stays. Everything else may move. A name is
imported when it is first asked for; `__init__.pyi` beside this file says the same to type checkers.
"""

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# By name and not as import statements: nothing in the package may lean on its own face. No name may
# be that of a package here: importing `sidewise.note` would put the package in its place.
_HOMES = {
    "region": "sidewise.face.examinations",
    "read_record": "sidewise.face.examinations",
    "interpret": "sidewise.face.examinations",
    "follow": "sidewise.face.examinations",
    "write_note": "sidewise.face.examinations",
    "read_register": "sidewise.face.registers",
    "read_batch": "sidewise.face.registers",
    "read_marks": "sidewise.face.students",
    "analyse_marks": "sidewise.face.students",
    "read_findings": "sidewise.face.students",
    "agree": "sidewise.face.students",
    "pictures": "sidewise.face.drawings",
    "schema_of": "sidewise.schemas",
    "UserError": "sidewise.errors",
    "UserErrors": "sidewise.errors",
}

__all__ = [
    "UserError",
    "UserErrors",
    "__version__",
    "agree",
    "analyse_marks",
    "follow",
    "interpret",
    "pictures",
    "read_batch",
    "read_findings",
    "read_marks",
    "read_record",
    "read_register",
    "region",
    "schema_of",
    "write_note",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'sidewise' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return list(__all__)
