"""From one record to everything that follows from it: the one entry point of the reasoner."""

from __future__ import annotations

import hashlib

from sidewise.errors import UserError
from sidewise.evidence.fit.fitted import fitted_of, stable_seed
from sidewise.ground.provenance import Mark, Provenance
from sidewise.ground.settings import SETTING_WORDS, SETTINGS, STANDS_IN
from sidewise.kinds.result import ResultLimits
from sidewise.knowledge.manifest import NO_WEIGHING, WEIGHING
from sidewise.knowledge.region import Region
from sidewise.measure import norms_for, side_differences, tables_of
from sidewise.measure.norms.norms import NormComparison
from sidewise.measure.norms.tables import provenance_of
from sidewise.measure.sides.differences import SideDifference
from sidewise.measure.sides.errors_used import Wanted, error_for
from sidewise.network import Percentile, evidence_percentile
from sidewise.protocol import Protocol, protocol_of
from sidewise.reason.judging import open_items
from sidewise.reason.judging.flags import (
    FlagBook,
    Meaningless,
    Withheld,
    flag_book_of,
    meaningless,
    red_flags,
    unasked_core,
    withheld,
)
from sidewise.reason.judging.grading import grading_of
from sidewise.reason.judging.judge import Judge, Sem
from sidewise.reason.judging.not_looked import not_looked_at
from sidewise.reason.judging.observations import Observed, Unstated, observe
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.judging.variants import Variants, variants, variants_of
from sidewise.reason.judging.visit_calls import visit_of, wanted_calls
from sidewise.reason.result import (
    Difference,
    FollowedUp,
    Interpretation,
    Norm,
    NotWeighed,
    SidePosteriors,
    ToState,
)
from sidewise.reason.weighing.explanation import (
    Explanation,
    explain_weighing,
    side_posteriors,
    whole_person,
)
from sidewise.reason.weighing.layout import network_layout
from sidewise.reason.weighing.posterior import Weighing, weigh_record
from sidewise.reason.weighing.pretest_prior import ASSUMED_AGE
from sidewise.reason.weighing.suggestions import open_readings, suggest
from sidewise.record import Record

CAUTIONS = (
    "Supports a licensed clinician or a supervised learner; it does not diagnose.",
    "Follow local protocols. Red flags go to the local emergency or urgent pathway.",
)
"""Cautions for every region; none can omit them. Its own follow (`Protocol.cautions`)."""
ADULT = 18


def interpret(
    record: Record, region: Region, *, setting: str | None = None, draws: int = 500
) -> Interpretation:
    """Weigh one record of a region. Warnings name what the region lacks.

    `setting` overrides the record's own (one of SETTINGS; primary care if neither is stated).
    `draws` is the number of parameter draws behind the intervals: 500 on screen, 2000 in print.
    Raises UserError for an unknown setting.
    """
    assert record.region == region.id, "a record is weighed by the knowledge of its own region"
    protocol, tables = protocol_of(region), tables_of(region)
    record = record_with_results(record, protocol)
    used, warnings = setting_used(record, setting)
    judge = Judge(protocol, record, error_of_one_reading(region))
    book = flag_book_of(region)
    flags = red_flags(judge, book)
    withheld_items, void = withheld(flags, book), meaningless(flags, book)
    excused = variants(judge, variants_of(region))
    weighing, seen, more = _weighed(judge, region, excused, void, used, draws)
    explanation = _explanation(weighing, seen, judge, withheld_items, void)
    suggested = suggest(
        explanation.weighing.layout if explanation else None,
        explanation.gains if explanation else None,
        judge,
        book,
        flags,
        withheld_items,
    )
    place = _place(weighing, record)
    # What is called for is the same on page and paper: thresholds are taken at their word.
    called = wanted_calls(record, region, flags)
    still, kept = open_items.not_examined(record, protocol, withheld_items, called)
    return Interpretation(
        record=record.id,
        region=record.region,
        setting=used,
        cautions=(*CAUTIONS, *protocol.cautions),
        red_flags=flags,
        sides=side_posteriors(explanation) if explanation else {},
        whole_person=whole_person(explanation) if explanation else SidePosteriors(()),
        differences=tuple(_difference(d) for d in side_differences(record, protocol, tables)),
        norms=tuple(_norm(n, protocol) for n in norms_for(record, protocol, tables)),
        variants=excused.found,
        next=suggested.steps,
        withheld=kept,
        not_examined=still,
        unable=open_items.unable(record, protocol, called),
        conflicts=open_items.conflicts(record, protocol, called),
        not_asked=unasked_core(protocol, judge),
        warnings=(*warnings, *more, *_doubts(weighing, place), *not_said(region)),
        evidence_percentile=place.percentile if place else None,
        knowledge_version=knowledge_version(region),
        not_looked_at=not_looked_at(flags, book, protocol, record),
        not_weighed=_not_weighed(seen, void),
        visit=visit_of(record, protocol).id,
        followed_up=_followed_up(record, book),
        to_state=tuple(_to_state(entry, protocol) for entry in seen.unstated),
        next_end=suggested.end,
    )


def _followed_up(record: Record, book: FlagBook) -> tuple[FollowedUp, ...]:
    """What the signature says of each raised flag, by the flag's label."""
    labels = {rule.id: rule.label for rule in book.flags}
    told = (record.signed.follow_up or ()) if record.signed else ()
    return tuple(
        FollowedUp(one.flag, labels.get(one.flag, one.flag), one.who, one.by_when, one.told,
                   one.not_arranged)
        for one in told
    )  # fmt: skip


