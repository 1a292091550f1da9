"""The invented teaching week, whose truth is known."""
