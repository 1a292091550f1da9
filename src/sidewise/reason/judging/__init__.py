"""A record held against criteria and rules: readings, red flags, normal variants, what is open."""
