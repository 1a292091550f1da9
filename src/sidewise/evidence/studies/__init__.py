"""Published studies: rows, two-by-two counts, ratios, pooling, combinations."""
