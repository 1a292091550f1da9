"""The pages of classes."""
