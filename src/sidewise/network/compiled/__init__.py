"""The same sums compiled with numba where it is installed; nothing is imported before that."""
