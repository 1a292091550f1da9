"""A kind of value that the program does not have: its file, its template, and its walk.

`walk.py` runs by itself, in a copy of the package to which only these two files and one line were
added; see `test_new_kind.py` beside this folder.
"""
