"""What a region is made of: each part, its file, whether it may be absent, and what then is not."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RegionPart:
    """One part of a region.

    file: its name in the region's folder, or a pattern for several that are read as one list.
    without: what there is not where the part is absent, as a sentence; "" for a required part.
    """

    name: str
    file: str
    what: str
    without: str = ""

    @property
    def required(self) -> bool:
        """Whether a region cannot be without it."""
        return not self.without


NO_WEIGHING = "This region has no published accuracy to weigh findings by: no probability is shown."
NO_DIFFERENCES = (
    "This region has no error of measurement, or no healthy differences: no difference of the "
    "sides is judged."
)

REQUIRED = (
    RegionPart("region", "region.yaml", "its name, its stages in order and its structures"),
    RegionPart("items", "protocol/*.yaml", "the items that can be examined, a file a stage"),
    RegionPart("history", "history.yaml", "the questions and the vital signs"),
    RegionPart("readings", "readings.yaml", "the ways in which items speak"),
    RegionPart("red_flags", "red_flags.yaml", "the patterns that must not be missed"),
)
WEIGHING = (
    RegionPart("conditions", "conditions.yaml", "the conditions and their levels", NO_WEIGHING),
    RegionPart("families", "families.yaml", "which readings go together", NO_WEIGHING),
    RegionPart("accuracy", "accuracy.csv", "published accuracy, a row a study", NO_WEIGHING),
    RegionPart("links", "links.csv", "links that the trade expects", NO_WEIGHING),
    RegionPart("pretest", "pretest.csv", "pre-test figures by setting", NO_WEIGHING),
    RegionPart("case_mix", "case_mix.yaml", "who was in the room of each study", NO_WEIGHING),
)
"""Parts that probabilities need, all of them: a region has every one or none."""
OPTIONAL = (
    *WEIGHING,
    RegionPart("combinations", "combinations.csv", "findings published together",
               "No published combination of findings holds the fit."),
    RegionPart("variants", "variants.yaml", "mild findings that are normal",
               "This region lists no normal variants: every mild finding counts."),
    RegionPart("grading", "grading.yaml", "by how much a grade weighs",
               "This region grades no finding: all that pass their threshold weigh alike."),
    RegionPart("norms", "norms.csv", "usual ranges by age and sex",
               "This region has no table of usual ranges: none is compared with healthy people."),
    RegionPart("strength_norms", "strength_norms.csv", "usual strength and scale totals",
               "This region has no table of usual strength: strength and scales are not compared."),
    RegionPart("error", "error.csv", "the error of one reading", NO_DIFFERENCES),
    RegionPart("side_difference", "side_difference.csv", "how far healthy sides differ",
               NO_DIFFERENCES),
    RegionPart("change", "change.csv", "what counts as a change",
               "This region has no table of changes: scales are not judged over visits."),
    RegionPart("agreement", "agreement.csv", "how far two examiners agree on an item",
               "This region lists no agreement of examiners: two readings stand without it."),
    RegionPart("line_words", "line_words.yaml", "short names for a typed line",
               "A typed line knows the items of this region by their full names only."),
    RegionPart("figure", "figure.yaml", "the places of its figure", "This region has no figure."),
    RegionPart("visits", "visits.yaml", "kinds of visit, and what a follow-up carries forward",
               "This region has one kind of visit, the full examination."),
    RegionPart("practice", "practice.yaml", "how simulated patients move and speak",
               "This region has no words for simulated patients: none can be made."),
    RegionPart("codes", "codes.csv", "codes of other systems for its items",
               "This region has no codes of other systems: a document has its own codes only."),
    RegionPart("manoeuvres", "manoeuvres.csv", "names under which studies report an item",
               "Names under which studies report an item are not listed."),
)  # fmt: skip
PARTS = (*REQUIRED, *OPTIONAL)
BY_NAME = {part.name: part for part in PARTS}
FIT = ("fitted.npz", "fitted.json")
"""What was learned from the studies: arrays and their summary (`sidewise.evidence.build`)."""
PACK, CHECKED, VIEWS = "packed.json", "packed.checked", "packed.views"
"""All text parts in one file, the note that they were found sound, and what was made of them."""
ATLAS = "atlas"
"""The folder of the drawn figure, made by `tools/figure`; whatever shows it opens it itself."""
TRANSLATIONS = "languages"
"""The folder of its texts in other languages: a catalogue each, `de.po` and `de.mo`."""
BESIDE = (
    ATLAS,
    TRANSLATIONS,
    "*.md",
    "LICENSE*",
    "__init__.py",
    "__pycache__",
    ".*",
    *FIT,
    PACK,
    CHECKED,
    VIEWS,
)
"""What may stand in a region's folder besides its parts."""
