"""What the kinds of value share: the shape of a slice, numbers with limits, words of a line."""
