"""One simulated case: a patient drawn, examined and given a voice, and the truth about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.errors import UserError
from sidewise.evidence.conditions import conditions_of
from sidewise.evidence.fit.fitted import stable_seed
from sidewise.evidence.pretest.person import Case
from sidewise.knowledge.region import Region
from sidewise.practice.findings import Examined, whole_findings
from sidewise.practice.patient_truth import (
    DRAWS,
    Drawn,
    SimulatedPerson,
    draw_person,
    draw_truths,
    log_truth,
    network_of,
)
from sidewise.practice.story import Story, story_of
from sidewise.practice.ways import PatientWays, patient_ways
from sidewise.practice.wishes import NONE, CaseWishes, Fixed, settled_wishes
from sidewise.protocol import protocol_of
from sidewise.reason.interpretation import knowledge_version
from sidewise.reason.judging.flags import flag_book_of, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.reason.weighing.layout import network_layout
from sidewise.reason.weighing.pretest_prior import pretest_prior
from sidewise.record import Context, Record
from sidewise.record.reading import SIMULATED

CHOICE = 6
"""Patients among which an easy case is the plainest, and a hard one the most misleading."""
ATTEMPTS = 40
"""Patients drawn before wishes about flags are said not to go together."""
SPAN = 10
DECADES = tuple(range(20, 90, SPAN))


@dataclass(frozen=True)
class PracticeCase:
    """A simulated patient and the truth.

    record: what there is to find, a record that no bedside reads. raised: ids of the flags that
    the findings raise.
    """

    seed: int
    wishes: CaseWishes
    knowledge_version: str
    record: Record
    story: Story
    drawn: Drawn
    examined: Examined
    raised: tuple[str, ...]

    @property
    def id(self) -> str:
        """The name of the case."""
        return self.record.id


def practice_case(region: Region, seed: int, wishes: CaseWishes | None = None) -> PracticeCase:
    """The case of a seed: the same for the same seed, wishes, knowledge and version.

    UserError where the wishes contradict one another, or the region cannot make patients.
    """
    if not 0 <= seed < 2**63:
        raise UserError("seed", seed, "a whole number from 0")
    wanted = wishes or CaseWishes()
    ways = patient_ways(region)
    fixed = settled_wishes(wanted, conditions_of(region), ways)
    rng = np.random.default_rng([seed, stable_seed(region.id, "practice")])
    for _ in range(ATTEMPTS):
        case = _one(region, ways, seed, wanted, fixed, rng)
        if _flags_as_wished(case, wanted):
            return case
    raise UserError("wishes", f"flags {', '.join(wanted.flags)}", "wishes that go together",
                    f"None of {ATTEMPTS} patients had them; ask for fewer.")  # fmt: skip


def _flags_as_wished(case: PracticeCase, wishes: CaseWishes) -> bool:
    if NONE in wishes.flags:
        return not case.raised
    return set(wishes.flags) <= set(case.raised)


def _one(
    region: Region,
    ways: PatientWays,
    seed: int,
    wishes: CaseWishes,
    fixed: Fixed,
    rng: np.random.Generator,
) -> PracticeCase:
    drawn = _chosen(region, ways, wishes, fixed, rng)
    protocol = protocol_of(region)
    flags = tuple(flag for flag in wishes.flags if flag != NONE)
    story = story_of(ways, protocol, region.label, drawn, flags, rng)
    version = knowledge_version(region)
    blank = _blank(region, seed, version, drawn.person, story)
    found = whole_findings(region, ways, drawn, blank, rng)
    record = blank.model_copy(update={"findings": found.findings})
    flags_there = red_flags(Judge(protocol, record), flag_book_of(region))
    raised = tuple(flag.flag for flag in flags_there if flag.status == "raised")
    return PracticeCase(seed, wishes, version, record, story, drawn, found, raised)


def _chosen(
    region: Region, ways: PatientWays, wishes: CaseWishes, fixed: Fixed, rng: np.random.Generator
) -> Drawn:
    """One drawn patient; of several the plainest, or the most misleading, where that is wished."""
    person = _person(region, ways, wishes, fixed, rng)
    network = network_of(region, person, fixed)
    if wishes.difficulty == "usual":
        return next(draw_truths(network, ways, person, 1, rng))
    pick = min if wishes.difficulty == "hard" else max
    drawn = draw_truths(network, ways, person, CHOICE, rng)
    return pick(drawn, key=lambda one: log_truth(network, one))


def _person(
    region: Region, ways: PatientWays, wishes: CaseWishes, fixed: Fixed, rng: np.random.Generator
) -> SimulatedPerson:
    present = {name: levels for name, levels in fixed.levels.items() if levels != (0,)}
    pictures = [ways.conditions[name] for name in present if name in ways.conditions]
    least = max((picture.never_below for picture in pictures), default=0)
    person = draw_person(ways, rng, age=wishes.age, least=least, setting=wishes.setting)
    if wishes.age is None and present:
        age = _age_with(region, ways, person, present, least, rng)
        person = SimulatedPerson(age, person.sex, person.dominant, person.complaint, person.setting)
    return person


def _age_with(
    region: Region,
    ways: PatientWays,
    person: SimulatedPerson,
    present: dict[str, tuple[int, ...]],
    least: int,
    rng: np.random.Generator,
) -> int:
    """An age as it is among people who have what is wished for: Bayes over spans of ten years.

    Sex is left out of it: it moves the figures little, and the spans of one setting are kept.
    """
    laid = network_layout(region, person.complaint)
    numbers = {one.name: place for place, one in enumerate(laid.structure.variables)}
    ages = [age for age in DECADES if max(ways.ages.low, least) <= age <= ways.ages.high]
    weights = []
    for age in ages:
        case = Case(person.setting, age, "", len(person.complaint))
        shares = pretest_prior(region, case, person.complaint, DRAWS).mean.marginal[0]
        weight = np.exp(-0.5 * ((age - ways.ages.mean) / ways.ages.sd) ** 2)
        for name, levels in present.items():
            variable = numbers.get(name, numbers.get(f"{name}.{person.complaint[0]}", -1))
            weight *= max(shares[variable, list(levels)].sum(), 1e-9)
        weights.append(weight)
    share = np.array(weights)
    start = ages[int(rng.choice(len(ages), p=share / share.sum()))]
    age = start - SPAN // 2 + int(rng.integers(SPAN))
    return min(max(age, least, ways.ages.low), ways.ages.high)


def _blank(
    region: Region, seed: int, version: str, person: SimulatedPerson, story: Story
) -> Record:
    context = Context.model_validate(
        {
            "patient": f"{SIMULATED}-{seed}",
            "examiner": "simulated",
            # No day of anybody's: the same for every case, so that the file is the same.
            "examined_at": "2000-01-01T00:00:00+00:00",
            "setting": person.setting,
            "age": person.age,
            "sex": person.sex,
            "dominant": person.dominant,
            "complaint": person.complaint,
            "onset": story.onset,
            "duration_weeks": story.weeks,
            "pain_0_10": story.pain,
            "history": dict(story.history),
            "vitals": dict(story.vitals),
        }
    )
    return Record(id=f"case-{seed}-{version}", region=region.id, context=context)
