"""The pages of marks, one module for what belongs together."""
