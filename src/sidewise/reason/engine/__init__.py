"""The numerical engine of the reasoner: exact posteriors on plain arrays.

It knows no files, no protocol and no words of the trade beyond condition, reading and family; the
glue in `sidewise.reason` turns records into what is asked for here. Draw axis (D) or row axis
first in everything public; V variables, Lmax most levels, R readings.

network.py    Variable(name, levels=2); Reading(name, parents, family=None, mechanism=None,
                core=None); core: parents through which the family acts (None: all; slow);
              SidePair(left, right); Complaint(name, parents)
              Structure(variables, readings, pairs=(), complaints=())
                .variable_index .reading_index .families .levels .link_count
                .complaint_link_count .link_columns(reading, parent_position) -> slice
                .complaint_columns(complaint, parent_position) -> slice
              Parameters(prior (D,V,Lmax), link (D,link_count), leak (D,R),
                rho_structure=None (D,F), rho_mechanism=None (D,F), concordance=None (D,pairs),
                complaint_link=None (D,complaint_link_count), complaint_leak=None (D,complaints));
                .mean() .take(draws); each leading axis is D or 1; links are q of levels 1, 2, ...
              Network(structure, parameters); .draws .mean() .take(draws)
              independent(network) -> Network with both rho nought
evidence.py   observed(structure, {reading name: True | False | (if_absent, if_present)})
                -> Evidence
              observed_rows(reading numbers, present (rows, n) of 0/1) -> Evidence
              Evidence(readings, absent, present); .without(reading) .adding(reading, observation)
eliminate.py  solve(network, evidence, *, marginals=True, workers=None, switched=None)
                -> Solution(marginal (B,V,Lmax), log_evidence (B,))
              prior_solution(network) -> Solution with nothing examined (complaints known)
              unexamined(network) -> Solution; with_prior_solution(network, it) -> network, told it
draws.py      summarise(network, solution) -> Summary(mean, low, high (V,Lmax); present,
                present_low, present_high (V,); weight (D,), effective, warnings)
              posterior(network, evidence) -> Summary; weighted_centile(...)
effects.py    effects(network, evidence) -> Effects(readings, log_odds (n, V), without (n, V))
gain.py       gains(network, evidence, candidates=None, interest=None)
                -> Gains(readings, bits, chance, if_present, if_absent (n,V), base (V,))
                .best_of({item: reading numbers}) -> {item: ItemGain}; .change_of_mind(variable)
complaint.py  pre_selection(structure, parameters, rounds=500) -> Parameters: `prior` read as the
                figures wanted after the complaints, replaced by those before
sample.py     draw_records(network, count, rng, readings=None) -> Records(levels, readings, present)
              log_evidence_of(network, records, together=12) -> Ranked(log_evidence, work)
              evidence_percentile(network, evidence, seed, count=1000, most_work=...)
                -> Percentile(percentile, among, judged, .unusual)
compiled.py   available(); solve_records(network, readings, present) -> Solution (optional numba)

`network.mean()` is the single network to hand to `effects`, `gains` and `evidence_percentile`.
"""
