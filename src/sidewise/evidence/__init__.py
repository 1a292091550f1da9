"""Accuracy studies, pre-test figures and what was learned from both.

For display and general use
    load_rows(region) -> Rows                    every accuracy row, checked (rows.py)
    display(region, reading) -> Display          a reading's studies, pooled figures, fit and mark
    pool_exact(counts), pool_normal(counts) -> Pooled      bivariate meta-analysis (pooling.py)
    likelihood_ratios(table) -> LikelihoodRatios with intervals (ratios.py)

For the reasoner
    load_conditions(region) -> Conditions        conditions, levels, complaint links, concordance
    load_families(region) -> Families            families, mechanisms, witnesses of one item
    load_fitted(region) -> Fitted                draws of leaks, links, study effects, correlations
    pretest(region, case) -> Pretest             level probabilities and draws for one person

Layout. `Conditions.names` are the network's conditions in the order of conditions.yaml;
`Conditions.columns` are its levels above none, flat: ("cuff", 1), ("cuff", 2), ("cuff", 3),
("subscapularis", 1) ... One column axis C serves links, pre-test and complaint links alike.
`Fitted.readings` is the order of readings.yaml. With D draws, R readings, F families:
    leak (D, R); link (D, R, C), 0 where a condition is no parent; parent (R, C) true where it is;
    tau_se, tau_sp (D, R) between-study sd on the logit scale; rho_s, rho_m (D, F).
Links are leak-free: P(absent) = (1 - leak) * product over conditions of (1 - link[level]).
Names are resolved lazily, so that importing this package costs nothing.
"""
