"""The door: where regions come from, what is refused and how, and the packed form."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import threading
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from sidewise import regions as door
from sidewise.errors import UserError, UserErrors
from sidewise.knowledge import pack, reading
from sidewise.knowledge.manifest import OPTIONAL, PACK, REQUIRED, WEIGHING, RegionPart
from sidewise.knowledge.region import (
    SHIPPED,
    Region,
    chosen_region,
    open_region,
    shipped_folders,
)
from sidewise.protocol import protocol_of
from sidewise.reason.judging.called_for import called_for_rules
from sidewise.regions import Regions, data_folder, found_folders, load_region, regions
from tests.regions.conftest import Install
from tests.regions.shelf import SWEPT, put, region_called, write_examination

# --- Where regions come from


def test_regions_come_from_the_program_and_from_the_data_folder(install: Install) -> None:
    folder = install()
    assert found_folders(folder.parents[1]) == {**shipped_folders(), "lantern": folder}
    assert regions()["lantern"].label == "lantern joint"


def test_an_entry_point_names_a_folder_and_none_of_its_code_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path)
    package = tmp_path / "knowledge"
    (package / "__init__.py").write_text("raise SystemExit('code of the package was run')")
    (package / "lantern" / "__init__.py").write_text("raise SystemExit('so was its data')")
    monkeypatch.syspath_prepend(str(tmp_path))
    entry = EntryPoint("lantern", "knowledge.lantern", "sidewise.regions")
    assert data_folder(entry) == package / "lantern"
    monkeypatch.setattr("sidewise.regions.entry_points_of", lambda _group: (entry,))
    assert found_folders(tmp_path / "nobody")["lantern"] == package / "lantern"
    assert load_region(data_folder(entry), "lantern").id == "lantern"


@pytest.mark.parametrize("value", ["nowhere", "json", "nowhere.at.all", "os.path"])
def test_an_entry_point_without_a_folder_of_knowledge_is_refused(value: str) -> None:
    entry = EntryPoint("lantern", value, "sidewise.regions")
    with pytest.raises(UserError, match=r"a package whose folder holds region\.yaml"):
        data_folder(entry)


def test_one_name_for_two_folders_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "knowledge" / "shoulder"
    folder.mkdir(parents=True)
    (folder / "region.yaml").write_text("region: shoulder")
    with pytest.raises(UserError, match=r"region shoulder: .*one folder a name"):
        found_folders(tmp_path)


def test_a_region_is_loaded_once_and_a_view_is_made_once(tmp_path: Path) -> None:
    folder = put(tmp_path)
    shelf = Regions({"lantern": folder})
    made: list[str] = []

    def counted(region: Region, word: str) -> str:
        made.append(word)
        return f"{region.id} {word}"

    def ask() -> None:
        assert shelf["lantern"].view(counted, "a") == "lantern a"

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert made == ["a"]
    assert shelf["lantern"] is shelf["lantern"]
    assert protocol_of(shelf["lantern"]) is protocol_of(shelf["lantern"])


def test_a_record_of_an_unknown_region_is_refused_with_the_known_ones() -> None:
    with pytest.raises(UserError, match='region: got "elbow", expected one of lantern'):
        chosen_region({"lantern": region_called("lantern")}, "elbow")


# --- What is refused, and how


def fault(folder: Path) -> str:
    with pytest.raises(UserError) as caught:
        load_region(folder)
    return caught.value.message


@pytest.mark.parametrize("part", REQUIRED, ids=lambda part: part.name)
def test_a_required_part_that_is_missing_is_named(part: RegionPart, tmp_path: Path) -> None:
    folder = put(tmp_path)
    for path in folder.glob(part.file):
        path.unlink()
    said = fault(folder)
    assert f'region lantern: {part.file}: got "no such file", expected {part.what}.' in said
    assert "Every region needs this part." in said


@pytest.mark.parametrize("part", WEIGHING, ids=lambda part: part.name)
def test_half_of_what_weighing_needs_is_refused(part: RegionPart, tmp_path: Path) -> None:
    folder = put(tmp_path)
    (folder / part.file).unlink()
    assert "Probabilities need all of these parts" in fault(folder)


def test_a_part_of_an_unknown_name_is_refused_with_the_nearest(tmp_path: Path) -> None:
    folder = put(tmp_path)
    (folder / "figures.yaml").write_text("places: []")
    said = fault(folder)
    assert 'figures.yaml: got "a file that is no part of a region"' in said
    assert said.endswith("Did you mean figure.yaml?")


BROKEN = {
    "region.yaml": ("region: lantern", "region: lamp", 'got "lamp", expected "lantern"'),
    "protocol/2_look.yaml": ("stage: look", "stage: stare", "unknown stage stare"),
    "protocol/4_shake.yaml": ("aspects: [pain]", "aspects: [wing]", "aspects ['wing'] not among"),
    "history.yaml": ("questions:", "asked:", "history.yaml: questions: got nothing"),
    "readings.yaml": ("item: tap", "item: tip", "unknown items ['tip']"),
    "red_flags.yaml": ("shake and tap", "shake and tip", "items and stages of the protocol"),
    "variants.yaml": ("[glass_tenderness]", "[glass_temper]", "an item of the protocol"),
    "figure.yaml": ("{wick_swelling:", "{wick_swilling:", "an item of the protocol"),
    "line_words.yaml": ("tap: [tap]", "tap: [shake]", "one meaning"),
    "norms.csv": ("our judgement,yes", "recalled,yes", "norms.csv, line 2, mark"),
    "error.csv": (",4,", ",inf,", 'sem: got "inf", expected a finite number'),
    "accuracy.csv": ("frayed_wick:1", "frayed_wack:1", "a condition of the network"),
    "links.csv": ("0.5", "5", "a number from 0 to 1"),
    "pretest.csv": ("primary", "harbour", "pretest.csv P001.setting"),
    "conditions.yaml": ("[0.6, 0.8]", "[0.6]", "one complaint link for each"),
    "families.yaml": ("most: 0.75", "most: 75", "at most 0.75"),
    "case_mix.yaml": ("[0.2, 0.1]", "[0.2]", "one figure for each level"),
    "combinations.csv": (",all,", ",most,", "exactly k or at least k"),
    "side_difference.csv": ("invented for tests", "", "expected a source"),
    "change.csv": ("C002", "C001", "each row its own id"),
    "strength_norms.csv": (",yes", ",perhaps", "yes or no"),
    "grading.yaml": ("weight: 0.5", "weight: 0.4", "never against a finding"),
    "practice.yaml": ("sd: 15", "sd: -15", "practice.yaml.ages.sd"),
    "agreement.csv": ("our judgement,yes", "recalled,yes", "agreement.csv, line 2, mark"),
    "codes.csv": ("our judgement", "recalled", "codes.csv, line 2.mark"),
    "visits.yaml": ("[glass_tenderness]", "[glass_temper]", "an item of the protocol"),
}  # fmt: skip
UNCHECKED = {"manoeuvres.csv", "protocol/*.yaml"}


def test_every_part_is_broken_once() -> None:
    files = {part.file for part in (*REQUIRED, *OPTIONAL)} - UNCHECKED
    assert files <= set(BROKEN)
    assert len(BROKEN) == 26


@pytest.mark.parametrize("file", BROKEN)
def test_a_broken_part_is_said_with_its_file_and_place(file: str, tmp_path: Path) -> None:
    folder = put(tmp_path)
    there, instead, message = BROKEN[file]
    text = (folder / file).read_text(encoding="utf-8")
    assert there in text
    (folder / file).write_text(text.replace(there, instead), encoding="utf-8")
    said = fault(folder)
    assert said.startswith("region lantern: ")
    assert message in said


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("names: {shake: [shake}", "expected valid YAML"),
        ("names: {shake: 2026-03-02}", "Put it in quotes"),
        ("names: {no: [shake]}", "the key False"),
        ("names: {shake: .nan}", "Put it in quotes"),
    ],
)
def test_what_is_no_plain_data_is_refused(text: str, message: str, tmp_path: Path) -> None:
    folder = put(tmp_path)
    (folder / "line_words.yaml").write_text(text)
    assert message in fault(folder)


CALLS = "  role: optional\n  needed_when: {{rule: {rule}, because: invented for tests}}\n"


@pytest.mark.parametrize(
    ("rule", "message"),
    [
        ("{ask: whispered}", "question whispered"),
        ("{item: wick, is: {test: normal}}", "item wick"),
        ("{item: swing_force, is: {test: normal}}", "swing_force waits for swing_force"),
        ("{asked: dropped}", "needed_when.rule"),
    ],
)
def test_what_calls_for_an_item_is_refused_where_it_can_never_be_answered(
    rule: str, message: str, tmp_path: Path
) -> None:
    folder = put(tmp_path)
    file = folder / "protocol" / "3_swing.yaml"
    text = file.read_text()
    assert text.count("  role: optional\n") == 1
    file.write_text(text.replace("  role: optional\n", CALLS.format(rule=rule)))
    said = fault(folder)
    assert said.startswith("region lantern: protocol: swing_force: needed_when")
    assert message in said


def test_what_calls_for_an_item_loads_where_it_can_be_answered(tmp_path: Path) -> None:
    folder = put(tmp_path)
    file = folder / "protocol" / "3_swing.yaml"
    called = CALLS.format(rule="{ask: dropped}")
    file.write_text(file.read_text().replace("  role: optional\n", called))
    assert [one.item for one in called_for_rules(load_region(folder))] == ["swing_force"]


def test_a_ragged_table_is_refused_with_its_line(tmp_path: Path) -> None:
    folder = put(tmp_path)
    with (folder / "norms.csv").open("a") as file:
        file.write("N003,swing_out\n")
    assert "norms.csv, line 4: got" in fault(folder)


def test_all_that_is_wrong_is_said_at_once(tmp_path: Path) -> None:
    folder = put(tmp_path)
    (folder / "variants.yaml").write_text("- {id: 5}")
    (folder / "figure.yaml").write_text("places: 5")
    with pytest.raises(UserErrors) as caught:
        load_region(folder)
    assert {error.where.split(": ")[1].partition("[")[0] for error in caught.value.errors} >= {
        "variants.yaml", "figure.yaml.places",
    }  # fmt: skip


def test_a_fit_of_other_figures_is_refused(tmp_path: Path) -> None:
    folder = put(tmp_path)
    text = (folder / "accuracy.csv").read_text()
    (folder / "accuracy.csv").write_text(text.replace("24,12,16,48,,", "25,12,15,48,,").replace(
        "0.6,computed", "0.625,computed"))  # fmt: skip
    said = fault(folder)
    assert "fitted.npz" in said
    assert f"Run `python -m sidewise.evidence.build {folder}`" in said


def test_a_missing_fit_says_how_to_make_one(tmp_path: Path) -> None:
    folder = put(tmp_path)
    (folder / "fitted.npz").unlink()
    assert "Run `python -m sidewise.evidence.build" in fault(folder)


def test_an_absent_part_that_is_asked_for_says_what_is_missing(tmp_path: Path) -> None:
    part = next(part for part in OPTIONAL if part.name == "figure")
    region = load_region(put(tmp_path, (part,)))
    with pytest.raises(UserError, match=r"figure\.yaml: got .* expected the places") as caught:
        region.part("figure")
    assert caught.value.do == part.without


@pytest.mark.parametrize("command", ["check", "interpret", "note", "follow", "batch"])
def test_a_command_on_a_broken_region_ends_with_status_2(
    command: str, install: Install, tmp_path: Path
) -> None:
    folder = install()
    (folder / "history.yaml").unlink()
    exam = write_examination(tmp_path)
    (tmp_path / "in").mkdir()
    write_examination(tmp_path / "in")
    words = [str(exam), str(exam)] if command == "follow" else [str(exam)]
    if command == "batch":
        words = [str(tmp_path / "in"), str(tmp_path / "out")]
    code = "from sidewise.cli import main; main()"
    done = subprocess.run([sys.executable, "-c", code, command, *words], capture_output=True,
                          text=True, check=False)  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.startswith('region lantern: history.yaml: got "no such file"')


# --- The packed form


def test_a_second_start_parses_no_text(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, cache = put(tmp_path), tmp_path / "cache"
    first = load_region(folder, cache=cache)
    assert sorted(path.suffix for path in cache.iterdir()) == [".checked", ".json"]
    monkeypatch.setattr(reading, "read_yaml", pytest.fail)
    monkeypatch.setattr("sidewise.knowledge.reading.read_table", pytest.fail)
    monkeypatch.setattr("sidewise.regions.check_region", pytest.fail)
    second = load_region(folder, cache=cache)
    assert second.parts == first.parts
    assert second.fingerprint == first.fingerprint


@pytest.mark.parametrize("name", SWEPT)
def test_a_pack_gives_back_exactly_what_was_read(name: str, tmp_path: Path) -> None:
    region = region_called(name)
    path = tmp_path / "pack.json"
    assert pack.write_pack(path, region.fingerprint, region.parts)
    assert pack._read(path, region.fingerprint) == region.parts
    assert json.loads(path.read_text().splitlines()[0])["key"] == region.fingerprint


def test_a_changed_text_file_makes_a_pack_stale(tmp_path: Path) -> None:
    folder, cache = put(tmp_path), tmp_path / "cache"
    before = open_region(folder, cache=cache)
    text = (folder / "region.yaml").read_text()
    (folder / "region.yaml").write_text(text.replace("label: lantern joint", "label: lamp joint"))
    after = open_region(folder, cache=cache)
    assert (before.label, after.label) == ("lantern joint", "lamp joint")
    assert open_region(folder, cache=cache).label == "lamp joint"


@pytest.mark.parametrize("harm", ["cut", "letters", "no key", "empty", "bytes"])
def test_a_damaged_pack_counts_for_nothing(harm: str, tmp_path: Path) -> None:
    folder, cache = put(tmp_path), tmp_path / "cache"
    whole = open_region(folder, cache=cache)
    (path,) = cache.iterdir()
    text = path.read_text()
    harmed = {
        "cut": text[: len(text) // 2], "letters": text.replace("lantern joint", "another one"),
        "no key": text.replace(whole.fingerprint, "0" * 64), "empty": "",
        "bytes": "\x00" + text,
    }[harm]  # fmt: skip
    path.write_text(harmed)
    assert open_region(folder, cache=cache).parts == whole.parts
    assert path.read_text() == text


def test_a_place_that_cannot_be_written_is_no_error(tmp_path: Path) -> None:
    folder = put(tmp_path)
    (tmp_path / "cache").write_text("a file stands where the folder should")
    assert load_region(folder, cache=tmp_path / "cache").id == "lantern"


def test_a_cache_is_made_for_its_owner_only(tmp_path: Path) -> None:
    cache = tmp_path / "home" / "cache" / "knowledge"
    load_region(put(tmp_path), cache=cache)
    for folder in (cache, *cache.parents[:2]):
        assert folder.stat().st_mode & 0o777 == 0o700
    assert len(list(cache.iterdir())) == 2


def test_what_was_checked_when_it_was_installed_is_not_checked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = put(tmp_path)
    assert door.main([str(folder)]) == 0
    assert capsys.readouterr().out == "lantern: checked and packed.\n"
    with monkeypatch.context() as patch:
        patch.setattr(door, "check_region", pytest.fail)
        patch.setattr("sidewise.knowledge.region.read_parts", pytest.fail)
        assert load_region(folder, cache=tmp_path / "fresh").id == "lantern"
    (folder / "variants.yaml").write_text("- {id: 5}")
    assert door.main([str(folder)]) == 2
    assert "variants.yaml[0]" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("there", "instead", "where", "expected"),
    [
        ("swollen", "bulging", "places.wick.wick_swelling", "one of tender"),
        ("places:", "seen_from: {swing: below}\nplaces:", "seen_from.swing", "front, back, side"),
        ("places:", "marks: {tip: scar}\nplaces:", "tip", "an item of the protocol"),
        ("places:", "postures: {items: {}}\nplaces:", "postures.basis", ""),
    ],
)
def test_a_figure_that_fits_nothing_is_refused(
    there: str, instead: str, where: str, expected: str, tmp_path: Path
) -> None:
    folder = put(tmp_path)
    file = folder / "figure.yaml"
    file.write_text(file.read_text().replace(there, instead))
    said = fault(folder)
    assert where in said
    assert expected in said


def test_an_atlas_of_other_places_is_refused(tmp_path: Path) -> None:
    folder = put(tmp_path)
    shutil.copytree(SHIPPED / "shoulder" / "atlas", folder / "atlas")
    said = fault(folder)
    assert "places.wick" in said
    assert "one of acj" in said


def test_a_region_is_packed_at_build(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = put(tmp_path)
    assert pack.main([str(folder)]) == 0
    assert "lantern: " in capsys.readouterr().out
    region = open_region(folder)
    assert pack._read(folder / PACK, region.fingerprint) == region.parts
    (folder / "history.yaml").unlink()
    assert pack.main([str(folder)]) == 2
    assert "history.yaml" in capsys.readouterr().err
