"""The pages of the practice room."""
