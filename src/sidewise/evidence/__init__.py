"""Accuracy studies, pre-test figures and what was learned from both.

For display and general use
    rows.accuracy_rows_of(region) -> AccuracyRows          every accuracy row, checked
    display.evidence_for(region, reading) -> ReadingEvidence   studies, pooled figures, fit, marks
    pooling.pool_exact(tables) -> Pooled                   bivariate meta-analysis
    ratios.likelihood_ratios(table) -> LikelihoodRatios    with 95% limits

For the reasoner
    conditions.conditions_of(region) -> Conditions    levels, complaint links, concordance
    conditions.families_of(region) -> Families        families, mechanisms, witnesses of one item
    fitted.fitted_of(region) -> Fitted                draws of leaks, links, study effects, rhos
    person.pretest_figures(region, Case(...), count, seed) -> Pretest    probabilities and draws

Layout. `Conditions.names` are the network's conditions in the order of conditions.yaml;
`Conditions.columns` are their levels above none, flat: ("cuff", 1), ("cuff", 2), ("cuff", 3),
then the next condition's, ... This one axis C serves links, pre-test and complaint links alike.
`Fitted.readings` is the order of readings.yaml. With D draws, R readings, A arcs, F families:
    leak, tau_se, tau_sp (D, R); link (D, A), arc a joining reading `reading_of[a]` to column
    `column_of[a]`; `dense(link)` spreads links to (D, R, C); rho_s, rho_m (D, F).
Links are leak-free: P(absent) = (1 - leak) * product over conditions of (1 - link[level]).
Order of use: `link_in(setting)`, then `one_more_study(link, seed, readings)`.

`python -m sidewise.evidence.build` makes the fit anew when a figure has changed.
Nothing is imported here, so that importing the package costs nothing.
"""
