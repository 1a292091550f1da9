"""Agreement of readings and of raters: categories, limits, intraclass, error of one reading."""
