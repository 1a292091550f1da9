"""What is usual at an age and sex, and the measurement tables of a region."""
