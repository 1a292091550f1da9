"""Marks, agreement, reliability, severity and pass marks of practical examinations.

A map; each room uses those below it only, which a contract holds:

    report/       answers in words, pictures, page, JSON
    sitting/      one sitting analysed whole      | hands/  agreement of examiners' findings
    severity/     examiners and groups            | pass_marks/  where the line is and who is over
    reliability/  variance components, coefficients, items
    tables/       marks and findings read whole   | examples/  the invented teaching week
    thresholds    quoted figures, each with its source

Start with `tables.marks_table.read_marks` and `sitting.sitting.analyse_sitting`; for findings with
`tables.findings_table.read_findings` and `hands.hands.agreement_of_hands`. Agreement, limits and
intraclass correlations are on the ground floor (`ground.agreement`). Modules are imported one by
one, so that nothing heavy is loaded before it is used.

For use from Python only, called by no command: the mean squares of `reliability.mean_squares`, and
of `ground.agreement` the coefficients for tables, single categories and levels of measurement,
`repeatability`, `corrected_sd`, `sem_from_icc` and `agreement_weights`.
"""
