"""The face of the package, for somebody who works in Python: read, interpret, follow, marks, agree.

Use it as `import sidewise`; docs/python.md shows how. Each function finds the region of what it is
given by itself, takes paths as texts, and returns a result that shows itself in a line, as a data
frame and in a notebook. What cannot be used is a `UserError` with its four parts.
"""
