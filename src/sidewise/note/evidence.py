"""The evidence behind one interpretation: every figure used, how it is known, which knowledge.

For a reader who wants to check and disagree, and for one who must say years later why something was
said then. What moved nothing is left out, and that is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sidewise import __version__
from sidewise.evidence.fit.fitted import fitted_of
from sidewise.ground.provenance import Provenance
from sidewise.ground.settings import SETTING_WORDS
from sidewise.knowledge.region import Region
from sidewise.note.basis import reading_lines
from sidewise.note.document import NoteDocument, NotePart, note_part
from sidewise.note.header import header_sentences
from sidewise.note.text import signature_line
from sidewise.protocol import protocol_of
from sidewise.reason.result import ConditionPosterior, Interpretation
from sidewise.record import Record

NOT_HERE = (
    "Conditions and readings that no finding moved are not listed; `sidewise sources` has all."
)


def evidence_document(record: Record, result: Interpretation, region: Region) -> NoteDocument:
    """Everything that the interpretation rests on, as parts of a paper."""
    parts = (
        NotePart("versions", tuple(_versions(result, region))),
        *note_part("red flags", _flags(result)),
        *note_part("conditions", _conditions(result), "list"),
        *note_part("differences of the sides", _differences(result), "list"),
        *note_part("usual values", _norms(result), "list"),
        *note_part("normal variants", _variants(result), "list"),
        *note_part("what was doubted", result.warnings, "list"),
    )
    readings = note_part(
        "studies and links of the readings used", _readings(result, region), "list"
    )
    heading = (
        f"Evidence: {record.context.patient}",
        *header_sentences(record, protocol_of(region)),
    )
    return NoteDocument(heading, parts, signature_line(record), readings)


def _versions(result: Interpretation, region: Region) -> Iterator[str]:
    yield f"sidewise {__version__}; knowledge of the {region.label} {result.knowledge_version}."
    if region.has_weighing:
        fit = fitted_of(region)
        rows = len(fit.summary["rows"])
        yield f"Fit {fit.fingerprint[:12]}, from {rows} published rows."
    where = SETTING_WORDS.get(result.setting, result.setting)
    yield f"Pre-test figures for {where}. Chance comes from the record's own number alone."
    yield NOT_HERE
    yield from result.cautions


def _cited(sources: Iterable[Provenance]) -> str:
    told = dict.fromkeys(f"{one.mark}: {one.source}" for one in sources)
    return f" [{'; '.join(told)}]" if told else ""


def _flags(result: Interpretation) -> Iterator[str]:
    for flag in result.red_flags:
        if flag.status == "raised" or flag.because:
            why = f" because {'; '.join(flag.because)}" if flag.because else ""
            yield f"{flag.label}, {flag.status}, {flag.urgency}{why}.{_cited(flag.sources)}"


def _moved(result: Interpretation) -> Iterator[tuple[str, ConditionPosterior]]:
    groups = [(side, found.conditions) for side, found in result.sides.items()]
    for side, conditions in (*groups, ("whole person", result.whole_person.conditions)):
        yield from ((side, one) for one in conditions if one.because and one.posterior is not None)


def _conditions(result: Interpretation) -> Iterator[str]:
    for side, one in _moved(result):
        yield (
            f"{side}, {one.label}: {one.prior:.1%} before, {one.estimate:.1%} after "
            f"({one.low or 0:.1%} to {one.high or 0:.1%}). Before:{_cited(one.prior_sources)}"
        )
        for because in one.because:
            little = ", tells little" if because.tells_little else ""
            yield (
                f"{side}, {one.label}: {because.side} {because.label}, {because.found}: log odds "
                f"{because.effect:+.2f}, rests on {because.leans_on}{little}"
                f"{_cited(because.sources)}"
            )


def _differences(result: Interpretation) -> Iterator[str]:
    yield from (f"{one.sentence}{_cited(one.sources)}" for one in result.differences)


def _norms(result: Interpretation) -> Iterator[str]:
    yield from (f"{one.side} {one.sentence}{_cited([one.source])}" for one in result.norms)


def _variants(result: Interpretation) -> Iterator[str]:
    yield from (f"{one.label}: {one.why}{_cited(one.sources)}" for one in result.variants)


def _readings(result: Interpretation, region: Region) -> Iterator[str]:
    used = dict.fromkeys(b.reading for _, one in _moved(result) for b in one.because)
    known = protocol_of(region).readings_by_id
    for name in used:
        if name in known:
            yield from (line.strip() for line in reading_lines(known[name], region))
