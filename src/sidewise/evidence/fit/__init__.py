"""What is learned from the studies: priors of links, the fit of one reading, correlations."""
