"""The pocket card: the plan on one folded sheet, to print and tick off."""

from __future__ import annotations

from html import escape
from importlib.resources import files
from itertools import groupby

from sidewise.plan.examination_plan import ExaminationPlan, PlanStep, SetUpStep
from sidewise.plan.text import bits_words, time_words


def pocket_card(plan: ExaminationPlan) -> str:
    """The card as one HTML page that needs nothing else; two columns of tick boxes on paper."""
    body = _stopped(plan) if plan.stop else _planned(plan)
    return printed_page(f"Plan for {plan.minutes:g} minutes", f"{body}{_foot(plan)}")


def printed_page(title: str, body: str) -> str:
    """One HTML page that needs nothing else, to print. body: HTML below the heading."""
    style = files("sidewise.plan").joinpath("pocket_card.css").read_text(encoding="utf-8")
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style></head>"
        f"<body><main><h1>{escape(title)}</h1>{body}</main></body></html>\n"
    )


def _stopped(plan: ExaminationPlan) -> str:
    return f'<p class="stop">{escape(plan.stop)}</p>'


def _planned(plan: ExaminationPlan) -> str:
    asked = f"<p><strong>Ask:</strong> {escape(', '.join(plan.ask))}</p>" if plan.ask else ""
    groups = groupby(plan.steps, key=lambda step: (step.stage, step.posture))
    parts = [_set_up("Before", plan.before)]
    parts += [
        f'<section><h2>{escape(stage)} <span class="quiet">{escape(posture)}</span></h2>'
        f"<ol>{''.join(map(_step, steps))}</ol></section>"
        for (stage, posture), steps in groups
    ]
    parts.append(_set_up("After", plan.after))
    left = "".join(
        f"<li>{escape(one.label)} ({escape(one.kind)}: {escape(one.because)})</li>"
        for one in plan.left_out
    )
    missing = f"<section><h2>Does not fit; stays to be done</h2><ul>{left}</ul></section>"
    columns = "".join(parts) + (missing if left else "")
    return f'{asked}<div class="columns">{columns}</div>'


def _set_up(title: str, steps: tuple[SetUpStep, ...]) -> str:
    if not steps:
        return ""
    lines = "".join(f"<li>{escape(step.label)}</li>" for step in steps)
    return f"<section><h2>{title}</h2><ol>{lines}</ol></section>"


def _step(step: PlanStep) -> str:
    modes = f" {' then '.join(step.modes)}," if step.modes else ""
    strong = step.kind != "tells"
    name = f"<strong>{escape(step.label)}</strong>" if strong else escape(step.label)
    why = f"; {step.because}" if step.because and step.kind == "called for" else ""
    detail = f"{modes} {step.place}, {step.seconds} s{why}"
    return f'<li>{name} <span class="quiet">{escape(detail.strip())}</span></li>'


def _foot(plan: ExaminationPlan) -> str:
    lines = [] if plan.stop else [time_words(plan), *bits_words(plan), *plan.said]
    said = "".join(f"<p>{escape(line)}</p>" for line in (*lines, *plan.cautions))
    bold = "" if plan.stop else "<p>Bold: screens a flag, or is called for.</p>"
    return f'<footer>{bold}{said}<p class="quiet">Knowledge {plan.knowledge_version}</p></footer>'
