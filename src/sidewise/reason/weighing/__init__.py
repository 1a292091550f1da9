"""The network of one person weighed: pre-test, parameters, posterior, contributions, next."""
