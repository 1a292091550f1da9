"""Closed lists of words that stand in files, as they are said: what hurts, and all that are marked.

In a file the word is English and always the same; `term` says it in the language spoken. That every
word of the lists stands here is held by a test.
"""

from __future__ import annotations

from sidewise.ground.language import mark_text, say_text

MARKED = (
    # how a movement ends
    mark_text("firm"), mark_text("soft"), mark_text("hard"), mark_text("springy"),
    mark_text("empty"), mark_text("spasm"), mark_text("not reached"),
    # what it is read with
    mark_text("goniometer"), mark_text("inclinometer"), mark_text("phone"),
    mark_text("photograph"), mark_text("eye"), mark_text("tape"), mark_text("dynamometer"),
    # how it is done, and on which side
    mark_text("active"), mark_text("passive"), mark_text("resisted"),
    mark_text("right"), mark_text("left"), mark_text("midline"),
    mark_text("patient's right"), mark_text("patient's left"),
    # results, feelings, reflexes
    mark_text("negative"), mark_text("positive"), mark_text("equivocal"),
    mark_text("normal"), mark_text("reduced"), mark_text("absent"), mark_text("heightened"),
    mark_text("brisk"), mark_text("brisk with spread"), mark_text("weak"),
    mark_text("light touch"), mark_text("pinprick"),
    # answers and status
    mark_text("yes"), mark_text("no"), mark_text("unsure"), mark_text("not asked"),
    mark_text("examined"), mark_text("not examined"), mark_text("unable"), mark_text("withheld"),
    # what is left of a range
    mark_text("about three quarters"), mark_text("about half"), mark_text("about a quarter"),
    mark_text("hardly any"),
    # labels of touches
    mark_text("no painful arc"), mark_text("painful, degrees not read"), mark_text("not graded"),
    mark_text("present, not graded"), mark_text("own pain"),
    mark_text("own pain, as the patient knows it"), mark_text("full"), mark_text("full by eye"),
    mark_text("painful"), mark_text("full and painful"), mark_text("reduced and painful"),
    mark_text("weak, not graded"), mark_text("limited by pain"), mark_text("none"),
    mark_text("says so"), mark_text("winces"), mark_text("withdraws"),
    mark_text("1, says so"), mark_text("2, winces"), mark_text("3, withdraws"),
    mark_text("1 says so"), mark_text("2 winces"), mark_text("3 withdraws"),
    mark_text("not tender"), mark_text("power 5"),
)  # fmt: skip


def said_pain(pain: bool | None) -> str:
    """That it hurt or did not, to be put behind a finding; nothing where it was not stated."""
    if pain is None:
        return ""
    return say_text(", painful") if pain else say_text(", painless")
