"""The note: flags first, sides compared, nothing unexamined called normal, one page if normal."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import pytest

from sidewise.note import completeness, note_body, note_html, note_text
from sidewise.note.basis import basis_text, residual_text
from sidewise.note.header import duration_words
from sidewise.note.phrases import value_phrase
from sidewise.reason import interpret
from sidewise.record import Finding, Record, read_record
from sidewise.record.model import Conclusion
from tests.builders import angle, found, negative, positive, record, unable
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted(ROOT.glob("examples/*.json"))
PAGE = 60  # Lines of a page of A4 at 10 points, common practice, no source.


@lru_cache(maxsize=32)
def example(name: str) -> tuple[Record, str]:
    one = read_record(ROOT / "examples" / f"{name}.json", REGIONS)
    return one, note_text(one, interpret(one, SHOULDER), SHOULDER)


def note(*findings: object, **context: object) -> str:
    one = record(*findings, **context)  # type: ignore[arg-type]
    return note_text(one, interpret(one, SHOULDER), SHOULDER)


def test_a_normal_examination_fits_one_page() -> None:
    _, text = example("normal-with-variants")
    assert len(text[: text.index("EVERYTHING THAT WAS RECORDED")].splitlines()) < PAGE


def test_a_raised_flag_stands_before_every_finding_and_probability() -> None:
    _, text = example("hot-joint")
    raised = text.index("RAISED (emergency): hot, swollen joint")
    assert raised < text.index("ABNORMAL") < text.index("WHAT IT MAY MEAN") < text.index("\nLOOK  ")
    assert "do: Same-day emergency pathway" in text
    assert raised < text.index("Act on the raised flags first") < text.index("ABNORMAL")


def test_what_was_not_asked_is_named() -> None:
    _, text = example("frozen")
    assert re.search(r"NOT EXCLUDED until asked or examined \(.*fever", text)


def test_what_was_not_examined_is_never_called_normal() -> None:
    text = note(negative("neer", "right"))
    assert "Neer sign: right negative; left not examined" in text
    normal = " ".join(line for line in text.splitlines() if "normal:" in line)
    assert "Neer" not in normal


def test_nothing_examined_never_reads_as_reassurance() -> None:
    text = note()
    assert "nothing examined bears on any listed condition" in text
    assert "no listed condition is made more likely" not in text


def test_essential_items_left_out_are_listed() -> None:
    text = note(negative("neer", "right"), negative("neer", "left"))
    assert "NOT EXAMINED (essential):" in text
    assert "Hawkins-Kennedy" in text.split("NOT EXAMINED (essential):")[1]


def test_unable_is_listed_with_its_reason() -> None:
    assert "left Neer sign: too sore" in note(unable("neer", "left"))


def test_a_conflict_is_said_and_counts_as_not_examined() -> None:
    text = note(positive("neer", "left"), negative("neer", "left"))
    assert "CONFLICT, counts as not examined" in text
    assert "CONFLICT, to be settled before signing: left Neer sign" in text


def test_left_stays_left() -> None:
    text = note(angle("flexion", "left", 90), angle("flexion", "right", 170))
    assert re.search(r"flexion, passive: right 170°; left 90°", text)


def test_a_real_difference_is_said_with_its_error() -> None:
    _, text = example("frozen")
    assert re.search(r"real\s+difference 50 \(error here \d+\)", text)


def test_every_probability_carries_its_interval() -> None:
    told = [
        entry
        for path in EXAMPLES
        for entry in re.findall(r"[^.;]*?, because:", " ".join(example(path.stem)[1].split()))
    ]
    assert all(re.search(r"\(\d+ to \d+\), from [a-z0-9 ]+%, because:", entry) for entry in told)
    assert len(told) >= 12


def test_no_probability_is_zero_or_certain() -> None:
    for path in EXAMPLES:
        _, text = example(path.stem)
        assert not re.search(r"\b(0|100)%", text), path.stem


def test_the_cautions_stand_in_every_note() -> None:
    for path in EXAMPLES:
        assert "it does not diagnose" in example(path.stem)[1]


def test_the_clinicians_plan_is_printed_and_the_blanks_go() -> None:
    one = record(negative("neer", "left"))
    written = one.model_copy(
        update={"conclusion": Conclusion(impression="stiff", plan=("film in two views",))}
    )
    text = note_text(written, interpret(written, SHOULDER), SHOULDER)
    assert "impression (clinician): stiff" in text
    assert "plan 1: film in two views" in text
    assert "not written" not in text


def test_the_plan_offers_published_criteria_with_their_source() -> None:
    _, text = example("frozen")
    assert re.search(r"criterion met: Consider a plain film", text)


def test_ages_over_89_are_90_plus() -> None:
    assert "HERON-1: 90+, woman" in note(age=93)
    assert "HERON-1: 89, woman" in note(age=89)


@pytest.mark.parametrize(
    ("weeks", "words"),
    [(0, "less than a day"), (0.14, "1 day"), (0.4, "3 days"), (0.5, "4 days"), (1, "1 week"),
     (1.5, "10 days"), (1.9, "13 days"), (2, "2 weeks"), (2.5, "2.5 weeks"), (104, "104 weeks")],
)  # fmt: skip
def test_a_duration_is_said_as_people_say_it(weeks: float, words: str) -> None:
    assert duration_words(weeks) == words


def test_a_draft_says_so() -> None:
    assert "DRAFT, revision 1, not signed." in note()


def test_html_is_escaped_and_fetches_nothing() -> None:
    evil = found("scars", "left", "place", what="<script>x</script>")
    one = record(evil, patient='<b>"HERON"')
    page = note_html(one, interpret(one, SHOULDER), SHOULDER)
    assert "<script" not in page
    assert "<b>" not in page
    assert "http" not in page
    assert "patient's right" in page


def test_the_body_of_the_note_is_the_page_without_its_shell() -> None:
    one = record(found("scars", "left", "place", what="<main>x</main>"))
    result = interpret(one, SHOULDER)
    body, page = note_body(one, result, SHOULDER), note_html(one, result, SHOULDER)
    assert "<main>" not in body
    assert "&lt;main&gt;" in body
    assert "<style" not in body
    assert page.split('<main class="note">')[1].split("</main>")[0] == body


def test_a_phrase_never_hides_that_pain_limited_the_effort() -> None:
    weak = found("abduction_power", "left", "mrc", grade="4", limited_by_pain=True)
    item = PROTOCOL.item("abduction_power")
    assert value_phrase(weak.value, item) == "power 4/5, limited by pain"


def test_completeness_counts_sides_and_modes() -> None:
    summary = completeness(record(), SHOULDER)
    essential = [item for item in PROTOCOL.items if item.role == "essential"]
    places = sum(
        (2 if item.paired else 1) * len(item.needed_modes or item.modes or (None,))
        for item in essential
    )
    assert len(summary.missing) == places == 110
    assert not summary.complete
    both = [m for m in summary.missing if m.item.id == "flexion"]
    assert len(both) == 4


@pytest.mark.parametrize("name", ["hawkins_kennedy", "hawkins_pain", "frozen", ""])
def test_the_basis_of_anything_can_be_read(name: str) -> None:
    assert len(basis_text(name, SHOULDER).splitlines()) > 3


def test_residuals_list_the_worst_and_say_how_many_fit_better() -> None:
    text = residual_text("", SHOULDER)
    assert "rows that fit better" in text
    assert "Published combinations" in text
    assert "hawkins_pain" in residual_text("hawkins_pain", SHOULDER)


# --- called for ---

FEARS = positive("apprehension", "left", apprehension=True)


def test_check_says_what_is_called_for_and_open_with_its_reason() -> None:
    text = completeness(record(FEARS), SHOULDER).text("x")
    line = next(line for line in text.splitlines() if "anterior drawer" in line)
    assert line.startswith("  called for and open: ")
    assert line.endswith("Why: Fear in front was found; the glide says how much.")


def test_the_note_says_it_in_text_and_page_alike() -> None:
    one = record(FEARS)
    result = interpret(one, SHOULDER)
    text = " ".join(note_text(one, result, SHOULDER).split())
    page = note_html(one, result, SHOULDER)
    words = "anterior drawer. Why: Fear in front was found; the glide says how much."
    assert f"CALLED FOR, NOT EXAMINED: {words}" in text
    assert f"CALLED FOR, NOT EXAMINED: {words}" in page


def test_what_is_called_for_and_done_is_open_no_more() -> None:
    done = [found("anterior_drawer", side, "sign", grade="none") for side in ("left", "right")]
    one_side, both = (completeness(record(FEARS, *part), SHOULDER) for part in (done[:1], done))
    still = [m.side for m in one_side.missing if m.item.id == "anterior_drawer"]
    assert still == ["right"]
    assert "anterior drawer (right)" in one_side.text("x")
    assert [m for m in both.missing if m.item.id == "anterior_drawer"] == []


def test_an_optional_item_nobody_called_for_is_never_missing() -> None:
    summary = completeness(record(FEARS), SHOULDER)
    optional = {m.item.id for m in summary.missing if m.item.role == "optional"}
    assert optional
    assert optional <= set(summary.called)


def test_said_not_examined_is_still_open_and_could_not_is_not() -> None:
    said = Finding.model_validate(
        {"item": "neer", "side": "left", "status": "not examined", "reason": "no time"}
    )
    left_open = {(m.item.id, m.side) for m in completeness(record(said), SHOULDER).missing}
    tried = {
        (m.item.id, m.side) for m in completeness(record(unable("neer", "left")), SHOULDER).missing
    }
    assert ("neer", "left") in left_open
    assert ("neer", "left") not in tried


def test_what_a_raised_flag_withholds_is_neither_missing_nor_counted() -> None:
    one, _ = example("hot-joint")
    summary = completeness(one, SHOULDER)
    held = {entry.item for entry in interpret(one, SHOULDER).withheld}
    assert held
    assert {m.item.id for m in summary.missing if not m.item.modes} & held == set()
    assert summary.done["power"] == (0, 0)


def test_the_interpretation_says_the_same_is_needed_as_the_tally() -> None:
    swept = 0
    for path in EXAMPLES:
        one, _ = example(path.stem)
        result = interpret(one, SHOULDER)
        told = {
            (entry.item, entry.side, entry.label, entry.called_for)
            for entry in result.not_examined
            if entry.essential or entry.called_for
        }
        summary = completeness(one, SHOULDER)
        if tuple(f.flag for f in summary.raised) == tuple(
            f.flag for f in result.red_flags if f.status == "raised"
        ):
            assert told == {(m.item.id, m.side, m.label, m.because) for m in summary.unseen}
            swept += 1
    assert swept > 8
