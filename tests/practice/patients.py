"""What is asked of a simulated patient in these tests, in the words of `expectations.yaml`."""

from __future__ import annotations

from sidewise.practice import PracticeCase
from sidewise.record import OTHER, Finding

LOSS = "passive external rotation at least 30 degrees below the other side or under half of it"
WITHOUT_READING = ("aged", "under", "onset", "sudden")


def degrees(case: PracticeCase, item: str, side: str, mode: str = "passive") -> float:
    (finding,) = case.record.at(item, side, mode)
    return float(finding.value.degrees)  # type: ignore[union-attr]


def there(case: PracticeCase, *readings: str) -> bool:
    """Whether any of these readings is there on a complaining side, or of the person."""
    sides = ("", *(f".{side}" for side in case.drawn.person.complaint))
    return any(
        case.examined.judged.get(f"{one}{side}", False) for one in readings for side in sides
    )


def loses_rotation(case: PracticeCase) -> bool:
    for side in case.drawn.person.complaint:
        here, other = (degrees(case, "external_rotation_at_side", s) for s in (side, OTHER[side]))
        if other - here >= 30 or here < other / 2:
            return True
    return False


def largest_loss_is_rotation(case: PracticeCase) -> bool:
    (side, *_) = case.drawn.person.complaint
    left = {
        item: degrees(case, item, side) / max(degrees(case, item, OTHER[side]), 1.0)
        for item in ("external_rotation_at_side", "abduction", "flexion")
    }
    return min(left, key=lambda item: left[item]) == "external_rotation_at_side"


def positives(case: PracticeCase) -> float:
    """Share of the manoeuvres of the complaining sides that are positive."""
    results = [
        finding
        for finding in case.record.findings
        if finding.side in case.drawn.person.complaint and is_result(finding)
    ]
    return sum(f.value.result == "positive" for f in results) / len(results)  # type: ignore[union-attr]


def is_result(finding: Finding) -> bool:
    return finding.value is not None and finding.value.kind == "result"


def shows(case: PracticeCase, what: str) -> float:
    """Whether, or for what share, a patient shows what the expectation says."""
    age, context = case.drawn.person.age, case.record.context
    shown = {
        LOSS: lambda: loses_rotation(case),
        "aged 35 to 70": lambda: 35 <= age <= 70,
        "aged 50 or over": lambda: age >= 50,
        "under 40": lambda: age < 40,
        "external rotation is the movement that loses the largest part of its range": lambda: (
            largest_loss_is_rotation(case)
        ),
        "gradual onset": lambda: context.onset == "gradual",
        "external rotation power weak": lambda: there(case, "infraspinatus_weakness"),
        "weak in at least one of empty can or external rotation": lambda: there(
            case, "empty_can_weakness", "infraspinatus_weakness"
        ),
        "tender over the acromioclavicular joint": lambda: there(case, "acj_tender"),
        "a step at the joint": lambda: there(case, "acj_step_marked", "acj_step"),
        "sudden onset after a fall or blow": lambda: (
            context.onset == "sudden" and context.answer("injury") == "yes"
        ),
        "apprehension felt": lambda: there(case, "apprehension_felt"),
        "pain below the elbow or tingling": lambda: there(case, "pain_below_elbow", "tingling"),
        "wing on pushing the wall or on resisted flexion": lambda: there(
            case, "wall_push_winging", "resisted_flexion_winging"
        ),
        "trapezius wasted or the shoulder lower": lambda: there(
            case, "trapezius_wasting", "shoulder_dropped"
        ),
        "morning stiffness": lambda: there(case, "morning_stiffness"),
        "manoeuvres positive": lambda: positives(case),
    }
    return float(shown[what]())