def _explanation(
    weighing: Weighing | None,
    seen: Observed,
    judge: Judge,
    withheld_items: Withheld,
    void: Meaningless,
) -> Explanation | None:
    if weighing is None:
        return None
    still_open = open_readings(weighing.layout, judge, withheld_items, void)
    return explain_weighing(weighing, seen, still_open, void)


def _not_weighed(seen: Observed, void: Meaningless) -> tuple[NotWeighed, ...]:
    """Findings that a raised flag takes the meaning from, in the protocol's order."""
    readings = ((entry.seat.reading, entry.seat.side) for entry in seen.silent if entry.withheld)
    return tuple(
        NotWeighed(reading.item, side, reading.id, reading.label, void.why(reading, side) or "")
        for reading, side in readings
    )


def _to_state(entry: Unstated, protocol: Protocol) -> ToState:
    item = protocol.item(entry.item)
    limits = item.kind("result")
    assert isinstance(limits, ResultLimits), "only results are positive in some way"
    ways = tuple(limits.word(aspect) for aspect in limits.aspects)
    where = tuple(f"at: {name}" for name in limits.places)
    several = len(ways) > 1 or not where
    return ToState(entry.item, entry.side, item.label, (*(ways if several else ()), *where))


def _place(weighing: Weighing | None, record: Record) -> Percentile | None:
    if weighing is None:
        return None
    return evidence_percentile(
        weighing.mean, weighing.evidence, stable_seed(record.id, "percentile")
    )


def _doubts(weighing: Weighing | None, place: Percentile | None) -> tuple[str, ...]:
    unusual = place is not None and place.unusual
    return (
        *(weighing.summary.warnings if weighing else ()),
        *(("An unusual combination of findings; check sides and entries.",) if unusual else ()),
    )


def setting_used(record: Record, setting: str | None) -> tuple[str, tuple[str, ...]]:
    chosen = setting or record.context.setting
    if chosen is None:
        return "primary", ("The setting was not stated; primary care is assumed.",)
    if (stand_in := STANDS_IN.get(chosen)) is not None:
        where, like = SETTING_WORDS[chosen], SETTING_WORDS[stand_in]
        warning = (
            f"There are no figures from before the examination for a {where}: those of a {like} "
            "are used, which is our judgement; who is seen there may differ much."
        )
        return stand_in, (warning,)
    if chosen not in SETTINGS:
        raise UserError("setting", chosen, f"one of {', '.join(SETTINGS)}")
    return chosen, ()


READ_FOR_AN_ANSWER = (
    *(part.name for part in WEIGHING),
    "variants",
    "norms",
    "strength_norms",
    "error",
    "side_difference",
)


def not_said(region: Region) -> tuple[str, ...]:
    """What no interpretation of this region can say, for want of a part."""
    unmeasured = () if region.has_weighing else (NO_WEIGHING,)
    return tuple(dict.fromkeys((*unmeasured, *region.without(*READ_FOR_AN_ANSWER))))


def knowledge_version(region: Region) -> str:
    """The shortened hash of all texts of a region and of its fit: of all an answer is made from."""
    return region.view(_version)


def _version(region: Region) -> str:
    fit = fitted_of(region).fingerprint if region.has_weighing else ""
    return hashlib.sha256(f"{region.fingerprint}{fit}".encode()).hexdigest()[:12]


def error_of_one_reading(region: Region) -> Sem:
    """The published error of one reading, for thresholds that are only just missed."""

    def sem(item: str, mode: str | None, instrument: str | None) -> float | None:
        return region.view(_single_error, item, mode, instrument or "eye")

    return sem


def _single_error(region: Region, item: str, mode: str | None, instrument: str) -> float | None:
    used = error_for(Wanted("angle", item, mode, instrument), tables_of(region))
    if used is None or used.unit == "percent":
        return None
    single = used.error.sem
    return single / 2**0.5 if used.error.of_difference else single


def _weighed(
    judge: Judge, region: Region, excused: Variants, void: Meaningless, setting: str, draws: int
) -> tuple[Weighing | None, Observed, tuple[str, ...]]:
    """The record weighed, or why no probability is shown."""
    record = judge.record
    age = record.context.age
    if not region.has_weighing:
        return None, Observed((), ()), ()
    if age is not None and age < ADULT:
        return None, Observed((), ()), ("Under 18: no figure here applies; none is shown.",)
    laid = network_layout(region, record.context.complaint)
    seen = observe(judge, laid, excused, void, grading_of(region))
    more = [] if age is not None else [f"Age was not stated; {ASSUMED_AGE} is assumed."]
    if not record.context.complaint:
        more.append("No side was stated to complain; figures for sides without complaint are used.")
    return weigh_record(record, region, seen, setting, draws), seen, tuple(more)


def _difference(d: SideDifference) -> Difference:
    return Difference(
        item=d.item,
        mode=d.mode,
        label=d.label,
        left=d.left,
        right=d.right,
        difference=d.difference,
        threshold=d.threshold,
        unit=d.unit,
        real=d.real,
        probability=d.probability,
        clinical_probability=d.clinical_probability,
        sentence=d.sentence,
        cautions=d.cautions,
        sources=tuple(provenance_of(text) for text in d.sources),
    )


def _norm(n: NormComparison, protocol: Protocol) -> Norm:
    return Norm(
        item=n.item,
        mode=n.mode,
        side=n.side,
        label=protocol.item(n.item).label,
        value=n.number,
        unit=n.unit,
        mean=n.usual,
        sd=n.sd,
        z=n.z,
        centile=n.percentile,
        sentence=n.sentence,
        cautions=n.cautions,
        source=Provenance(Mark(n.mark), n.source),
    )
