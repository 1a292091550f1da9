"""From one record to everything that follows from it: the one entry point of the reasoner."""

from __future__ import annotations

from functools import lru_cache

from sidewise.errors import UserError
from sidewise.evidence.fitted import load_fitted, stable_seed
from sidewise.measure import differences, load_tables, norms_for
from sidewise.measure.differences import SideDifference
from sidewise.measure.errors_used import Wanted, error_for
from sidewise.measure.norms import NormComparison
from sidewise.protocol import Protocol, load_protocol
from sidewise.reason import open_items
from sidewise.reason.before import ASSUMED_AGE
from sidewise.reason.conditions import Explained, explained, side_posteriors, whole_person
from sidewise.reason.engine.sample import Percentile, evidence_percentile
from sidewise.reason.flags import Withheld, load_flags, red_flags, unasked_core, withheld
from sidewise.reason.judge import Judge, Sem
from sidewise.reason.net import layout
from sidewise.reason.observe import Observed, observe
from sidewise.reason.result import (
    Difference,
    Interpretation,
    Norm,
    SidePosteriors,
    Source,
)
from sidewise.reason.variants import Variants, variants
from sidewise.reason.weigh import Weighing, weigh
from sidewise.reason.what_next import candidates, what_next
from sidewise.record import Record

CAUTIONS = (
    "Supports a licensed clinician or a supervised learner; it does not diagnose.",
    "Follow local protocols. Red flags go to the local emergency or urgent pathway.",
    "Estimates are for the listed conditions only, which may be present together; most studies "
    "come from surgical and orthopaedic clinics.",
)
SETTINGS = ("primary", "msk_clinic", "orthopaedic", "emergency")
ADULT = 18


def interpret(record: Record, *, setting: str | None = None, draws: int = 500) -> Interpretation:
    """Weigh one record.

    `setting` overrides the record's own (one of SETTINGS; primary care if neither is stated).
    `draws` is the number of parameter draws behind the intervals: 500 on screen, 2000 in print.
    Raises UserError for an unknown setting.
    """
    protocol = load_protocol(record.region)
    used, warnings = setting_used(record, setting)
    judge = Judge(protocol, record, error_of_one_reading(record))
    book = load_flags(record.region)
    flags = red_flags(judge, book)
    kept_back = withheld(flags, book)
    excused = variants(judge)
    weighing, seen, more = _weighed(judge, excused, used, draws)
    told = _told(weighing, seen, judge, kept_back)
    place = _place(weighing, record)
    still, kept = open_items.not_examined(record, protocol, kept_back)
    return Interpretation(
        record=record.id,
        region=record.region,
        setting=used,
        cautions=CAUTIONS,
        red_flags=flags,
        sides=side_posteriors(told) if told else {},
        whole_person=whole_person(told) if told else SidePosteriors(()),
        differences=tuple(_difference(d) for d in differences(record, protocol)),
        norms=tuple(_norm(n, protocol) for n in norms_for(record, protocol)),
        variants=excused.found,
        next=what_next(
            told.weighing.layout if told else None,
            told.gains if told else None,
            judge,
            flags,
            kept_back,
        ),
        withheld=kept,
        not_examined=still,
        unable=open_items.unable(record, protocol),
        conflicts=open_items.conflicts(record, protocol),
        not_asked=unasked_core(protocol, judge),
        warnings=(*warnings, *more, *_doubts(weighing, place)),
        evidence_percentile=place.percentile if place else None,
        knowledge_version=load_fitted(record.region).fingerprint[:12],
    )


def _told(
    weighing: Weighing | None, seen: Observed, judge: Judge, kept_back: Withheld
) -> Explained | None:
    if weighing is None:
        return None
    return explained(weighing, seen, candidates(weighing.layout, judge, kept_back))


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
    if chosen not in SETTINGS:
        raise UserError("setting", chosen, f"one of {', '.join(SETTINGS)}")
    return chosen, ()


def error_of_one_reading(record: Record) -> Sem:
    """The published error of one reading, for thresholds that are nearly met."""
    region = record.region

    def sem(item: str, mode: str | None, instrument: str | None) -> float | None:
        return _single_error(region, item, mode, instrument or "eye")

    return sem


@lru_cache(maxsize=1024)
def _single_error(region: str, item: str, mode: str | None, instrument: str) -> float | None:
    used = error_for(Wanted("angle", item, mode, instrument), load_tables(region))
    if used is None or used.unit == "percent":
        return None
    single = used.error.sem
    return single / 2**0.5 if used.error.of_difference else single


def _weighed(
    judge: Judge, excused: Variants, setting: str, draws: int
) -> tuple[Weighing | None, Observed, tuple[str, ...]]:
    """The record weighed, or why no probability is shown."""
    record = judge.record
    age = record.context.age
    if age is not None and age < ADULT:
        return None, Observed((), ()), ("Under 18: no figure here applies; none is shown.",)
    seen = observe(judge, layout(record.region, record.context.complaint), excused)
    more = [] if age is not None else [f"Age was not stated; {ASSUMED_AGE} is assumed."]
    if not record.context.complaint:
        more.append("No side was stated to complain; figures for sides without complaint are used.")
    return weigh(record, seen, setting, draws), seen, tuple(more)


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
        sources=tuple(Source(text, "") for text in d.sources),
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
        source=Source(n.source, n.mark),
    )
