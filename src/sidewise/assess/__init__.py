"""Marks, agreement, reliability, severity and pass marks of practical examinations.

Start with `reading.read_marks` and `examination.examine`; for findings with
`findings.read_findings` and `hands.agreement_of_hands`. Modules are imported one by one, so that
nothing heavy is loaded before it is used.
"""
