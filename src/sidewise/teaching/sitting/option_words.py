"""What each option of `sidewise marks` means, in the words of the command and of the page."""

from __future__ import annotations

OPTION_WORDS: dict[str, str] = {
    "columns": "Confirm what a sheet's columns are: yes, or 'mark=Score; ...'.",
    "zeros": "Students with zeros only: ask, absent or real.",
    "codes": "Codes that differ in case or spaces only: ask, join or apart.",
    "sitting": "One sitting of a file with several.",
    "leave_out": "Rows to leave out, as 17,45-50.",
    "group": "Column that says a student's group, to compare groups with care.",
    "without": "A station to leave out.",
    "ratings": "Words of the rating, lowest first.",
    "borderline": "Which of them is borderline.",
    "ratings_from": "The number of the lowest rating, 0 or 1.",
    "positions": "Where the ratings stand when not equally spaced, as 0,0.3,0.6,1.",
    "method": "What sets the mark.",
    "add_sem": "Standard errors added to the mark.",
    "stations_to_pass": "Stations to be passed.",
    "hofstee": "Judges' limits, as 50,66,4,40.",
    "critical": "A critical error: hold or fail.",
    "look_again": "Hold a decision whose other has a chance above this, as 0.3.",
    "pass_mark": "A pass mark carried forward from a full sitting, percent.",
    "recall": "Forecast so many more stations for those near the mark.",
    "by": "Who left stations or rows out, for the log.",
    "draws": "Bootstrap draws; 0 for none.",
}
"""By the option's name, with underscores."""
