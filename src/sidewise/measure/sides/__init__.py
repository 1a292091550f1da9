"""Left against right in one examination."""
