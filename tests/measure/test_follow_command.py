"""`sidewise follow` on the examples, and the page that shows them."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.measure.docs_pictures import (
    IMAGES,
    ROOT,
    VISITS,
    followed,
    pictures,
    rotation_course,
    rotation_sides,
    svg,
)


def _run(*words: str) -> subprocess.CompletedProcess[str]:
    code = "from sidewise.cli import main; main()"
    return subprocess.run([sys.executable, "-c", code, "follow", *words], capture_output=True,
                          text=True, check=False, cwd=ROOT)  # fmt: skip


def _visit(patient: str, number: int) -> str:
    return str(VISITS / f"{patient}_visit{number}.json")


def _changed(tmp_path: Path, patient: str, number: int, change: Any) -> str:
    document = json.loads(Path(_visit(patient, number)).read_text(encoding="utf-8"))
    change(document)
    path = tmp_path / f"changed{number}.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    return str(path)


def test_examples_show_a_real_and_an_unreal_change() -> None:
    assert rotation_course(followed("heron", 1, 2, 3)).overall.real is True
    assert rotation_course(followed("heron", 1, 2)).overall.real is False


def test_examples_show_a_real_and_an_unreal_side_difference() -> None:
    assert rotation_sides(followed("heron", 1, 2)).real is True
    assert rotation_sides(followed("heron", 1, 2, 3)).real is False


def test_second_patient_has_not_changed() -> None:
    found = followed("plover", 1, 2)
    assert {f.overall.real for f in found.followed} == {False}
    assert "No real change" in found.sentence


def test_page_prints_the_sentences_of_the_program() -> None:
    page = re.sub(r"\s+", " ", (ROOT / "docs" / "measurement.md").read_text().replace("\n> ", " "))
    early, late = followed("heron", 1, 2), followed("heron", 1, 2, 3)
    sentences = [rotation_sides(early).sentence, rotation_sides(late).sentence,
                 rotation_course(early).sentence, rotation_course(late).sentence]  # fmt: skip
    assert len(set(sentences)) == 4
    for sentence in sentences:
        assert sentence in page


def test_page_shows_the_pictures_of_the_program() -> None:
    drawn = pictures()
    page = (ROOT / "docs" / "measurement.md").read_text()
    assert len(drawn) == 6
    for name, picture in drawn.items():
        assert f"images/{name}.svg" in page
        assert (IMAGES / f"{name}.svg").read_text(encoding="utf-8") == svg(picture)
        assert (IMAGES / f"{name}.png").read_bytes().startswith(b"\x89PNG")


def test_command_says_what_is_real() -> None:
    done = _run(_visit("heron", 1), _visit("heron", 2), _visit("heron", 3))
    assert done.returncode == 0
    assert "gained 34 degrees, a real change (up to 15 may be error)" in done.stdout
    assert (
        "[not real] External rotation, arm at the side, passive: left 49, right 64" in done.stdout
    )


def test_command_gives_json() -> None:
    done = _run(_visit("plover", 1), _visit("plover", 2), "--json")
    document = json.loads(done.stdout)
    assert document["patient"] == "PLOVER-2"
    assert all(f["since_first"][-1]["real"] is False for f in document["followed"])


@pytest.mark.parametrize(("name", "head"), [("a.svg", b"<svg"), ("a.PNG", b"\x89PNG")])
def test_command_draws(tmp_path: Path, name: str, head: bytes) -> None:
    done = _run(_visit("plover", 1), _visit("plover", 2), "--picture", str(tmp_path / name))
    assert done.returncode == 0
    assert (tmp_path / name).read_bytes().startswith(head)


def _no_instrument(document: Any) -> None:
    del document["findings"][0]["value"]["instrument"]


def _impossible(document: Any) -> None:
    document["findings"][0]["value"]["degrees"] = 1650


def _in_radians(document: Any) -> None:
    document["findings"][0]["value"]["radians"] = 2.9


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (lambda _: (_visit("heron", 1),), "two or more examinations of one person"),
        (lambda _: (_visit("heron", 1), _visit("plover", 2)), '"PLOVER-2", expected "HERON-1"'),
        (lambda _: (_visit("heron", 2), _visit("heron", 1)), "in the order they were made"),
        (lambda _: (_visit("heron", 1), _visit("heron", 1)), "Two readings of one day"),
        (lambda p: (_visit("heron", 1), _changed(p, "heron", 2, _no_instrument)), "the instrument"),
        (lambda p: (_visit("heron", 1), _changed(p, "heron", 2, _impossible)), "-180 to 360"),
        (lambda p: (_visit("heron", 1), _changed(p, "heron", 2, _in_radians)), "radians"),
        (lambda _: (_visit("heron", 1), "nowhere.json"), "no such file"),
        (lambda _: (_visit("heron", 1), _visit("heron", 2), "--picture", "a.jpg"), ".svg or .png"),
        (lambda _: (_visit("heron", 1), _visit("heron", 2), "--picture", "no/a.svg"), "exists"),
    ],
)  # fmt: skip
def test_command_refuses_with_status_2_and_no_traceback(
    tmp_path: Path, words: Any, message: str
) -> None:
    done = _run(*words(tmp_path))
    assert done.returncode == 2
    assert message in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_help_and_two_visits_do_not_import_heavy_libraries() -> None:
    code = (
        "import sys; sys.argv = ['sidewise', 'follow', *sys.argv[1:]]\n"
        "from sidewise.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = {'statsmodels', 'matplotlib', 'pandas', 'scipy', 'ezc3d'} & set(sys.modules)\n"
        "print('HEAVY', sorted(heavy))"
    )
    for words in (["--help"], [_visit("plover", 1), _visit("plover", 2)]):
        done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True,
                              check=True, cwd=ROOT)  # fmt: skip
        assert "HEAVY []" in done.stdout
