"""Records on their way out and in: tables with a dictionary, documents of an open standard."""
