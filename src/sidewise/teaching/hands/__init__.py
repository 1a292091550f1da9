"""Agreement of hands: students' findings against a reference examination."""
