"""Regions: what each is made of, and the data of those that come with the program."""
