"""What every room may use: arrays, estimates, tables, agreement, drawing. Knows no region."""
