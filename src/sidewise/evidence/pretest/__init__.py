"""Pre-test probabilities by setting, age, sex and side."""
