"""The documentation as pages with search: `make docs`."""
